"""How one table of a plan is described: its keys, the attributes they fill, what silence means."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from asbuilt.record.plan_values import ANGLE, LENGTH, STUD, VOLUME, ValueKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key of a table. ``kept``: a row keeps what it has where the plan is silent."""

    name: str
    attr: str
    kind: ValueKind
    help: str
    required: bool = False
    kept: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One table of a plan: a type of the record, its keys, and what silence means.

    ``fill(given, earlier)`` gives the attributes that follow from others (ids, orders),
    where ``earlier`` are the rows of the type that come before. Where a plan is not ``whole``
    rows come from elsewhere too, so that those it does not name are none of its business.
    """

    name: str
    cls: type
    keys: tuple[Key, ...]
    fill: Callable[[dict, Sequence], dict] = lambda given, earlier: {}
    whole: bool = True

    def key(self, name: str) -> Key:
        """The key of that name."""
        return next(k for k in self.keys if k.name == name)

    def key_of(self, attr: str) -> Key:
        """The key that fills an attribute."""
        return next(k for k in self.keys if k.attr == attr)

    def make(self, given: dict, earlier: Sequence):
        """The row with these attributes, the rest as silence has it."""
        return self.cls(**{**self.fill(given, earlier), **given})


def next_order(earlier: Sequence) -> int:
    """The place after the last one."""
    return max((row.order_idx for row in earlier), default=-1) + 1


def free_id(stem: str, earlier: Sequence) -> str:
    """``stem``, or ``stem-2``, ``stem-3`` ... where it is taken."""
    taken, number = {row.id for row in earlier}, 1
    while (name := stem if number == 1 else f"{stem}-{number}") in taken:
        number += 1
    return name


def key(name: str, kind: ValueKind, help: str, attr: str | None = None, **flags) -> Key:
    """A key that fills the attribute of its own name, with the unit that its kind gives."""
    suffix = {LENGTH: "_m", STUD: "_m", ANGLE: "_rad", VOLUME: "_m3"}.get(kind, "")
    return Key(name=name, attr=attr or name + suffix, kind=kind, help=help, **flags)


def required(optional: Key) -> Key:
    """The same key where it must be given."""
    return dataclasses.replace(optional, required=True)

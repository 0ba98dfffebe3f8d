"""All rules over a record: which apply, with whose figures, and what they find."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass

from asbuilt.answers.checks import boxes, breakers, depth, drop, ends, framing, spacing, support, uk, uk_drop
from asbuilt.answers.checks.rule import ASK, RESULTS, Figure, Finding, Rule
from asbuilt.answers.checks.site import Site
from asbuilt.answers.reply import Reply
from asbuilt.answers.wiring import wiring_of
from asbuilt.errors import AsbuiltError, LengthError
from asbuilt.record import Record, RuleSetting
from asbuilt.units import format_length, parse_length

MODULES = (breakers, drop, depth, framing, support, boxes, spacing, ends, uk, uk_drop)
RULES: tuple[Rule, ...] = tuple(rule for module in MODULES for rule in module.RULES)
BY_ID = {rule.id: rule for rule in RULES}


class RuleError(AsbuiltError, ValueError):
    """A setting of the rough-in rules is wrong; the text names the setting."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FigureUsed(Reply):
    """A figure as it was used, and whether the record changed it."""

    name: str
    value: float
    unit: str
    text: str
    own: bool
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleResult(Reply):
    """One rule as it was looked at, with everything it found; the most pressing first."""

    rule_id: str
    title: str
    standing: str
    cited: str
    source: str
    compares: str
    figures: tuple[FigureUsed, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut(Reply):
    """A rule that was not looked at, and why."""

    rule_id: str
    title: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckAnswer(Reply):
    """What the rough-in rules find in a record: never a verdict."""

    region: str
    rules: tuple[RuleResult, ...]
    left_out: tuple[LeftOut, ...]
    ask: str = ASK

    def findings(self, *results: str, face_id: str | None = None) -> list[Finding]:
        """The findings of some results, of one face or of all."""
        wanted = results or RESULTS
        return [
            f for rule in self.rules for f in rule.findings
            if f.result in wanted and (face_id is None or f.face_id == face_id)
        ]  # fmt: skip


def run_checks(record: Record, rules: Iterable[Rule] = RULES) -> CheckAnswer:
    """Look at a record through every rule that applies to it.

    Raises
    ------
    RuleError
        If a setting of the record names no rule or figure, or its value cannot be read.
    """
    settings = {s.id: s for s in record.all(RuleSetting)}
    _check_settings(settings)
    building = record.building
    site = Site(wiring_of(record))
    looked, left_out = [], []
    for rule in rules:
        if why := _why_not(rule, building.region, building.occupancy, settings):
            left_out.append(LeftOut(rule_id=rule.id, title=rule.title, why=why))
            continue
        used = tuple(_used(rule, figure, settings, building.unit) for figure in rule.figures)
        found = sorted(rule.find(site, {f.name: f.value for f in used}), key=lambda f: RESULTS.index(f.result))
        looked.append(
            RuleResult(rule_id=rule.id, title=rule.title, standing=rule.standing, cited=rule.cited, source=rule.source,
                       compares=rule.compares, figures=used, findings=tuple(found))
        )  # fmt: skip
    return CheckAnswer(region=building.region, rules=tuple(looked), left_out=tuple(left_out))


def _why_not(rule: Rule, region: str, occupancy: str, settings: dict[str, RuleSetting]) -> str:
    """Why a rule is not looked at; empty where it is."""
    own = settings.get(rule.id)
    if own is not None and not own.applies:
        return f"left out by the record{f': {own.note}' if own.note else ''}"
    if region not in rule.regions:
        return f"for {' and '.join(rule.regions)}, the record says {region}"
    asked = any(key.startswith(f"{rule.id}.") for key in settings) or (own is not None and own.applies)
    if rule.needs and rule.needs not in occupancy.lower() and not asked:
        return f"for a {rule.needs}; the record does not say it is one, and gives no figure of its own"
    return ""


def _used(rule: Rule, figure: Figure, settings: dict[str, RuleSetting], unit: str) -> FigureUsed:
    own = settings.get(f"{rule.id}.{figure.name}")
    value = figure.value if own is None else _value(own, figure, unit)
    return FigureUsed(name=figure.name, value=value, unit=figure.unit, text=figure.text, own=own is not None,
                      note=own.note if own else "")  # fmt: skip


def _value(own: RuleSetting, figure: Figure, unit: str) -> float:
    try:
        return parse_length(own.value, unit) if figure.unit == "m" else float(own.value)
    except (LengthError, ValueError) as error:
        raise RuleError(f"rule {own.id}: {own.value!r} is not a figure in {figure.unit}: {error}") from None


def _check_settings(settings: dict[str, RuleSetting]) -> None:
    known = {rule.id for rule in RULES} | {f"{rule.id}.{figure.name}" for rule in RULES for figure in rule.figures}
    for name in settings:
        if name not in known:
            near = difflib.get_close_matches(name, sorted(known), n=1)
            hint = f"; did you mean {near[0]!r}?" if near else "; list them with: asbuilt checks --rules"
            raise RuleError(f"rule {name!r}: there is no such rule or figure{hint}")


def figure_text(figure: FigureUsed, unit: str) -> str:
    """A figure for people, in the unit of the record."""
    if figure.unit == "m":
        return format_length(figure.value, unit)
    return f"{figure.value:g}" + ("" if figure.unit == "1" else f" {figure.unit}")

"""What every answer has in common: it is frozen and turns into plain values."""

from __future__ import annotations

from dataclasses import asdict, dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """Base of all answers and their parts."""

    def to_json(self) -> dict:
        """As plain values: dicts, lists, texts, numbers; lengths in metres as the names say."""
        return _plain(asdict(self))


def _plain(value):
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    return round(value, 6) if isinstance(value, float) else value

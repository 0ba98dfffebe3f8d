"""What a check found, one line each."""

from __future__ import annotations

from dataclasses import dataclass

DAMAGED, MISSING, UNEXPECTED, NOTE = "damaged", "missing", "unexpected", "note"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that is wrong, or (``note``) only worth saying; ``name`` is the file it is about."""

    state: str
    name: str
    text: str

    def line(self) -> str:
        """For people."""
        return f"{self.state}: {self.name}: {self.text}"

"""The report of looking for studs in pictures without marks, in words."""

from __future__ import annotations

from collections.abc import Mapping

from asbuilt.steps.lattice import LatticeReport, PictureStuds
from asbuilt.units import format_length


def lattice_text(report: LatticeReport, titles: Mapping[str, str], unit: str) -> str:
    """One line a picture; ``titles`` by face id."""
    if not report.pictures:
        return "Every picture of the open walls is placed; name one with --picture to look at it all the same."
    return "\n".join(f"{p.picture_id}: {_told(p, titles, unit)}" for p in report.pictures)


def _told(p: PictureStuds, titles: Mapping[str, str], unit: str) -> str:
    if p.reason:
        return f"no studs told: {p.reason}"
    found = f"{p.seen} studs, {format_length(p.spacing_m, unit)} on centre"
    if p.places == 0:
        return f"{found}; they fit no wall of the plan"
    if p.places > 1:
        return f"{found}; alike bays leave {p.places} places open: mark one known place in the picture"
    at = ", ".join(format_length(c, unit, p.sigma_m) for c in p.centers_m)
    return f"{found}, on {titles[p.face_id]} at {at}"

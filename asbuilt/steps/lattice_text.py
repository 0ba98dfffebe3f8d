"""The report of looking for studs in pictures without marks, in words."""

from __future__ import annotations

from collections.abc import Mapping

from asbuilt.steps.lattice import LatticeReport, PictureStuds
from asbuilt.steps.lattice_marks import MarksReport
from asbuilt.units import format_length


def lattice_text(report: LatticeReport, titles: Mapping[str, str], unit: str) -> str:
    """One line a picture; ``titles`` by face id."""
    if not report.pictures:
        return "Every picture of the open walls is placed; name one with --picture to look at it all the same."
    return "\n".join(f"{p.picture_id}: {picture_words(p, titles, unit)}" for p in report.pictures)


def picture_words(p: PictureStuds, titles: Mapping[str, str], unit: str) -> str:
    """What one picture tells, in a line."""
    if p.reason:
        return f"no studs told: {p.reason}"
    found = f"{p.seen} studs, {format_length(p.spacing_m, unit)} on centre"
    if p.places == 0:
        return f"{found}; they fit no wall of the plan"
    if p.places > 1:
        return f"{found}; alike bays leave {p.places} places open: mark one known place in the picture"
    at = ", ".join(format_length(c, unit, p.sigma_m) for c in p.centers_m)
    return f"{found}, on {titles[p.face_id]} at {at}"


def marks_text(report: MarksReport, titles: Mapping[str, str], unit: str) -> str:
    """One line a picture, and what to do next."""
    if not report.pictures:
        return "No known place is marked in a picture of the open walls: mark one in two pictures of each wall."
    lines = []
    for p in report.pictures:
        at = ", ".join(format_length(o, unit) for o in p.offsets_m)
        told = f"nothing kept: {p.reason}" if p.reason else f"{titles[p.face_id]}, studs on their marks at {at}"
        lines.append(f"{p.picture_id}: {told}")
    if any(not p.reason for p in report.pictures):
        lines.append("Kept for placing. Check the studs against the pictures; --forget takes them back.")
    return "\n".join(lines)

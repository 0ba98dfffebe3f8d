"""The reports of placing and locating, in words."""

from __future__ import annotations

from collections.abc import Sequence

from asbuilt.steps.locate import LocateReport
from asbuilt.steps.place import PlaceReport
from asbuilt.steps.place_error import FaceError
from asbuilt.units import format_error, format_length

WORTH_A_MARK = 0.7  # a mark that takes off less than this share is not worth the walk; our choice


def placed_text(report: PlaceReport, faces: Sequence[FaceError], unit: str) -> str:
    """What placing did, a line each."""
    lines = [f"{report.placed} pictures placed in {report.seconds:.0f} s"]
    lines += [f"{count} not placed: {reason}" for reason, count in report.not_placed.items()]
    lines += [_face_line(face, unit) for face in faces]
    lines += [f"  note: {note}" for note in report.notes]
    return "\n".join(lines)


def _face_line(face: FaceError, unit: str) -> str:
    if face.worst_m is None:
        return f"  {face.title}: no placed picture shows it"
    line = (
        f"  {face.title}: {face.references} taped references; along the wall typically "
        f"{format_error(face.typical_m, unit)}, worst {format_error(face.worst_m, unit)} "
        f"at {format_length(face.worst_offset_m, unit, 0.05)}"
    )
    if face.worst_with_mark_m < WORTH_A_MARK * face.worst_m:
        line += f"; a mark taped there would make that {format_error(face.worst_with_mark_m, unit)}"
    return line


def located_text(report: LocateReport) -> str:
    """What locating did, a line each."""
    lines = [
        f"{report.located} spots located: {report.intersected} measured from two pictures or more, "
        f"{report.located - report.intersected} at the usual depth of their kind"
    ]
    lines += [f"  not located: {name}: {reason}" for name, reason in report.refused]
    return "\n".join(lines)

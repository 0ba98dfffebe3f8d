"""The report of proposing, in words."""

from __future__ import annotations

from collections.abc import Mapping

from asbuilt.steps.propose import FaceReport, ProposeReport
from asbuilt.units import format_length


def propose_text(report: ProposeReport, titles: Mapping[str, str], unit: str, record: str) -> str:
    """What was found, a few lines for each face; ``titles`` by face id."""
    lines = [line for face in report.faces for line in _lines(face, titles[face.face_id], unit)]
    lines.append(f"Nothing of this counts until you accept it:  asbuilt serve {record}, page Review")
    return "\n".join(lines)


def _lines(face: FaceReport, title: str, unit: str) -> list[str]:
    if not face.picture_count:
        return [f"{title}: no picture shows it well enough to look for anything"]
    done = f"looked at in {face.seconds:.0f} s" if face.recomputed else "unchanged"
    boxes = f"{face.boxes} box{'' if face.boxes == 1 else 'es'}"
    runs = f"{face.runs} run{'' if face.runs == 1 else 's'}, {format_length(face.run_length_m, unit)} together"
    lines = [f"{title}: {face.studs} studs measured; proposed {boxes}, {runs} ({face.picture_count} pictures, {done})"]
    if face.spacing_m is None:
        lines.append(f"  no regular layout: {face.layout_reason}")
    else:
        lines.append(f"  laid out at {format_length(face.spacing_m, unit)} on centre")
    for _, center_m, off_m in face.off_layout:
        side = "right" if off_m > 0 else "left"
        at, by = format_length(center_m, unit), format_length(abs(off_m), unit)
        lines.append(f"  off layout: stud at {at}, {by} to the {side}")
    return lines

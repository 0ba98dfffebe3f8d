"""The report of making elevations, in words."""

from __future__ import annotations

from collections.abc import Mapping

from asbuilt.steps.elevation import ElevationReport, PlaneReport
from asbuilt.units import format_error, format_length

INCH_M = 0.0254


def elevation_text(report: ElevationReport, titles: Mapping[str, str], names: Mapping[str, str], unit: str) -> str:
    """What was made, a few lines for each face; ``titles`` by face id, ``names`` by picture id."""
    return "\n".join(line for plane in report.planes for line in _lines(plane, titles[plane.face_id], names, unit))


def _lines(plane: PlaneReport, title: str, names: Mapping[str, str], unit: str) -> list[str]:
    if plane.elevation_id is None:
        return [f"{title}: no placed picture shows it"]
    at = "" if plane.depth_m == 0 else f", {format_length(plane.depth_m, unit)} behind the stud face"
    made = f"made in {plane.seconds:.0f} s" if plane.recomputed else "unchanged"
    lines = [
        f"{title}{at}: {plane.scale_px_per_m * INCH_M:g} px per inch from {plane.picture_count} pictures, {made}",
        f"  shows {plane.seen_share:.0%} of the face; what is hatched in it is not recorded",
        f"  places read off it on that plane: {format_error(plane.sigma_m, unit)} or better in 95 % of it",
    ]
    if plane.depth_m == 0:
        aside = format_length(plane.parallax_m, unit)
        lines.append(f"  what lies in the middle of the wall may show up to {aside} beside its place")
    if plane.doubtful_ids:
        doubtful = ", ".join(names[i] for i in plane.doubtful_ids)
        lines.append(f"  left out, for what they show does not agree with the others (placed wrongly?): {doubtful}")
    return [*lines, f"  {plane.folder}/overview.jpg"]

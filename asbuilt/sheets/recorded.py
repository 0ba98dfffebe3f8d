"""Which parts of a face were recorded, as areas to draw."""

from __future__ import annotations

from shapely import box, unary_union
from shapely.geometry.base import BaseGeometry

from asbuilt.answers.coverage import NOT_RECORDED, POOR, coverage_of
from asbuilt.record import Face, Opening, Record
from asbuilt.sheets.hatch import cells_area


def unseen_areas(record: Record, face: Face) -> tuple[BaseGeometry, BaseGeometry]:
    """The areas of a face that are not recorded, and those seen but poorly, in face metres.

    Openings are left out: there is nothing to record in them. While coverage was never
    worked out, all the rest is *not recorded*.
    """
    cover = coverage_of(record, face.id)
    holes = unary_union([box(o.left_m, o.bottom_m, o.right_m, o.top_m) for o in record.all(Opening, face_id=face.id)])
    if not cover.worked_out:
        return box(0, 0, face.length_m, face.height_m).difference(holes), box(0, 0, 0, 0)
    missing, poor = (
        cells_area(cover.classes == wanted, cover.cell_m, face.length_m, face.height_m).difference(holes)
        for wanted in (NOT_RECORDED, POOR)
    )
    return missing, poor


def not_recorded_share(record: Record, face: Face) -> float | None:
    """The share of a face that no placed picture shows; None while coverage was never worked out."""
    cover = coverage_of(record, face.id)
    return cover.shares()[2] if cover.worked_out else None

"""A small elevation as the key to a list: studs, openings, numbered items, what was not recorded."""

from __future__ import annotations

from reportlab.platypus import Flowable
from shapely.geometry.base import BaseGeometry

from asbuilt.answers.readiness import FaceReadiness
from asbuilt.answers.view import view_of
from asbuilt.record import Record
from asbuilt.sheets.hatch import hatched
from asbuilt.sheets.paper import BOLD
from asbuilt.sheets.recorded import unseen_areas

TALLEST_PT = 165.0
DOT_PT = 6.2


class KeyDrawing(Flowable):
    """The face drawn to the width of the page, in black and greys only."""

    def __init__(self, record: Record, face: FaceReadiness, width_pt: float) -> None:
        super().__init__()
        self.face, self.view = face, view_of(record).face(face.face_id)
        row = self.view.face
        self.missing, self.poor = unseen_areas(record, row)
        self.scale = min(width_pt / row.length_m, TALLEST_PT / row.height_m)
        self.width, self.height = row.length_m * self.scale, row.height_m * self.scale

    def draw(self) -> None:
        """Draw the face, then what covers it, then the items."""
        canvas, row, scale = self.canv, self.view.face, self.scale
        canvas.setStrokeGray(0.6)
        canvas.setLineWidth(0.3)
        for stud in self.view.studs:
            canvas.setFillGray(0.94)
            left = (stud.center_m - stud.width_m / 2) * scale
            bottom = stud.bottom_m * scale
            top = (stud.top_m if stud.top_m is not None else row.height_m) * scale
            canvas.rect(left, bottom, stud.width_m * scale, top - bottom, fill=1)
        for o in self.view.openings:
            canvas.setFillGray(1)
            canvas.setStrokeGray(0.2)
            canvas.rect(o.left_m * scale, o.bottom_m * scale, (o.right_m - o.left_m) * scale,
                        (o.top_m - o.bottom_m) * scale, fill=1)  # fmt: skip
        self._area(self.poor, "seen but poor", (0.4, 2.0))
        self._area(self.missing, "not recorded", ())
        canvas.setDash()
        canvas.setStrokeGray(0)
        canvas.setLineWidth(1)
        canvas.rect(0, 0, self.width, self.height)
        self._items()

    def _area(self, area: BaseGeometry, name: str, dash: tuple[float, ...]) -> None:
        canvas = self.canv
        canvas.setStrokeGray(0.25)
        canvas.setLineWidth(0.45)
        canvas.setDash(*dash) if dash else canvas.setDash()
        for part in hatched(area, name, name).parts:
            for (x1, z1), (x2, z2) in getattr(part, "segments_m", ()):
                canvas.line(x1 * self.scale, z1 * self.scale, x2 * self.scale, z2 * self.scale)

    def _items(self) -> None:
        canvas = self.canv
        for line in reversed(self.face.items):  # the first ones on top
            if line.offset_m is None:
                continue
            x = min(max(line.offset_m * self.scale, 0), self.width)
            z = min(max(line.height_m * self.scale, 0), self.height)
            canvas.setFillGray(1)
            canvas.setStrokeGray(0)
            canvas.setLineWidth(0.8)
            canvas.circle(x, z, DOT_PT, fill=1)
            canvas.setFillGray(0)
            canvas.setFont(BOLD, 6.5 if line.number < 100 else 5)
            canvas.drawCentredString(x, z - 2.3, str(line.number))

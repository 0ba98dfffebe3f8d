"""The row of one elevation picture; its pixels lie in tiles beside the database."""

from __future__ import annotations

from dataclasses import dataclass, field

from asbuilt.record.field_checks import finite, need


@dataclass(frozen=True, slots=True, kw_only=True)
class Elevation:
    """A true-scale picture of a face on the plane ``depth_m`` behind its stud face.

    The picture's lower left corner is the face's: offset 0, height 0. ``grid`` is the source
    map: zlib'd uint8 layers of ``rows`` by ``cols`` cells of ``cell_m``, row 0 at the floor,
    in the order of ``layers``; ``layers["picture_ids"]`` are the pictures its numbers mean.
    ``folder`` holds the tiles, relative to the record; ``levels`` counts their sizes, each
    half of the one before.
    """

    id: str
    face_id: str
    created_at: str
    depth_m: float
    scale_px_per_m: float
    width_px: int
    height_px: int
    tile_px: int
    levels: int
    folder: str
    seen_share: float
    cell_m: float
    rows: int
    cols: int
    layers: dict = field(default_factory=dict)  # name -> meaning
    grid: bytes = b""
    input_hash: str = ""

    def __post_init__(self) -> None:
        finite(self, "depth_m", "scale_px_per_m", "seen_share", "cell_m")
        need(self.scale_px_per_m > 0 and self.cell_m > 0, f"elevation {self.id}: scale and cell must be more than 0")
        need(self.width_px > 0 and self.height_px > 0, f"elevation {self.id}: has no size")

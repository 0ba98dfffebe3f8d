"""Places taken with a tape, kept as positions beside those worked out from pictures."""

from __future__ import annotations

from collections.abc import Iterable

from asbuilt.record.kinds import Kind, kind_named, usual_depth
from asbuilt.record.store import Record
from asbuilt.record.types import Face, Item, Position
from asbuilt.record.wiring import TapedPlace

TAPED, USUAL = "taped", "usual depth"


def write_taped(record: Record, item_ids: Iterable[str] | None = None) -> None:
    """Bring the positions in step with the taped places, of all items or of some.

    A thing that is no run lies where it was taped, whatever its sightings gave; a run keeps
    both, in their order.
    """
    wanted = None if item_ids is None else set(item_ids)
    with record.transaction():
        stale = record.db.query("SELECT id, item_id FROM positions WHERE id LIKE '%/taped %'")
        for row in [r for r in stale if wanted is None or r["item_id"] in wanted]:
            record.clear(Position, id=row["id"])
        places = [p for p in record.all(TapedPlace) if wanted is None or p.item_id in wanted]
        items = {i.id: i for i in record.all(Item, id={p.item_id for p in places})}
        faces = {f.id: f for f in record.all(Face)}
        for place in places:
            kind = kind_named(items[place.item_id].kind)
            if not kind.is_run:
                record.clear(Position, item_id=place.item_id)
            record.put(_position(place, kind, faces[place.face_id]))


def _position(place: TapedPlace, kind: Kind, face: Face) -> Position:
    usual = place.depth_m is None
    depth_m, sigma_m = usual_depth(kind, face.stud_depth_m) if usual else (place.depth_m, place.sigma_depth_m)
    sigmas_m = (place.sigma_m, place.sigma_m, sigma_m)
    name = f"taped {place.id}"
    return Position(
        id=f"{place.item_id}/{name}", item_id=place.item_id, place=name, order_idx=place.order_idx,
        face_id=place.face_id, offset_m=place.offset_m, height_m=place.height_m, depth_m=depth_m,
        covariance=tuple(tuple(s * s if i == j else 0.0 for j in range(3)) for i, s in enumerate(sigmas_m)),
        method=USUAL if usual else TAPED, picture_count=0,
    )  # fmt: skip

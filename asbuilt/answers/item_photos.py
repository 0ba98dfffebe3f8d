"""The best photo of each item: where it was marked, in the sharpest and lightest picture."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from asbuilt.answers.reply import Reply
from asbuilt.answers.view import View
from asbuilt.record import Picture, Sighting


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemPhoto(Reply):
    """A picture of an item and the pixel at which it was marked."""

    item_id: str
    picture_id: str
    name: str
    taken_at: str
    stage: str
    x_px: float
    y_px: float


def photos_of(view: View, item_ids: Iterable[str], stage: str = "open") -> dict[str, ItemPhoto]:
    """The best marked picture of each item, of those taken at a stage; items without any are left out."""
    ids = sorted(set(item_ids))
    found: dict[str, list[Sighting]] = {}
    for sighting in view.record.all(Sighting, target="item", target_id=ids):
        picture = view.pictures.get(sighting.picture_id)
        if picture is not None and picture.stage == stage:
            found.setdefault(sighting.target_id, []).append(sighting)
    return {item_id: _photo(view, _best(view, sightings)) for item_id, sightings in found.items()}


def _best(view: View, sightings: list[Sighting]) -> Sighting:
    return max(sightings, key=lambda s: _quality(view.pictures[s.picture_id]))


def _quality(picture: Picture) -> tuple:
    sharpness = picture.sharpness if picture.sharpness is not None else 0.5
    return (not picture.flags, picture.kind == "photo", sharpness, picture.light or 0.0)


def _photo(view: View, s: Sighting) -> ItemPhoto:
    picture = view.pictures[s.picture_id]
    name = view.media_names.get(picture.media_id, picture.id)
    if picture.pts_s is not None:
        name = f"{name} at {picture.pts_s:.2f} s"
    return ItemPhoto(item_id=s.target_id, picture_id=picture.id, name=name, taken_at=picture.taken_at or "",
                     stage=picture.stage, x_px=s.x_px, y_px=s.y_px)  # fmt: skip

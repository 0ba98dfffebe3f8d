"""In which pictures a thing is to be seen, and where in them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asbuilt.answers import wording
from asbuilt.answers.bank import CameraBank
from asbuilt.answers.reply import Reply
from asbuilt.answers.things import Thing
from asbuilt.answers.view import FaceView, View
from asbuilt.record.types import Sighting

MOST_PICTURES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureMark(Reply):
    """One picture with the pixel at which to look."""

    picture_id: str
    name: str
    taken_at: str
    stage: str
    x_px: float
    y_px: float
    width_px: int
    height_px: int
    sighted: bool
    text: str


def marks_of(
    view: View, face: FaceView, things: Sequence[Thing], points_m: np.ndarray, sightings: Sequence[Sighting]
) -> list[tuple[PictureMark, ...]]:
    """The pictures of each thing, those in which it was marked first.

    Parameters
    ----------
    points_m : ndarray of shape (len(things), 3)
        The spot of each thing to show, (offset, height, depth) on the face [m].
    """
    if not things:
        return []
    by_item: dict[str, list[Sighting]] = {}
    for sighting in sightings:
        by_item.setdefault(sighting.target_id, []).append(sighting)
    points_face = points_m[:, [0, 2, 1]]
    points_building = face.building_from_face.apply(points_face)
    bank = view.bank.near(points_building)
    if bank.ids:
        pixels, score = bank.project(points_building)
        is_seen = _unblocked(face, bank, points_face) & np.isfinite(pixels[..., 0])
        score = np.where(is_seen, score, np.nan)
    else:
        pixels, score = np.zeros((0, len(things), 2)), np.zeros((0, len(things)))
    found = []
    for number, thing in enumerate(things):
        own = _sighted(view, by_item.get(thing.item.id, []), thing, points_m[number])
        taken = {m.picture_id for m in own}
        order = np.argsort(-score[:, number], kind="stable")[: 4 * MOST_PICTURES]  # nan comes last
        more = [
            _mark(view, bank.ids[c], *pixels[c, number], sighted=False)
            for c in order
            if np.isfinite(score[c, number]) and bank.ids[c] not in taken
            and view.pictures[bank.ids[c]].stage == "open"
        ]  # fmt: skip
        found.append(tuple((own + more)[:MOST_PICTURES]))
    return found


def place_marks(view: View, face: FaceView, point_m: np.ndarray) -> tuple[PictureMark, ...]:
    """The best pictures of a place itself, (offset, height, depth) on the face, before cover-up."""
    points_face = point_m[None, [0, 2, 1]]
    points_building = face.building_from_face.apply(points_face)
    bank = view.bank.near(points_building)
    if not bank.ids:
        return ()
    pixels, score = bank.project(points_building)
    score = np.where(_unblocked(face, bank, points_face) & np.isfinite(pixels[..., 0]), score, -1.0)[:, 0]
    order = np.argsort(-score, kind="stable")
    found = [bank.ids[c] for c in order if score[c] > 0 and view.pictures[bank.ids[c]].stage == "open"]
    at = {bank.ids[c]: pixels[c, 0] for c in order}
    return tuple(_mark(view, i, *at[i], sighted=False) for i in found[:MOST_PICTURES])


def _sighted(view: View, sightings: Sequence[Sighting], thing: Thing, point_m: np.ndarray) -> list[PictureMark]:
    """The pictures in which it was marked, the nearest marked spot first, one mark a picture."""
    place_m = {p.place: s.point_m for p, s in zip(thing.positions, thing.spots, strict=True)}

    def distance(sighting: Sighting) -> float:
        spot = place_m.get(sighting.place)
        return float(np.linalg.norm(spot - point_m)) if spot is not None else 1e9

    marks: dict[str, PictureMark] = {}
    for s in sorted(sightings, key=distance):
        if s.picture_id in view.pictures and s.picture_id not in marks:
            marks[s.picture_id] = _mark(view, s.picture_id, s.x_px, s.y_px, sighted=True)
    return list(marks.values())


def _mark(view: View, picture_id: str, x_px: float, y_px: float, sighted: bool) -> PictureMark:
    picture = view.pictures[picture_id]
    name = view.media_names.get(picture.media_id, picture_id)
    if picture.pts_s is not None:
        name = f"{name} at {picture.pts_s:.2f} s"
    return PictureMark(
        picture_id=picture_id, name=name, taken_at=picture.taken_at or "", stage=picture.stage,
        x_px=float(x_px), y_px=float(y_px), width_px=picture.width_px, height_px=picture.height_px,
        sighted=sighted, text=wording.SIGHTED if sighted else wording.PREDICTED,
    )  # fmt: skip


def _unblocked(face: FaceView, bank: CameraBank, points_face: np.ndarray) -> np.ndarray:
    """Which cameras (C) look at which points (P) without a stud between."""
    centers = face.building_from_face.inverse().apply(bank.center_m)
    x, depth = points_face[None, :, 0], points_face[None, :, 1]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (0.0 - centers[:, 1:2]) / (depth - centers[:, 1:2])
    through = np.where(depth > 0, centers[:, :1] + share * (x - centers[:, :1]), x)
    open_ = np.broadcast_to(centers[:, 1:2] < 0, through.shape) | face.face.open_behind
    low, high = np.minimum(through, x), np.maximum(through, x)
    left, right = np.reshape(face.framing.studs_m, (-1, 2)).T[..., None, None]
    return open_ & ~((high > left) & (low < right) & ~((x > left) & (x < right))).any(axis=0)

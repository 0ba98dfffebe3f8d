"""The other pictures in which a thing should be seen, with its predicted place in each."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from asbuilt.answers import wording
from asbuilt.answers.bank import CameraBank
from asbuilt.answers.view import View, view_of
from asbuilt.record import Item, Media, Position, Record, Sighting
from asbuilt.units import format_error, format_length

MOST = 4
CLOSE_UP_M = 0.45  # half the width of wall that is shown round the predicted place
LEAST_COSINE = 0.35  # pictures taken flatter than 70 degrees off square-on help nobody to point
EDGE_SHARE = 0.04  # a place nearer to the edge of a picture is hard to point at
ENOUGH_PARALLAX_RAD = 0.25  # more adds little to a depth; our choice


def spots_elsewhere(record: Record, item: Item, unit: str) -> list[dict]:
    """Every spot of an item, where it is now, and the pictures best taken next to point at it.

    Pictures that look from elsewhere than the ones it was pointed at in come first: they
    say most about its depth.
    """
    view = view_of(record)
    names = {m.id: m.name for m in record.all(Media)}
    seen: dict[str, list[Sighting]] = {}
    for sighting in record.all(Sighting, target="item", target_id=item.id):
        seen.setdefault(sighting.place, []).append(sighting)
    spots = []
    for position in sorted(record.all(Position, item_id=item.id), key=lambda p: p.order_idx):
        pictured = [s.picture_id for s in seen.get(position.place, [])]
        spots.append(
            {
                "place": position.place,
                "order_idx": position.order_idx,
                "picture_ids": pictured,
                "words": position_words(position, unit),
                "status": position.status,
                "pictures": _pictures(view, position, pictured, names) if position.status == "measured" else [],
            }
        )
    return spots


def position_words(position: Position, unit: str) -> str:
    """Where a spot lies and how well that is known, in one line."""
    if position.status != "measured":
        return f"not located: {position.reason}"
    sigma = [float(np.sqrt(position.covariance[i][i])) for i in range(3)]
    values = (position.offset_m, position.height_m, position.depth_m)
    offset, height, depth = (
        f"{format_length(v, unit, s)} {format_error(s, unit).removesuffix(' at 95 %')}"
        for v, s in zip(values, sigma, strict=True)
    )
    count = position.picture_count
    pictures = f"{count} picture{'' if count == 1 else 's'}" if count else "the tape"
    known = f"; {wording.USUAL_DEPTH}" if position.method == "usual depth" else ""
    return f"{offset} from the left end, {height} up, {depth} behind the stud face, from {pictures} (at 95 %){known}"


def _pictures(view: View, position: Position, pictured: Sequence[str], names: dict[str, str]) -> list[dict]:
    bank = view.bank
    if not bank.ids:
        return []
    pose = view.poses[position.face_id]
    point_m = pose.apply(np.array([[position.offset_m, position.depth_m, position.height_m]]))
    pixels, scale = bank.project(point_m)
    pixels, scale = pixels[:, 0], scale[:, 0]
    toward = bank.center_m - point_m
    toward = toward / np.linalg.norm(toward, axis=1, keepdims=True)
    inward = -pose.rotate(np.array([[0.0, 1.0, 0.0]]))[0]  # out of the wall, into the room
    margin = EDGE_SHARE * bank.size_px
    with np.errstate(invalid="ignore"):
        usable = ((pixels > margin) & (pixels < bank.size_px - margin)).all(axis=1) & (toward @ inward > LEAST_COSINE)
    usable &= np.array([_worth_showing(view, i) and i not in pictured for i in bank.ids])
    chosen = _apart(bank, np.where(usable, scale, 0.0), toward, [bank.ids.index(i) for i in pictured if i in bank.ids])
    return [_picture(view, bank.ids[c], pixels[c], float(scale[c]), names) for c in chosen]


def _worth_showing(view: View, picture_id: str) -> bool:
    picture = view.pictures[picture_id]
    return picture.stage == "open" and not picture.flags


def _apart(bank: CameraBank, worth: np.ndarray, toward: np.ndarray, have: list[int]) -> list[int]:
    """Cameras one after the other, each worth most beside the ones before it."""
    chosen: list[int] = []
    for _ in range(min(MOST, len(bank.ids))):
        known = have + chosen
        cosine = (toward @ toward[known].T).max(axis=1) if known else np.full(len(worth), -1.0)
        angle = np.arccos(np.clip(cosine, -1, 1))
        value = worth * np.clip(angle / ENOUGH_PARALLAX_RAD, 0.05, 1.0)
        value[chosen] = 0
        best = int(value.argmax())
        if value[best] <= 0:
            break
        chosen.append(best)
    return chosen


def _picture(view: View, picture_id: str, pixel: np.ndarray, px_per_m: float, names: dict[str, str]) -> dict:
    picture = view.pictures[picture_id]
    half_px = min(max(CLOSE_UP_M * px_per_m, 90.0), min(picture.width_px, picture.height_px) / 2)
    left = float(np.clip(pixel[0] - half_px, 0, picture.width_px - 2 * half_px))
    top = float(np.clip(pixel[1] - half_px * 0.75, 0, picture.height_px - 1.5 * half_px))
    name = names.get(picture.media_id, picture_id)
    return {
        "picture_id": picture_id,
        "name": name if picture.pts_s is None else f"{name} at {picture.pts_s:.1f} s",
        "x_px": round(float(pixel[0]), 1),
        "y_px": round(float(pixel[1]), 1),
        "width_px": picture.width_px,
        "height_px": picture.height_px,
        "view_px": [round(v, 1) for v in (left, top, 2 * half_px, 1.5 * half_px)],
    }

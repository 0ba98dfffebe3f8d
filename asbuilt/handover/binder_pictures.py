"""The pictures of a face for paper: which, and with the numbers of its items drawn where they are."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import cv2
import numpy as np

from asbuilt.answers.coverage import coverage_of
from asbuilt.answers.things import Thing
from asbuilt.answers.view import FaceView, View
from asbuilt.handover.pictures import WITHHELD, Shown, jpeg
from asbuilt.record import Picture, Record, Sighting

MOST = 8
SIDE_PX = 1100  # printed 3.6 in wide: 300 dots to the inch
RING_SHARE = 0.014  # of the longer side
TEXT_PER_PX = 0.0009  # size of the letters to a longer side of one pixel


def chosen_for_face(record: Record, face_id: str, item_ids: set[str]) -> list[Picture]:
    """Photos filed under a face, then frames with most of its items marked and most of it well shown."""
    coverage = coverage_of(record, face_id)
    share = {picture_id: float((coverage.best == n).mean()) for n, picture_id in enumerate(coverage.picture_ids)}
    marked: dict[str, int] = {}
    for sighting in record.all(Sighting, target="item"):
        if sighting.target_id in item_ids:
            marked[sighting.picture_id] = marked.get(sighting.picture_id, 0) + 1
    filed = [p for p in record.all(Picture, face_id=face_id) if p.kind == "photo"]
    frames = [p for p in record.all(Picture, id=sorted({*share, *marked})) if p.kind == "frame"]
    frames.sort(key=lambda p: (-marked.get(p.id, 0), -share.get(p.id, 0.0)))
    chosen = [p for p in {p.id: p for p in [*filed, *frames]}.values() if WITHHELD not in p.flags][:MOST]
    return sorted(chosen, key=lambda p: p.stage != "open")


def marked_jpegs(
    view: View, face: FaceView, pictures: Sequence[Picture], things: Sequence[tuple[int, Thing]], shown: Shown
) -> list[tuple[Picture, bytes, tuple[int, int]]]:
    """Pictures as JPEG with the numbers of the items in them, and their sizes (width, height) [px]; made once."""
    if face.face.id not in shown.marked:
        shown.marked[face.face.id] = list(_marked(view, face, pictures, things, shown))
    return shown.marked[face.face.id]


def _marked(
    view: View, face: FaceView, pictures: Sequence[Picture], things: Sequence[tuple[int, Thing]], shown: Shown
) -> Iterator[tuple[Picture, bytes, tuple[int, int]]]:
    numbers = {thing.item.id: number for number, thing in things}
    marks: dict[str, list[Sighting]] = {}
    for sighting in view.record.all(Sighting, picture_id=[p.id for p in pictures]):
        marks.setdefault(sighting.picture_id, []).append(sighting)
    predicted = _predicted(view, face, things)
    for picture, image in shown.pictures(pictures):
        image = np.ascontiguousarray(image).copy()
        sighted = {s.target_id for s in marks.get(picture.id, [])}
        for number, item_id, x_px, y_px in predicted.get(picture.id, []):
            if item_id not in sighted:
                _mark(image, x_px, y_px, str(number), is_sighted=False)
        for s in marks.get(picture.id, []):
            if s.target_id in numbers:
                _mark(image, s.x_px, s.y_px, str(numbers[s.target_id]), is_sighted=True)
        yield picture, jpeg(image, SIDE_PX), (image.shape[1], image.shape[0])


def _predicted(view: View, face: FaceView, things: Sequence[tuple[int, Thing]]) -> dict[str, list[tuple]]:
    """Picture id to (number, item id, x, y) of the items that its camera looks at."""
    found: dict[str, list[tuple]] = {}
    if not things or not view.bank.ids:
        return found
    points_face = np.array([t.spots[len(t.spots) // 2].point_m[[0, 2, 1]] for _, t in things])
    pixels, _ = view.bank.project(face.building_from_face.apply(points_face))
    for camera, picture_id in enumerate(view.bank.ids):
        for (number, thing), (x, y) in zip(things, pixels[camera], strict=True):
            if np.isfinite(x):
                found.setdefault(picture_id, []).append((number, thing.item.id, float(x), float(y)))
    return found


def _mark(image: np.ndarray, x_px: float, y_px: float, text: str, is_sighted: bool) -> None:
    """A ring or a square with a number beside it, seen on light and on dark."""
    longer = max(image.shape[:2])
    r, x, y = round(RING_SHARE * longer), round(x_px), round(y_px)
    for colour, width in (((0, 0, 0), 8), ((255, 255, 255), 3)):
        thick = max(1, round(width * longer / 1600))
        if is_sighted:
            cv2.circle(image, (x, y), r, colour, thick, cv2.LINE_AA)
        else:
            cv2.rectangle(image, (x - r, y - r), (x + r, y + r), colour, thick, cv2.LINE_AA)
        cv2.putText(image, text, (x + round(1.3 * r), y + round(0.5 * r)), cv2.FONT_HERSHEY_SIMPLEX,
                    TEXT_PER_PX * longer, colour, thick, cv2.LINE_AA)  # fmt: skip

"""How a placed record of a rendered room compares with the room's truth file."""

from __future__ import annotations

from typing import Any

import numpy as np

from asbuilt.record.store import Record
from asbuilt.record.types import PLACED, Media, Picture, Placement, Position
from tests.rooms.evaluate import Accuracy, accuracy

SAME_TIME_S = 0.004


def position_errors(record: Record, truth: dict[str, Any]) -> dict[str, np.ndarray]:
    """Located spots against the truth's ``click_places``, matched by place.

    Returns
    -------
    dict
        ``error_m`` and ``sigma_m`` of shape (N, 3) (offset, height, depth), ``pictures`` (N,),
        ``intersected`` (N,) bool and ``face`` (N,), for spots on the face the truth gives.
    """
    known = {p["place"]: p for p in truth["click_places"]}
    rows = [p for p in record.all(Position) if p.place in known and known[p.place]["wall"] == p.face_id]
    true = np.array([[known[p.place]["p_wall"][k] for k in (0, 2, 1)] for p in rows]).reshape(-1, 3)
    told = np.array([[p.offset_m, p.height_m, p.depth_m] for p in rows]).reshape(-1, 3)
    return {
        "error_m": told - true,
        "sigma_m": np.array([np.sqrt(np.diag(np.array(p.covariance))) for p in rows]).reshape(-1, 3),
        "pictures": np.array([p.picture_count for p in rows]),
        "intersected": np.array([p.method == "intersected" for p in rows]),
        "face": np.array([p.face_id for p in rows]),
        "place": np.array([p.place for p in rows]),
    }


def position_table(found: dict[str, np.ndarray], at_least_pictures: int = 1) -> dict[str, Accuracy]:
    """Accuracy by axis of the spots seen in at least so many pictures."""
    keep = (found["pictures"] >= at_least_pictures) & found["intersected"]
    names = ("offset", "height", "depth")
    return {
        f"{name}, {at_least_pictures}+ pictures": accuracy(found["error_m"][keep, k], found["sigma_m"][keep, k])
        for k, name in enumerate(names)
    }


def videos_of(truth: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """The truth of each clip of a room by its file."""
    return {v["file"]: v for v in truth.get("videos") or [truth["video"]]}


def truth_by_picture(record: Record, truth: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """What the truth tells of each picture of the record that it knows, in the order of the pictures."""
    media = {m.id: m for m in record.all(Media)}
    stills = {p["file"]: p for p in truth["photos"]}
    frames = {name: video["frames"] for name, video in videos_of(truth).items()}
    times = {name: np.array([f["time_s"] for f in own]) for name, own in frames.items()}
    known = {}
    for picture in record.all(Picture):
        name = media[picture.media_id].name
        if name in stills:
            known[picture.id] = stills[name]
        elif name in frames and picture.pts_s is not None:
            nearest = int(np.argmin(np.abs(times[name] - picture.pts_s)))
            if abs(times[name][nearest] - picture.pts_s) < SAME_TIME_S:
                known[picture.id] = frames[name][nearest]
    return known


def true_camera_centers(record: Record, truth: dict[str, Any]) -> dict[str, np.ndarray]:
    """Truth's camera centre [m, world of the truth] of each picture of the record that the truth knows."""
    return {i: np.array(seen["camera_centre"]) for i, seen in truth_by_picture(record, truth).items()}


def fitted_errors_m(told: np.ndarray, true: np.ndarray, with_scale: bool = False) -> np.ndarray:
    """Distances (N,) [m] left after the best rigid fit, or similarity (Umeyama 1991, IEEE PAMI 13(4) eq. 40-42)."""
    a, b = told - told.mean(axis=0), true - true.mean(axis=0)
    u, sizes, vt = np.linalg.svd(b.T @ a / len(a))
    sign = np.diag([1, 1, np.sign(np.linalg.det(u @ vt))])
    scale = (sizes * np.diag(sign)).sum() / (a**2).sum(axis=1).mean() if with_scale else 1.0
    return np.linalg.norm(scale * a @ (u @ sign @ vt).T - b, axis=1)


def camera_center_errors_m(record: Record, truth: dict[str, Any]) -> tuple[list[str], np.ndarray]:
    """Picture ids and distances [m] of placed cameras from the truth, after one rigid fit.

    The record's building frame starts at the left end of its first face, the truth's world
    does not; the fit of the camera centres takes that out (and at most a little of a common tilt).
    """
    true = true_camera_centers(record, truth)
    placed = [p for p in record.all(Placement) if p.status == PLACED and p.id in true]
    told = np.array([_center(p) for p in placed])
    want = np.array([true[p.id] for p in placed])
    return [p.id for p in placed], fitted_errors_m(told, want)


def _center(placement: Placement) -> np.ndarray:
    x, y, z, w = placement.quat_xyzw
    rotation = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )
    return -rotation.T @ np.array(placement.translation_m)

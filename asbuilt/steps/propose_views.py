"""Which placed pictures show a face well enough to look for things in, laid on its stud plane."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from tqdm import tqdm

from asbuilt.geometry.rectify import Patch, center_face_m, rectify_map, view_of
from asbuilt.imaging.blend import shrunk, shrunk_px
from asbuilt.imaging.sweep import Rectified
from asbuilt.record.pixels import iter_pictures
from asbuilt.record.store import Record
from asbuilt.steps.elevation_site import Site, Source

PX_M = 0.0025  # a cable is four of these wide; about what a 1080p frame shows from 8 ft
CELL_M = 0.25
# Chosen on rendered rooms: more views of a spot do not find more.
WANTED_VIEWS, ENOUGH_QUALITY, MOST_VIEWS = 10, 0.25, 80
MOST_SLOPE = 1.3  # beyond this a cable hides behind its neighbour stud
MOST_SIGMA_M, READ_SIGMA_PX = 0.012, 0.3
FINE_PX_PER_M = 600.0  # finer does not help at PX_M
ENOUGH_LIGHT, LEAST_LIGHT = 0.25, 0.05
LEAST_SIDE_PX = 40


def good_sources(site: Site, sources: Sequence[Source]) -> list[tuple[Source, float]]:
    """Few pictures that show every spot of a face several times, with the error of each [m]."""
    points = _spots(site)
    quality = np.zeros((len(sources), len(points)))
    sigmas = np.full(len(sources), np.inf)
    for number, source in enumerate(sources):
        quality[number], sigmas[number] = _quality(site, source, points)
    have, left, chosen = np.zeros(len(points)), set(range(len(sources))), []
    while left and len(chosen) < MOST_VIEWS:
        wanting = np.clip(WANTED_VIEWS - have, 0, None)
        gains = {n: float((quality[n] * np.minimum(wanting, 1) * (1 + wanting / WANTED_VIEWS)).sum()) for n in left}
        best = max(sorted(gains), key=gains.get)
        if gains[best] < 1.0:
            break
        chosen.append(best)
        left.discard(best)
        have += quality[best] > ENOUGH_QUALITY
    return [(sources[n], float(sigmas[n])) for n in sorted(chosen)]


def _spots(site: Site) -> np.ndarray:
    x = np.arange(CELL_M / 2, site.face.length_m, CELL_M)
    z = np.arange(CELL_M / 2, site.face.height_m, CELL_M)
    grid_x, grid_z = np.meshgrid(x, z)
    return np.stack([grid_x.ravel(), np.zeros(grid_x.size), grid_z.ravel()], axis=1)


def _quality(site: Site, source: Source, points: np.ndarray) -> tuple[np.ndarray, float]:
    """How well a picture shows each spot, 0 to 1, and its median error over them [m]."""
    view = view_of(source.camera, site.building_from_face, points, site.walls)
    shown = view.framed & np.isfinite(view.slope) & (view.slope < MOST_SLOPE)
    sigma = np.full(len(points), np.inf)
    if shown.any():
        sigma[shown] = site.read_off_sigma_m(source, points[shown], READ_SIGMA_PX)
    usable = shown & (sigma < MOST_SIGMA_M)
    fine = np.minimum(np.nan_to_num(view.resolution_px_per_m), FINE_PX_PER_M) / FINE_PX_PER_M
    light = np.clip(source.light / ENOUGH_LIGHT, LEAST_LIGHT, 1.0)
    quality = np.where(usable, fine * source.sharpness * light, 0.0)
    return quality, float(np.median(sigma[usable])) if usable.any() else np.inf


def rectified(
    record: Record, site: Site, chosen: Sequence[tuple[Source, float]], progress: bool
) -> tuple[Patch, list[Rectified]]:
    """The chosen pictures on the plane of the stud faces, and the face's pixels."""
    patch = site.patch(PX_M)
    by_id = {source.picture.id: (source, sigma) for source, sigma in chosen}
    pictures = iter_pictures(record, [source.picture for source, _ in chosen])
    bar = tqdm(pictures, total=len(chosen), desc=f"{site.face.id}: looking", unit="picture", disable=not progress)
    views = []
    for picture, image in bar:
        view = _laid(site, patch, by_id[picture.id], image)
        if view is not None:
            views.append(view)
    return patch, views


def _laid(site: Site, patch: Patch, chosen: tuple[Source, float], image: np.ndarray) -> Rectified | None:
    (source, sigma_m), camera = chosen, chosen[0].camera
    map_x, map_y = rectify_map(camera, site.building_from_face, patch)
    within = (map_x >= 0) & (map_y >= 0) & (map_x <= image.shape[1] - 1) & (map_y <= image.shape[0] - 1)
    rows, cols = np.flatnonzero(within.any(axis=1)), np.flatnonzero(within.any(axis=0))
    if len(rows) < LEAST_SIDE_PX or len(cols) < LEAST_SIDE_PX:
        return None
    box = np.s_[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1]
    offset_m, depth_m, height_m = center_face_m(camera, site.building_from_face)
    factor = max(1, int(camera.lens.focal_px / -depth_m * patch.px_m))
    colors = cv2.remap(
        shrunk(image, factor), shrunk_px(map_x[box], factor), shrunk_px(map_y[box], factor), cv2.INTER_LINEAR
    )
    return Rectified(
        picture_id=source.picture.id,
        row=int(rows[0]),
        col=int(cols[0]),
        colors=colors,
        within=within[box],
        foot_px=(offset_m / patch.px_m - 0.5, (patch.top_m - height_m) / patch.px_m - 0.5),
        distance_m=float(-depth_m),
        sigma_m=sigma_m,
    )

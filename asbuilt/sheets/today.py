"""What is in the wall, laid over a photo of the finished wall, each thing with its error band."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely import MultiPoint, unary_union

from asbuilt.answers.stretches import BEYOND, SEEN
from asbuilt.answers.things import Thing
from asbuilt.answers.view import FaceView, view_of
from asbuilt.errors import FailedEstimate
from asbuilt.record import Picture, Record
from asbuilt.sheets.fit import PhotoFit, fit_picture
from asbuilt.sheets.hatch import slanted
from asbuilt.sheets.recorded import unseen_areas
from asbuilt.sheets.things import describe, tag_text

ELLIPSE_95 = math.sqrt(-2 * math.log(0.05))  # 2.4477: holds 95 % of a normal distribution in the plane
STEP_M = 0.06  # runs are laid over in pieces this long
SEEN_STEP_M = 0.1  # grid on which it is found what of a face a photo shows
TOO_WIDE_M = 0.10  # where the band is wider than 4 in either way a place is not drawn; our choice

Pixel = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One thing over a photo: its lines and the rings of its 95 % band [px].

    ``status`` is seen, unsure (its course was not seen) or stud; ``at_px`` is where its words go.
    """

    item_id: str
    words: str
    tag: str
    status: str
    lines_px: tuple[tuple[Pixel, ...], ...]
    band_px: tuple[tuple[Pixel, ...], ...]
    at_px: Pixel | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Overlay:
    """Everything to lay over one photo, and the names of what could not be drawn well enough.

    ``missing_px`` are the rings of what was not recorded, ``hatch_px`` the lines in them.
    """

    picture: Picture
    fit: PhotoFit
    shown: tuple[Shown, ...]
    too_uncertain: tuple[str, ...]
    missing_px: tuple[tuple[Pixel, ...], ...]
    hatch_px: tuple[tuple[Pixel, ...], ...]


def overlay_of(record: Record, picture: Picture) -> Overlay | FailedEstimate:
    """Lay the record over a photo by the known places marked in it.

    Returns
    -------
    Overlay or FailedEstimate
        Failed when too few places are marked or they do not fit; never a guess.
    """
    fit = fit_picture(record, picture)
    if not fit:
        return fit
    if not fit.fits:
        return FailedEstimate(fit.words(record.building.unit))
    view = view_of(record)
    shown: list[Shown] = []
    lost: list[str] = []
    rings: list[tuple[Pixel, ...]] = []
    hatch: list[tuple[Pixel, ...]] = []
    for face_id in dict.fromkeys(p.face_id for p in fit.points):
        face = view.face(face_id)
        missing, lines = _missing(record, fit, face, picture)
        rings, hatch = rings + missing, hatch + lines
        shown += _studs(fit, face, picture)
        for thing in view.things_on(face_id):
            drawn = _thing(fit, face, thing, picture)
            shown += drawn
            if not drawn and _in_picture(fit, face, thing, picture):
                lost.append(describe(thing))
    return Overlay(
        picture=picture,
        fit=fit,
        shown=tuple(shown),
        too_uncertain=tuple(lost),
        missing_px=tuple(rings),
        hatch_px=tuple(hatch),
    )


def _missing(record: Record, fit: PhotoFit, face: FaceView, picture: Picture) -> tuple[list, list]:
    """What of a face was not recorded, as rings and hatching on the finished face."""

    def pixels(points: Sequence[Pixel]) -> np.ndarray:
        flat = np.asarray(points)
        in_face = np.column_stack([flat[:, 0], np.full(len(flat), -face.covering_m), flat[:, 1]])
        nothing = np.zeros((len(flat), 3, 3))
        return fit.project(*_to_building(face, _Path(points_m=in_face, covariance_m2=nothing)))[0]

    across = np.linspace(0, face.face.length_m, 1 + int(face.face.length_m / SEEN_STEP_M))
    up = np.linspace(0, face.face.height_m, 1 + int(face.face.height_m / SEEN_STEP_M))
    grid = np.stack(np.meshgrid(across, up), axis=-1).reshape(-1, 2)
    in_view = grid[_inside(pixels(grid), picture)]
    if len(in_view) < 3:
        return [], []
    area = unseen_areas(record, face.face)[0].intersection(MultiPoint(in_view).convex_hull)
    rings, lines = [], []
    for polygon in getattr(area, "geoms", [area]):
        if polygon.geom_type == "Polygon" and not polygon.is_empty:
            dense = polygon.segmentize(SEEN_STEP_M)
            rings += [_pixels(pixels(ring.coords[:-1])) for ring in (dense.exterior, *dense.interiors)]
            lines += [_pixels(pixels(np.linspace(*segment, 6))) for segment in slanted(polygon)]
    return rings, lines


def _pixels(points: np.ndarray) -> tuple[Pixel, ...]:
    return tuple(map(tuple, points[np.isfinite(points).all(axis=1)].tolist()))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Path:
    """Points along a line on a face with their errors, in face axes (offset, depth, height)."""

    points_m: np.ndarray
    covariance_m2: np.ndarray


def _to_building(face: FaceView, path: _Path) -> tuple[np.ndarray, np.ndarray]:
    rotation = face.building_from_face.rotation
    return face.building_from_face.apply(path.points_m), rotation @ path.covariance_m2 @ rotation.T


def _face_axes(points: np.ndarray, covariance: np.ndarray) -> _Path:
    """From (offset, height, depth) as things are kept to (offset, depth, height) as faces are laid out."""
    order = [0, 2, 1]
    return _Path(points_m=points[:, order], covariance_m2=covariance[:, order][:, :, order])


def _thing(fit: PhotoFit, face: FaceView, thing: Thing, picture: Picture) -> list[Shown]:
    if thing.block is not None:
        return _block(fit, face, thing, picture)
    seen = [s for s in thing.course if s.status == SEEN]
    unsure = [s for s in thing.course if s.status not in (SEEN, BEYOND)]
    parts = []
    for status, stretches in (("seen", seen), ("unsure", unsure)):
        paths = [_along(s) for s in stretches]
        part = _lines(fit, face, paths, picture, thing, status, radius_m=thing.radius_m)
        parts += [part] if part is not None else []
    return parts


def _along(stretch) -> _Path:
    length_m = float(np.linalg.norm(stretch.end_m - stretch.start_m))
    share = np.linspace(0, 1, 2 + int(length_m / STEP_M))[:, None]
    points = stretch.start_m + share * (stretch.end_m - stretch.start_m)
    covariance = (1 - share[:, :, None]) * stretch.start_cov + share[:, :, None] * stretch.end_cov
    return _face_axes(points, covariance)


def _lines(
    fit, face: FaceView, paths: Sequence[_Path], picture, thing: Thing, status: str, radius_m: float
) -> Shown | None:
    lines: list[tuple[Pixel, ...]] = []
    bands = []
    for path in paths:
        for pixels, ovals in _well_known(fit, face, path, picture, radius_m):
            lines.append(tuple(map(tuple, pixels.tolist())))
            bands += [MultiPoint(np.concatenate(pair)).convex_hull for pair in zip(ovals, ovals[1:], strict=False)]
    if not lines:
        return None
    longest = max(lines, key=len)
    return Shown(
        item_id=thing.item.id,
        words=describe(thing),
        tag=tag_text(thing),
        status=status,
        lines_px=tuple(lines),
        band_px=_rings(unary_union(bands)),
        at_px=longest[len(longest) // 2],
    )


def _well_known(fit, face: FaceView, path: _Path, picture: Picture, radius_m: float):
    """Pieces of a path that lie in the picture and are known well enough, with an oval for each point."""
    pixels, covariance = fit.project(*_to_building(face, path))
    scale = _px_per_m(fit, face, path.points_m)
    ovals = _ovals(pixels, covariance, radius_m * scale)
    reach_px = ELLIPSE_95 * np.sqrt(np.linalg.eigvalsh(covariance)[:, -1])
    good = _inside(pixels, picture) & (reach_px <= TOO_WIDE_M * scale)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], good.astype(int), [0]])))
    for first, last in edges.reshape(-1, 2):
        if last - first > 1:
            yield pixels[first:last], ovals[first:last]


def _px_per_m(fit: PhotoFit, face: FaceView, points_face_m: np.ndarray) -> np.ndarray:
    in_camera = fit.camera.camera_from_building.apply(face.building_from_face.apply(points_face_m))
    return fit.camera.lens.focal_px / np.maximum(in_camera[:, 2], 0.1)


def _ovals(pixels: np.ndarray, covariance: np.ndarray, radius_px: np.ndarray) -> np.ndarray:
    """Points of the 95 % ellipse of each pixel, widened by half the thing's thickness; (N, 16, 2)."""
    turn = np.linspace(0, 2 * math.pi, 16, endpoint=False)
    circle = np.stack([np.cos(turn), np.sin(turn)])
    root = np.linalg.cholesky(covariance + 1e-6 * np.eye(2))
    return pixels[:, None] + (ELLIPSE_95 * root @ circle).transpose(0, 2, 1) + radius_px[:, None, None] * circle.T


def _inside(pixels: np.ndarray, picture: Picture) -> np.ndarray:
    with np.errstate(invalid="ignore"):
        return ((pixels >= -0.5) & (pixels <= (picture.width_px - 0.5, picture.height_px - 0.5))).all(axis=1)


def _block(fit, face: FaceView, thing: Thing, picture: Picture) -> list[Shown]:
    block = thing.block
    around = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * (block.half_width_m, block.half_height_m)
    points = np.column_stack([block.center_m[:2] + around, np.full(4, block.center_m[2])])
    path = _face_axes(points, np.tile(block.cov, (4, 1, 1)))
    pixels, covariance = fit.project(*_to_building(face, path))
    reach_px = ELLIPSE_95 * np.sqrt(np.linalg.eigvalsh(covariance)[:, -1])
    known = (reach_px <= TOO_WIDE_M * _px_per_m(fit, face, path.points_m)).all()
    if not (known and _inside(pixels, picture).all()):
        return []
    corners = tuple(map(tuple, pixels.tolist()))
    band = MultiPoint(_ovals(pixels, covariance, np.zeros(4)).reshape(-1, 2)).convex_hull
    return [
        Shown(
            item_id=thing.item.id,
            words=describe(thing),
            tag=tag_text(thing),
            status="seen",
            lines_px=((*corners, corners[0]),),
            band_px=_rings(band),
            at_px=corners[1],
        )
    ]


def _studs(fit, face: FaceView, picture: Picture) -> list[Shown]:
    """Both edges of every stud, on the plane of the stud faces."""
    shown = []
    for stud in face.studs:
        top_m = face.face.height_m if stud.top_m is None else stud.top_m
        heights = np.linspace(stud.bottom_m, top_m, 24)
        covariance = np.tile(np.diag([stud.sigma_m, 0.003, 0.003]) ** 2, (24, 1, 1))
        lines, bands = [], []
        for edge_m in (stud.center_m - stud.width_m / 2, stud.center_m + stud.width_m / 2):
            points = np.column_stack([np.full(24, edge_m), np.zeros(24), heights])
            for pixels, ovals in _well_known(fit, face, _Path(points_m=points, covariance_m2=covariance), picture, 0.0):
                lines.append(tuple(map(tuple, pixels.tolist())))
                bands += [MultiPoint(np.concatenate(pair)).convex_hull for pair in zip(ovals, ovals[1:], strict=False)]
        if lines:
            words = "stud" if stud.source != "layout" else "stud, expected from the layout"
            band = _rings(unary_union(bands))
            shown.append(
                Shown(item_id="", words=words, tag="", status="stud", lines_px=tuple(lines), band_px=band, at_px=None)
            )
    return shown


def _in_picture(fit: PhotoFit, face: FaceView, thing: Thing, picture: Picture) -> bool:
    """Whether a thing lies within a picture at all."""
    points = np.array([s.point_m for s in thing.spots])
    pixels, _ = fit.project(*_to_building(face, _face_axes(points, np.zeros((len(points), 3, 3)))))
    return bool(_inside(pixels, picture).any())


def _rings(area) -> tuple[tuple[Pixel, ...], ...]:
    polygons = [p for p in getattr(area, "geoms", [area]) if p.geom_type == "Polygon" and not p.is_empty]
    return tuple(tuple(ring.coords)[:-1] for p in polygons for ring in (p.exterior, *p.interiors))

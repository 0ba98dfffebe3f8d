"""Simulated rooms filmed with deliberate holes, as placed records, with what each face truly shows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from asbuilt.record import Media, Opening, Picture, Placement, Record, Room
from asbuilt.record.frames import quat_xyzw
from tests.coverage_truth import Eye, Wall
from tests.rooms.adapt import site_of
from tests.rooms.building import STUD_WIDTH_M, SimFace
from tests.rooms.simulate import Options, SimRoom, simulate
from tests.rooms.walk import Pictures, camera_rotations, join_pictures

OBLIQUE_COSINE = np.cos(np.deg2rad(62))
COVARIANCE = np.diag([0.0008**2] * 3 + [0.002**2] * 3)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Filmed:
    """A simulated room of which only the pictures ``kept`` were taken; ``dark`` of those are dark."""

    room: SimRoom
    kept: np.ndarray  # (F,) bool
    dark: np.ndarray  # (F,) bool

    def eyes(self, face: SimFace) -> Iterator[Eye]:
        """The true cameras of the pictures that were taken."""
        p = self.room.pictures
        for i in np.flatnonzero(self.kept):
            yield _eye(self.room, p, i, face, bool(self.dark[i] or p.blurred[i]))


def _eye(room: SimRoom, p: Pictures, i: int, face: SimFace, spoilt: bool) -> Eye:
    lens = room.lenses[int(p.lens[i])]

    def in_camera(points: np.ndarray) -> np.ndarray:
        return face.to_building(points) @ p.rotation[i].T + p.translation_m[i]

    def pixels(points: np.ndarray) -> np.ndarray:
        seen = in_camera(points)
        # Far outside the picture the lens model folds back into it.
        beyond = np.hypot(seen[:, 0], seen[:, 1]) > 1.1 * lens.half_diagonal * seen[:, 2]
        return np.where(beyond[:, None], np.nan, lens.project(seen))

    return Eye(
        center_m=face.to_face(p.centers_m[i]), pixels=pixels,
        ahead_m=lambda points: in_camera(points)[:, 2], size_px=(lens.width_px, lens.height_px),
        focal_px=lens.focal_px, good=not spoilt,
    )  # fmt: skip


def wall_of(face: SimFace) -> Wall:
    """Its true size and true studs."""
    half_m = STUD_WIDTH_M / 2
    edges = [(x - half_m, x + half_m, 0.0, face.height_m) for x in face.stud_centers_m]
    return Wall(length_m=face.length_m, height_m=face.height_m, stud_depth_m=face.stud_depth_m,
                stud_edges_m=np.array(edges))  # fmt: skip


def filmed_with_holes(seed: int) -> Filmed:
    """One bay of a face skipped, a stretch of the next in the dark, the one after shot only along the wall."""
    room = simulate(seed, Options(faces=4, clips=2, stills_per_face=2, items_per_face=1, texture_per_m2=1.0))
    rng = np.random.default_rng([seed, 400])
    skipped, dim, slanted = (room.faces[k] for k in rng.permutation(4)[:3])
    bay = int(rng.integers(1, len(skipped.stud_centers_m) - 2))
    dropped = _seeing(room, skipped, *skipped.stud_centers_m[bay : bay + 2], 0.3, skipped.height_m)
    dropped |= _seeing(room, slanted, 0, slanted.length_m, 0, slanted.height_m, OBLIQUE_COSINE)
    left_m = rng.uniform(0.2, 0.5) * dim.length_m
    dark = room.pictures.dark | _seeing(room, dim, left_m, left_m + rng.uniform(0.5, 1.5), 0, dim.height_m)
    along = _along_the_wall(slanted, rng)
    return Filmed(
        room=replace(room, pictures=join_pictures([room.pictures, along])),
        kept=np.concatenate([~dropped, np.ones(len(along), bool)]),
        dark=np.concatenate([dark, np.zeros(len(along), bool)]),
    )


def _along_the_wall(face: SimFace, rng: np.random.Generator) -> Pictures:
    """Pictures from beside a wall, looking along it and a little away."""
    count = 12
    spots = np.stack(
        [np.linspace(-0.3, 0.5, count) * face.length_m, np.full(count, -0.45), np.full(count, 1.4)], axis=1
    )
    spots[:, 0] = np.maximum(spots[:, 0], 0.05)
    yaw = np.arctan2(face.rotation[1, 0], face.rotation[0, 0]) - np.radians(rng.uniform(8, 12, count))
    rotation = camera_rotations(yaw, np.radians(rng.uniform(-10, 10, count)), np.zeros(count))
    return Pictures(
        clip=np.zeros(count, int), lens=np.zeros(count, int), time_s=1000.0 + np.arange(count),
        aimed_face=np.zeros(count, int), rotation=rotation,
        translation_m=-np.einsum("fij,fj->fi", rotation, face.to_building(spots)),
        blurred=np.zeros(count, bool), dark=np.zeros(count, bool),
    )  # fmt: skip


def _seeing(room: SimRoom, face: SimFace, left_m, right_m, bottom_m, top_m, least_cosine: float = 0.0) -> np.ndarray:
    """Which pictures see anything of a rectangle of a face, more squarely than an angle."""
    x, z = np.meshgrid(np.linspace(left_m, right_m, 12), np.linspace(bottom_m, top_m, 12))
    points = np.stack([x.ravel(), np.zeros(x.size), z.ravel()], axis=1)
    seeing = np.zeros(len(room.pictures), bool)
    for i in range(len(room.pictures)):
        eye = _eye(room, room.pictures, i, face, False)
        pixels = np.nan_to_num(eye.pixels(points), nan=-1e9)
        inside = ((pixels >= 0) & (pixels <= np.array(eye.size_px) - 1)).all(axis=1) & (eye.center_m[1] < 0)
        ray = points - eye.center_m
        seeing[i] = (inside & (np.abs(ray[:, 1]) / np.linalg.norm(ray, axis=1) > least_cosine)).any()
    return seeing


def record_of(folder: Path, filmed: Filmed) -> Record:
    """What a person would have on record of it: taped faces, laid-out studs, pictures placed."""
    room, record = filmed.room, Record.create(folder, f"Room {filmed.room.seed}")
    first = room.faces[0]
    turn = float(np.arctan2(first.rotation[1, 0], first.rotation[0, 0]))
    x, y, z = map(float, first.origin_m)
    with record.transaction():
        record.put(
            Room(id="room", name="room", closed=room.closed, turn_rad=turn, origin_x_m=x, origin_y_m=y, floor_z_m=z)
        )
        record.put(*(replace(f, room_id="room") for f in site_of(room).faces))
        for face in room.faces:
            record.put(*_openings(face))
        record.put(Media(id="m", name="walk", kind="video", byte_count=1, path="media/m", state="done"))
        for i in np.flatnonzero(filmed.kept):
            record.put(*_placed(room, i, bool(filmed.dark[i])))
    return record


def _openings(face: SimFace) -> Iterator[Opening]:
    for k, (left, right, bottom, top) in enumerate(face.taped_openings_m.tolist()):
        kind = "door" if bottom < 0.05 else "window"
        yield Opening(id=f"{face.name}-{k}", face_id=face.name, kind=kind, left_m=left, right_m=right,
                      bottom_m=max(bottom, 0.0), top_m=top)  # fmt: skip


def _placed(room: SimRoom, i: int, is_dark: bool) -> tuple[Picture, Placement]:
    p = room.pictures
    lens, blurred = room.lenses[int(p.lens[i])], bool(p.blurred[i])
    flags = tuple(name for name, is_so in (("dark", is_dark), ("blurred", blurred)) if is_so)
    picture = Picture(
        id=f"p{i:04d}", media_id="m", kind="photo", width_px=lens.width_px, height_px=lens.height_px, room_id="room",
        light=0.05 if is_dark else 0.45, sharpness=0.1 if blurred else 0.9, flags=flags,
    )  # fmt: skip
    return picture, Placement(
        id=picture.id, status="placed", quat_xyzw=quat_xyzw(p.rotation[i]),
        translation_m=tuple(map(float, p.translation_m[i])), covariance=tuple(map(tuple, COVARIANCE.tolist())),
        lens=(lens.focal_px, lens.center_x_px, lens.center_y_px, *map(float, lens.distortion)), lens_id="true",
    )  # fmt: skip

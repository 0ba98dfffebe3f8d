"""What stands in a simulated room: marker sheets, taped marks, items, and spots with texture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tests.rooms.building import IN_M, STUD_WIDTH_M, SimFace, clear_bays_m, spread_over, stud_edges_m, taped

TURN_SIGMA_RAD = np.radians(1.5)
TILT_SIGMA_RAD = np.radians(1.0)
EDGE_M = 1e-5  # how far a spot on a stud's side stands off it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Markers:
    """Marker sheets: M sheets, C clips. Corners run top left, top right, bottom right, bottom left."""

    ids: np.ndarray  # (M,)
    face_idx: np.ndarray  # (M,)
    nominal_size_m: float  # side of the black square as it should be
    size_m: np.ndarray  # (M,) as printed
    corners_face_m: np.ndarray  # (C, M, 4, 3) in the face frame, per clip
    taped_xz_m: np.ndarray  # (M, 2) offset and height of the centre as written down
    taped_face_idx: np.ndarray  # (M,) face as written down

    @property
    def centers_face_m(self) -> np.ndarray:
        """(C, M, 3)"""
        return self.corners_face_m.mean(axis=2)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spots:
    """Points of faces: N of them."""

    face_idx: np.ndarray  # (N,)
    face_m: np.ndarray  # (N, 3) in the face frame
    building_m: np.ndarray  # (N, 3)
    kind: np.ndarray  # (N,) str

    def __len__(self) -> int:
        return len(self.face_idx)


def join_spots(faces: Sequence[SimFace], parts: Sequence[tuple[int, np.ndarray, np.ndarray]]) -> Spots:
    """Spots from (face index, points (N, 3) in the face frame, kinds (N,))."""
    return Spots(
        face_idx=np.concatenate([np.full(len(p), f) for f, p, _ in parts]).astype(int),
        face_m=np.concatenate([p for _, p, _ in parts]),
        building_m=np.concatenate([faces[f].to_building(p) for f, p, _ in parts]),
        kind=np.concatenate([k for _, _, k in parts]),
    )


def sheet_corners_m(center_m: np.ndarray, size_m: float, turn_tilts_rad: np.ndarray) -> np.ndarray:
    """Corners (4, 3) in the face frame of a sheet turned in its plane and tilted about x and z."""
    turn, about_x, about_z = turn_tilts_rad
    half = size_m / 2
    flat = np.array([[-half, 0, half], [half, 0, half], [half, 0, -half], [-half, 0, -half]])
    cy, sy, cx, sx, cz, sz = *_cs(turn), *_cs(about_x), *_cs(about_z)
    in_plane = np.array([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])
    tip = np.array([[1, 0, 0], [0, cx, -sx], [0, sx, cx]])
    swing = np.array([[cz, -sz, 0], [sz, cz, 0], [0, 0, 1]])
    return flat @ (swing @ tip @ in_plane).T + center_m


def _cs(angle_rad: float) -> tuple[float, float]:
    return float(np.cos(angle_rad)), float(np.sin(angle_rad))


def make_markers(faces, per_face: int | None, clips: int, rng: np.random.Generator) -> Markers:
    """Sheets on studs, spread along each face, between 48 and 70 in high.

    Without ``per_face`` there is one for about every 7 ft, and at least two.
    """
    size_m = float(rng.choice([6 * IN_M, 5 * IN_M, 0.150]))
    face_idx, centers, poses = [], [], []
    for f, face in enumerate(faces):
        count = per_face if per_face is not None else max(2, round(face.length_m / 2.1))
        for x in spread_over(face.stud_centers_m[1:-1], count, rng):
            y = face.stud_faces_y_m[np.argmin(np.abs(face.stud_centers_m - x))] - abs(rng.normal(0, 0.001))
            face_idx.append(f)
            centers.append([x + rng.normal(0, 0.004), y, rng.uniform(48, 70) * IN_M])
            poses.append(rng.normal(0, [TURN_SIGMA_RAD, TILT_SIGMA_RAD, TILT_SIGMA_RAD]))
    centers = np.array(centers).reshape(-1, 3)
    count = len(centers)
    corners = np.array([sheet_corners_m(c, size_m, p) for c, p in zip(centers, poses, strict=True)])
    return Markers(
        ids=int(rng.integers(0, 400)) + np.arange(count),
        face_idx=np.array(face_idx, dtype=int),
        nominal_size_m=size_m,
        size_m=np.full(count, size_m),
        corners_face_m=np.repeat(corners.reshape(1, -1, 4, 3), clips, axis=0),
        taped_xz_m=taped(centers[:, [0, 2]], rng),
        taped_face_idx=np.array(face_idx, dtype=int),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class References:
    """Taped marks on stud faces, which a person can click: true spots and what was written down."""

    spots: Spots
    taped_xz_m: np.ndarray  # (N, 2)


def make_references(faces, per_face: int, rng: np.random.Generator) -> References:
    """Marks on studs, alternately low and high, spread along each face."""
    parts = []
    for f, face in enumerate(faces):
        x = spread_over(face.stud_centers_m, per_face, rng)
        studs = np.abs(face.stud_centers_m[None] - x[:, None]).argmin(axis=1)
        high = np.arange(len(x)) % 2 == 1
        z = np.where(high, rng.uniform(1.5, 2.1, len(x)), rng.uniform(0.4, 1.0, len(x)))
        x = x + rng.uniform(-0.4, 0.4, len(x)) * STUD_WIDTH_M
        points = np.stack([x, face.stud_faces_y_m[studs], z], axis=1)
        parts.append((f, points, np.full(len(x), "mark")))
    spots = join_spots(faces, parts)
    return References(spots=spots, taped_xz_m=taped(spots.face_m[:, [0, 2]], rng))


def make_items(faces, per_face: int, rng: np.random.Generator) -> Spots:
    """Spots of boxes, cables and pipes, none in an opening. A box's mouth stands 12 to 19 mm proud."""
    parts = []
    for f, face in enumerate(faces):
        bays = clear_bays_m(face)
        points, kinds = [], []
        while len(points) < per_face:
            low, high = bays[rng.integers(len(bays))]
            kind = str(rng.choice(["box", "cable", "cable", "pipe"]))
            if kind == "box":
                x = low + 0.03 if rng.uniform() < 0.5 else high - 0.03
                y, z = -rng.uniform(0.012, 0.019), rng.choice([0.45, 1.1, 1.2]) + rng.normal(0, 0.02)
            else:
                x, z = rng.uniform(low + 0.01, high - 0.01), rng.uniform(0.2, face.height_m - 0.2)
                y = rng.uniform(0.02, face.stud_depth_m - 0.02)
            if not face.in_opening(np.array(x), np.array(z), 0.08):
                points.append([x, y, z])
                kinds.append(kind)
        parts.append((f, np.array(points), np.array(kinds)))
    return join_spots(faces, parts)


def make_texture(faces, per_m2: float, rng: np.random.Generator) -> Spots:
    """Spots a tracker would hold on to: stud faces and sides, sheathing, cables; and false ones.

    Three in a hundred are ``crossing``: where a stud's edge hides a thing behind it. Such a
    crossing looks like a corner but moves with the camera, so its spot holds the place of the
    edge (x), the depth of the thing behind (y) and the height.
    """
    parts = []
    for f, face in enumerate(faces):
        count = int(per_m2 * face.length_m * face.height_m)
        kinds = rng.choice(["stud", "side", "sheathing", "cable", "crossing"], count, p=[0.34, 0.15, 0.34, 0.14, 0.03])
        studs = rng.integers(0, len(face.stud_centers_m), count)
        bays = clear_bays_m(face, 0.02)[rng.integers(0, len(clear_bays_m(face, 0.02)), count)]
        left, right = stud_edges_m(face)
        go_right = rng.uniform(size=count) < 0.5
        edge = np.where(go_right, right[studs] + EDGE_M, left[studs] - EDGE_M)
        across = rng.uniform(size=count)
        deep = rng.uniform(0.01, 0.95, count) * face.stud_depth_m
        x = np.select(
            [kinds == "stud", (kinds == "side") | (kinds == "crossing")],
            [left[studs] + across * STUD_WIDTH_M, edge],
            bays[:, 0] + EDGE_M + across * (bays[:, 1] - bays[:, 0] - 2 * EDGE_M),
        )
        y = np.select([kinds == "stud", kinds == "sheathing"], [face.stud_faces_y_m[studs], face.stud_depth_m], deep)
        z = rng.uniform(0.05, face.height_m - 0.05, count)
        keep = ~face.in_opening(x, z) & (x > 0) & (x < face.length_m)
        parts.append((f, np.stack([x, y, z], axis=1)[keep], kinds[keep]))
    return join_spots(faces, parts)

"""From the record and what was seen in the pictures to a joint problem and a start for it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from asbuilt.geometry.bundle_problem import SHEET_CORNERS, Joint, PixelObservations
from asbuilt.geometry.frames import Rigid3
from asbuilt.geometry.initial import KnownPoints
from asbuilt.geometry.planes import Plane
from asbuilt.record import Face, Marker, Record, ReferencePoint, Room, Sighting
from asbuilt.record.frames import plan_building_from_faces
from asbuilt.record.types import STUD_LINE
from asbuilt.steps.place_look import Looked

DEPTH_SIGMA_M = 0.002  # a sheet lies flat on a stud face that wanders by a millimetre or two; our choice
UNKNOWN_SIGMA_M = 10.0
CORNER_FLOOR_PX = 0.15
SAME_STUD_M = 0.02
LINE_HEIGHT_SIGMA_M, LINE_GUESS_SIGMA_M = 0.3, 0.03  # of a stud line's height: held by nothing; as one picture tells it
OUTSIDE_M = 0.1  # a camera may stand this far beyond a stud face: between open studs


@dataclass(frozen=True, slots=True, kw_only=True)
class Site:
    """The faces, marker sheets and reference points of a record, by dense index."""

    faces: list[Face]
    rooms: dict[str, Room]
    building_from_face: list[Rigid3]
    markers: list[Marker]
    references: list[ReferencePoint]

    @property
    def face_idx(self) -> dict[str, int]:
        """Dense index of each face."""
        return {f.id: k for k, f in enumerate(self.faces)}


def site_of(record: Record) -> Site:
    """Read the site from the record, rooms in order, faces in order within each."""
    rooms = sorted(record.all(Room), key=lambda r: r.order_idx)
    poses = plan_building_from_faces(record)
    faces = [f for room in rooms for f in sorted(record.all(Face, room_id=room.id), key=lambda f: f.order_idx)]
    return Site(
        faces=faces,
        rooms={r.id: r for r in rooms},
        building_from_face=[poses[f.id] for f in faces],
        markers=record.all(Marker),
        references=_wandering(record.all(ReferencePoint)),
    )


def _wandering(references: list[ReferencePoint]) -> list[ReferencePoint]:
    """Reference points with the sigma of stud lines widened: those on one stud share its distance from its mark."""

    def stud(r: ReferencePoint) -> tuple[str, int]:
        return r.face_id, round(r.offset_m / SAME_STUD_M)

    shared = Counter(stud(r) for r in references if r.kind == STUD_LINE)
    return [replace(r, sigma_m=r.sigma_m * np.sqrt(shared[stud(r)])) if r.kind == STUD_LINE else r for r in references]


def reference_sigma_m(reference: ReferencePoint) -> tuple[float, float, float]:
    """Sigmas of the place (offset, depth, height) of a reference point [m]; of a stud line the height is free."""
    height_m = LINE_HEIGHT_SIGMA_M if reference.kind == STUD_LINE else reference.sigma_m
    return reference.sigma_m, reference.sigma_depth_m, height_m


def joints_of(site: Site) -> tuple[Joint, ...]:
    """The corners between the walls of each room."""
    joints, index = [], site.face_idx
    for room_id, room in site.rooms.items():
        walls = [f for f in site.faces if f.room_id == room_id and f.kind == "wall"]
        following = list(zip(walls, walls[1:], strict=False))
        if room.closed and len(walls) > 2:
            following.append((walls[-1], walls[0]))
        joints += [
            Joint(face_idx=index[a.id], next_idx=index[b.id], length_m=a.length_m, corner_rad=a.corner_rad)
            for a, b in following
        ]
    return tuple(joints)


def held_of(site: Site) -> tuple[tuple[int, np.ndarray, np.ndarray], ...]:
    """The first wall of each room, and whatever no corner ties, stays as planned."""
    tied = {j.next_idx for j in joints_of(site)}
    held, seen_rooms = [], set()
    for k, face in enumerate(site.faces):
        first = face.kind == "wall" and face.room_id not in seen_rooms
        if first:
            seen_rooms.add(face.room_id)
        if first or k not in tied:
            pose = site.building_from_face[k]
            held.append((k, pose.rotation, pose.translation_m))
    return tuple(held)


def planes_of(site: Site) -> list[Plane]:
    """Each face as a plane in the middle of what its pictures show."""
    return [
        Plane(building_from_face=pose, length_m=f.length_m, height_m=f.height_m, depth_m=0.7 * f.stud_depth_m)
        for f, pose in zip(site.faces, site.building_from_face, strict=True)
    ]


def inside_test(site: Site) -> Callable[[np.ndarray], bool]:
    """Whether a camera may stand at a place: before some wall, and not behind the wall it is before."""
    walls = [(f, p.inverse()) for f, p in zip(site.faces, site.building_from_face, strict=True) if f.kind == "wall"]

    def inside(center_m: np.ndarray) -> bool:
        for room_id in site.rooms:
            places = [(f, p.apply(center_m)) for f, p in walls if f.room_id == room_id]
            if places and all(y < OUTSIDE_M or not -0.2 < x < f.length_m + 0.2 for f, (x, y, _) in places):
                if any(y < OUTSIDE_M for _, (_, y, _) in places):
                    return True
        return False

    return inside


def marker_corners_building_m(site: Site, k: int) -> np.ndarray:
    """Taped corners of a marker in the building, (4, 3)."""
    marker = site.markers[k]
    center = np.array([marker.offset_m, marker.depth_m, marker.height_m])
    corners = center + SHEET_CORNERS * marker.size_m / 2
    return site.building_from_face[site.face_idx[marker.face_id]].apply(corners)


def is_taped(marker: Marker) -> bool:
    """Whether both offset and height of a marker's centre were taped."""
    return marker.offset_m is not None and marker.height_m is not None


def clicks_of(record: Record, site: Site, looked: Looked) -> PixelObservations:
    """Clicks on reference points."""
    picture_idx = {p.id: i for i, p in enumerate(looked.pictures)}
    reference_idx = {r.id: k for k, r in enumerate(site.references)}
    rows = [
        (picture_idx[s.picture_id], reference_idx[s.target_id], (s.x_px, s.y_px), s.sigma_px)
        for s in record.all(Sighting, target="reference")
        if s.picture_id in picture_idx and s.target_id in reference_idx
    ]
    if not rows:
        return PixelObservations()
    camera, thing, xy, sigma = zip(*rows, strict=True)
    return PixelObservations(
        camera_idx=np.array(camera), thing_idx=np.array(thing), xy_px=np.array(xy), sigma_px=np.array(sigma)
    )


def corners_of(site: Site, looked: Looked) -> PixelObservations:
    """Corners of the marker sheets that the record knows of."""
    index = {m.id: k for k, m in enumerate(site.markers)}
    rows = [
        (i, index[m.id], m.corners_px, max(m.sigma_px, CORNER_FLOOR_PX))
        for i, seen in enumerate(looked.markers)
        for m in seen
        if m.id in index
    ]
    if not rows:
        return PixelObservations(xy_px=np.zeros((0, 4, 2)))
    camera, thing, xy, sigma = zip(*rows, strict=True)
    return PixelObservations(
        camera_idx=np.array(camera), thing_idx=np.array(thing), xy_px=np.array(xy), sigma_px=np.array(sigma)
    )


def known_points(site: Site, corners: PixelObservations, clicks: PixelObservations, count: int) -> list[KnownPoints]:
    """Per picture, the points whose place is taped."""
    parts: list[list] = [[] for _ in range(count)]
    for camera, thing, xy, sigma in zip(
        corners.camera_idx, corners.thing_idx, corners.xy_px, corners.sigma_px, strict=True
    ):
        if is_taped(site.markers[thing]):
            sigma_m = site.markers[thing].sigma_m
            parts[camera].append((marker_corners_building_m(site, thing), xy, np.full(4, sigma), np.full(4, sigma_m)))
    for camera, thing, xy, sigma in zip(
        clicks.camera_idx, clicks.thing_idx, clicks.xy_px, clicks.sigma_px, strict=True
    ):
        r = site.references[thing]
        pose = site.building_from_face[site.face_idx[r.face_id]]
        place = pose.apply(np.array([[r.offset_m, r.depth_m, r.height_m]]))
        roughly_m = LINE_GUESS_SIGMA_M if r.kind == STUD_LINE else r.sigma_m
        parts[camera].append((place, xy[None], np.array([sigma]), np.array([roughly_m])))
    empty = (np.zeros((0, 3)), np.zeros((0, 2)), np.zeros(0), np.zeros(0))
    known = []
    for part in parts:
        points, xy, sigma, sigma_m = (np.concatenate(v) for v in zip(*(part or [empty]), strict=True))
        known.append(KnownPoints(points_m=points, xy_px=xy, sigma_px=sigma, sigma_m=sigma_m))
    return known


def marker_sigmas(site: Site) -> np.ndarray:
    """Sigmas of the markers' places (offset, depth, height), (M, 3) [m]; wide where not taped."""
    sigma = np.array([[m.sigma_m, DEPTH_SIGMA_M, m.sigma_m] for m in site.markers]).reshape(-1, 3)
    untaped = np.array([not is_taped(m) for m in site.markers], bool)
    sigma[untaped] = (UNKNOWN_SIGMA_M, DEPTH_SIGMA_M, UNKNOWN_SIGMA_M)
    return sigma

"""Simulated rooms handed to the placing and locating steps as if their pictures had been looked at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from asbuilt.geometry.bundle_problem import PixelObservations
from asbuilt.geometry.cameras import Camera, Lens
from asbuilt.geometry.frames import BUILDING, Rigid3, camera_frame, face_frame
from asbuilt.geometry.intersect import Intersection, Seen, intersect
from asbuilt.geometry.layout import FaceLayout, building_from_faces
from asbuilt.imaging.markers import MarkerSeen
from asbuilt.imaging.tracks import Tracks
from asbuilt.record import Face, Marker, Picture, ReferencePoint, Room
from asbuilt.record.joint import JointCovariance
from asbuilt.record.kinds import kind_named, usual_depth
from asbuilt.steps.place_look import Looked
from asbuilt.steps.place_setup import Site
from asbuilt.steps.place_solve import Solved
from tests.rooms.observe import click
from tests.rooms.simulate import SimRoom


def site_of(room: SimRoom, markers: bool = True, references: bool = False, untaped: tuple[int, ...] = ()) -> Site:
    """What a person wrote down of the room; ``untaped`` sheets (indices) hang but were not measured."""
    faces = [
        Face(
            id=f.name, room_id="room", title=f.name, order_idx=k, length_m=f.taped_length_m, height_m=f.taped_height_m,
            corner_rad=f.nominal_corner_rad, stud_depth_m=f.stud_depth_m, spacing_m=f.spacing_m,
            layout_from=f.layout_from,
        )
        for k, f in enumerate(room.faces)
    ]  # fmt: skip
    layouts = [
        FaceLayout(id=f.id, kind="wall", length_m=f.length_m, height_m=f.height_m, corner_rad=f.corner_rad)
        for f in faces
    ]
    first = room.faces[0]
    turn = float(np.arctan2(first.rotation[1, 0], first.rotation[0, 0]))
    poses = building_from_faces(layouts, first.origin_m, turn)
    sheets = [
        Marker(
            id=int(i), face_id=faces[int(room.markers.taped_face_idx[k])].id, size_m=room.markers.nominal_size_m,
            offset_m=None if k in untaped else float(room.markers.taped_xz_m[k, 0]),
            height_m=None if k in untaped else float(room.markers.taped_xz_m[k, 1]),
        )
        for k, i in enumerate(room.markers.ids)
    ]  # fmt: skip
    points = [
        ReferencePoint(id=f"r{k}", face_id=faces[int(room.references.spots.face_idx[k])].id,
                       offset_m=float(x), height_m=float(z))
        for k, (x, z) in enumerate(room.references.taped_xz_m)
    ]  # fmt: skip
    return Site(
        faces=faces, rooms={"room": Room(id="room", name="room", closed=room.closed)},
        building_from_face=[poses[f.id] for f in faces],
        markers=sheets if markers else [], references=points if references else [],
    )  # fmt: skip


def looked_at(room: SimRoom, markers: bool = True) -> Looked:
    """The room's pictures and what was seen in them."""
    p = room.pictures
    pictures, lens_ids, lenses = [], [], {}
    for i in range(len(p)):
        lens = room.lenses[int(p.lens[i])]
        clip = int(p.clip[i])
        pictures.append(
            Picture(id=f"p{i}", media_id=f"clip{clip}" if clip >= 0 else f"still{i}",
                    kind="frame" if clip >= 0 else "photo",
                    pts_s=float(p.time_s[i]) if clip >= 0 else None, width_px=lens.width_px, height_px=lens.height_px)
        )  # fmt: skip
        lens_ids.append(f"lens {int(p.lens[i])} focal known")
        lenses[lens_ids[-1]] = Lens.from_prior(lens.width_px, lens.height_px, lens.prior_focal_px)
    seen: list[list[MarkerSeen]] = [[] for _ in pictures]
    if markers:
        m = room.marker_sightings
        for i, k, corners, sigma in zip(m.picture, m.marker, m.corners_px, m.sigma_px, strict=True):
            seen[int(i)].append(
                MarkerSeen(id=int(room.markers.ids[k]), corners_px=corners, sigma_px=float(np.mean(sigma)))
            )
    tracks = Tracks(picture_idx=room.tracks.picture, track_idx=room.tracks.track, xy_px=room.tracks.xy_px, breaks=())
    return Looked(pictures=pictures, lens_ids=lens_ids, lenses=lenses, markers=seen, tracks=tracks, record=None)


def reference_clicks(room: SimRoom) -> PixelObservations:
    """Every click on a taped mark, in frames and stills."""
    parts = (room.reference_clicks, room.still_reference_clicks)
    return PixelObservations(
        camera_idx=np.concatenate([c.picture for c in parts]), thing_idx=np.concatenate([c.point for c in parts]),
        xy_px=np.concatenate([c.xy_px for c in parts]), sigma_px=np.concatenate([c.sigma_px for c in parts]),
    )  # fmt: skip


def marks_in_two_frames(room: SimRoom) -> PixelObservations:
    """Clicks on all marks in the two frames of each face, half a walk past it apart, that show most of them."""
    usable = np.flatnonzero((room.pictures.clip >= 0) & room.pictures.usable)
    rng = np.random.default_rng([room.seed, 200])
    spots = room.references.spots
    every = click(room.faces, room.pictures, room.lenses, spots, usable, len(usable), room.options.click_sigma_px, rng)
    kept = np.zeros(len(every.point), bool)
    for face in range(len(room.faces)):
        here = spots.face_idx[every.point] == face
        shown = np.bincount(every.picture[here], minlength=len(room.pictures))
        taken: list[int] = []
        for i in np.argsort(-shown, kind="stable"):
            if shown[i] and len(taken) < 2 and all(abs(int(i) - k) > 6 for k in taken):
                taken.append(int(i))
        kept |= here & np.isin(every.picture, taken)
    return PixelObservations(camera_idx=every.picture[kept], thing_idx=every.point[kept], xy_px=every.xy_px[kept],
                             sigma_px=every.sigma_px[kept])  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Located:
    """Items found: index, error in the face frame (offset, depth, height), its covariance, pictures used."""

    item: int
    error_m: np.ndarray
    covariance: np.ndarray
    pictures: int
    found: Intersection


def joint_of(solved: Solved) -> JointCovariance:
    """The joint covariance by picture id, lens and face."""
    u = solved.bundle.unknowns
    starts = u.starts
    return JointCovariance(
        matrix=solved.bundle.covariance[: starts[3], : starts[3]],
        camera_column={
            p.id: 6 * int(c) for p, c in zip(solved.looked.pictures, solved.camera_of, strict=True) if c >= 0
        },
        lens_column={key: int(starts[1]) + 8 * k for k, key in enumerate(solved.lens_ids)},
        face_column={f.id: int(starts[2]) + 6 * k for k, f in enumerate(solved.site.faces)},
    )


def solved_camera(solved: Solved, i: int) -> Camera:
    """The solved camera of picture ``i``."""
    u, k = solved.bundle.unknowns, int(solved.camera_of[i])
    picture = solved.looked.pictures[i]
    return Camera(
        lens=Lens.from_params(picture.width_px, picture.height_px, u.lens[solved.problem.camera_lens_idx[k], :7]),
        camera_from_building=Rigid3(target=camera_frame(picture.id), source=BUILDING, rotation=u.camera_rotation[k],
                                    translation_m=u.camera_translation_m[k]),
    )  # fmt: skip


def locate_items(room: SimRoom, solved: Solved, clicks, most: int | None = None) -> list[Located]:
    """Locate every item from its clicks in placed pictures, at most ``most`` of them."""
    joint, u = joint_of(solved), solved.bundle.unknowns
    located = []
    for item in np.unique(clicks.point):
        rows = [r for r in np.flatnonzero(clicks.point == item) if solved.camera_of[clicks.picture[r]] >= 0][:most]
        if not rows:
            continue
        face_idx = int(room.items.face_idx[item])
        face = solved.site.faces[face_idx]
        stubs = [
            _Stub(id=solved.looked.pictures[i].id, lens_id=solved.looked.lens_ids[i]) for i in clicks.picture[rows]
        ]
        covariance, cameras, lenses, face_slot = joint.block(stubs, face.id)
        seen = [
            Seen(camera=solved_camera(solved, int(clicks.picture[r])), camera_slot=c, lens_slot=n,
                 xy_px=clicks.xy_px[r], sigma_px=float(clicks.sigma_px[r]))
            for r, c, n in zip(rows, cameras, lenses, strict=True)
        ]  # fmt: skip
        pose = Rigid3(target=BUILDING, source=face_frame(face.id), rotation=u.face_rotation[face_idx],
                      translation_m=u.face_translation_m[face_idx])  # fmt: skip
        usual_m, sigma_m = usual_depth(kind_named(str(room.items.kind[item])), face.stud_depth_m)
        found = intersect(seen, pose, covariance, face_slot, usual_m, sigma_m)
        if found:
            error = found.place_face_m - room.items.face_m[item]
            located.append(
                Located(item=int(item), error_m=error, covariance=found.covariance, pictures=len(rows), found=found)
            )
    return located


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stub:
    id: str
    lens_id: str

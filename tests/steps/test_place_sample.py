"""The sample building, from its files alone, against the renderer's truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from asbuilt.answers.behind import behind
from asbuilt.geometry.intersect import Seen, intersect
from asbuilt.record import Item, Media, Picture, Placement, Position, Record, Sighting
from asbuilt.record.frames import building_from_faces, cameras
from asbuilt.record.joint import joint_covariances
from asbuilt.record.kinds import kind_named, usual_depth
from asbuilt.steps.locate_boxes import box_near
from asbuilt.steps.locate_solve import scene_of, solve
from tests.truth import truth

CLICK_SIGMA_PX = 1.5


@pytest.fixture(scope="module")
def seen_by_truth(placed_sample):
    """Per placed picture, the renderer's record of it; and the building origin it uses."""
    media = {m.id: m.name for m in placed_sample.all(Media)}
    photos = {p["file"]: p for p in truth()["photos"]}
    frames = truth()["video"]["frames"]
    placed = {p.id for p in placed_sample.all(Placement, status="placed")}
    seen = {}
    for picture in placed_sample.all(Picture):
        if picture.id in placed:
            if picture.kind == "photo":
                seen[picture.id] = photos[media[picture.media_id]]
            else:
                seen[picture.id] = min(frames, key=lambda f: abs(f["time_s"] - picture.pts_s))
    return seen


def test_nearly_every_open_picture_is_placed_and_the_others_say_why(placed_sample):
    placements = placed_sample.all(Placement)
    assert len(placements) == len(placed_sample.all(Picture))
    placed = [p for p in placements if p.status == "placed"]
    assert len(placed) > 0.9 * len(placements)
    assert all(p.reason for p in placements if p.status != "placed")
    stills = {p.id for p in placed_sample.all(Picture, kind="photo", stage="open")}
    assert stills <= {p.id for p in placed}


def test_cameras_stand_where_they_stood(placed_sample, seen_by_truth):
    origin = np.array(truth()["walls"][0]["origin"])
    solved = cameras(placed_sample)
    errors_m = np.array(
        [
            np.linalg.norm(solved[i].center_building_m - (np.array(seen["camera_centre"]) - origin))
            for i, seen in seen_by_truth.items()
        ]
    )
    assert np.median(errors_m) < 0.010
    assert errors_m.max() < 0.0508  # no picture more than 2 in wrong


def _click(placed_sample: Record, seen_by_truth, count: int, rng: np.random.Generator):
    """Errors and stated sigmas (N, 3) of spots on cables, each clicked in ``count`` pictures."""
    spots = {p["id"]: p for p in truth()["label_points"]}
    depth = {w["id"]: w["stud_depth"] for w in truth()["walls"]}
    solved, poses = cameras(placed_sample), building_from_faces(placed_sample)
    placements = {p.id: p for p in placed_sample.all(Placement, status="placed")}
    joint = next(iter(joint_covariances(placed_sample).values()))
    where: dict[str, list] = {}
    for picture_id, seen in seen_by_truth.items():
        for spot in seen["label_points_visible"]:
            where.setdefault(spot["id"], []).append((picture_id, spot["u"], spot["v"]))
    errors, sigmas = [], []
    for spot_id, views in where.items():
        face_id = spots[spot_id]["wall"]
        for _ in range(min(12, len(views) // count)):
            chosen = [views[k] for k in rng.choice(len(views), count, replace=False)]
            covariance, camera_slots, lens_slots, face_slot = joint.block([placements[v[0]] for v in chosen], face_id)
            pixels = [
                Seen(camera=solved[i], camera_slot=c, lens_slot=n, sigma_px=CLICK_SIGMA_PX,
                     xy_px=np.array([u, v]) + rng.normal(0, CLICK_SIGMA_PX, 2))
                for (i, u, v), c, n in zip(chosen, camera_slots, lens_slots, strict=True)
            ]  # fmt: skip
            usual_m, sigma_m = usual_depth(kind_named("cable"), depth[face_id])
            found = intersect(pixels, poses[face_id], covariance, face_slot, usual_m, sigma_m)
            errors.append(found.place_face_m - spots[spot_id]["p_wall"])
            sigmas.append(np.sqrt(np.diag(found.covariance)))
    return np.array(errors), np.array(sigmas)


@pytest.mark.parametrize(("count", "median_m", "p95_m"), [(1, 0.0048, 0.0222), (5, 0.0024, 0.0127)])
def test_spots_are_located_and_their_stated_errors_hold(placed_sample, seen_by_truth, count, median_m, p95_m):
    errors, sigmas = _click(placed_sample, seen_by_truth, count, np.random.default_rng(5))
    assert len(errors) > 400
    for axis in (0, 2):  # offset and height
        assert np.median(np.abs(errors[:, axis])) < median_m
        assert np.percentile(np.abs(errors[:, axis]), 95) < p95_m
    inside = np.mean(np.abs(errors) < 1.96 * sigmas, axis=0)
    assert inside.min() > 0.92
    assert np.mean(inside) > 0.93


def test_what_was_clicked_is_where_it_is(placed_sample):
    places = {c["place"]: c for c in truth()["click_places"]}
    positions = placed_sample.all(Position)
    assert len(positions) == len({(p.item_id, p.place) for p in positions}) >= 60
    assert [p for p in positions if p.status != "measured"] == []
    inside = []
    for position in positions:
        true = places[position.place]
        assert position.face_id == true["wall"]
        x, y, z = true["p_wall"]
        error = np.array([position.offset_m - x, position.height_m - z, position.depth_m - y])
        inside.append(np.abs(error) < 1.96 * np.sqrt(np.diag(position.covariance)))
    assert np.mean(inside) > 0.93


def test_one_click_on_a_cable_beside_a_box_rests_on_where_cable_enters_it(placed_sample):
    """The depth of such clicks errs less than without the boxes, and by less than an inch in the mean."""
    spots, scene = {c["place"]: c for c in truth()["click_places"]}, scene_of(placed_sample)
    cables = {i.id: i for i in placed_sample.all(Item, kind="cable")}
    errors_m = []
    for click in placed_sample.all(Sighting, target="item"):
        true, item = spots[click.place], cables.get(click.target_id)
        x, y, z = true["p_wall"]
        if item and click.picture_id in scene.cameras and box_near(scene.boxes.values(), true["wall"], None, x, z):
            alone = replace(scene, followed={})
            both = [solve([click], item, s, true["wall"])[0] for s in (alone, replace(alone, boxes={}))]
            errors_m.append([abs(found.place_face_m[1] - y) for found in both])
    with_boxes, without = np.mean(errors_m, axis=0)
    assert len(errors_m) >= 20
    assert with_boxes < 0.8 * without
    assert with_boxes < 0.025


def test_behind_agrees_with_the_truth_at_fifty_places(placed_sample):
    """Every clicked spot near a random place is answered, within its stated error."""
    rng = np.random.default_rng(11)
    places = {c["place"]: c for c in truth()["click_places"]}
    clicked = [p for p in placed_sample.all(Position)]
    asked, agreed, told = 0, 0, 0
    while asked < 50:
        spot = clicked[rng.integers(len(clicked))]
        true = places[spot.place]
        offset_m = true["p_wall"][0] + rng.uniform(-0.15, 0.15)
        answer = behind(placed_sample, spot.face_id, max(0.0, offset_m), height_m=true["p_wall"][2])
        asked += 1
        things = {t.item_id: t for bay in answer.bays for t in bay.things}
        assert spot.item_id in things, f"{placed_sample.get(Item, spot.item_id).label} is not in the answer"
        thing = things[spot.item_id]
        if thing.direction == "":  # a box or an end: its middle is told
            told += 1
            agreed += abs(thing.offset_m - true["p_wall"][0]) <= thing.offset_error_95_m + 1e-9
    assert told >= 15
    assert agreed >= 0.93 * told - 1


def test_what_was_never_filmed_is_not_recorded(placed_sample):
    hole = truth()["left_out"]
    answer = behind(placed_sample, hole["wall"], (hole["x0"] + hole["x1"]) / 2, height_m=2.1, within_m=0.1)
    assert answer.outcome == "not recorded"


def test_placed_pictures_are_filed_under_a_face(placed_sample):
    filed = placed_sample.all(Picture, kind="frame", stage="open")
    placed = {p.id for p in placed_sample.all(Placement, status="placed")}
    assert all(p.face_id and p.filed_by in ("place", "marker", "order", "hand") for p in filed if p.id in placed)

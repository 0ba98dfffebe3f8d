"""The record made from the truth is consistent with itself."""

from __future__ import annotations

import numpy as np
import pytest

from asbuilt.record.frames import building_from_faces, cameras
from asbuilt.record.types import Item, Position, Sighting
from tests.truth import simplified, truth, truth_record


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    with truth_record(tmp_path_factory.mktemp("truth") / "r", frame_step=12) as made:
        yield made


def test_faces_lie_where_the_truth_puts_them(record):
    placed = building_from_faces(record)
    for wall in truth()["walls"]:
        pose = placed[wall["id"]]
        np.testing.assert_allclose(pose.translation_m, wall["origin"], atol=1e-6)
        np.testing.assert_allclose(pose.rotation[:, 0], wall["axis_x"], atol=1e-9)
        np.testing.assert_allclose(pose.rotation[:, 1], wall["axis_y"], atol=1e-9)


def test_positions_project_onto_the_sightings_within_a_pixel(record):
    placed, cams = building_from_faces(record), cameras(record)
    positions = {(p.item_id, p.place): p for p in record.all(Position)}
    misses = []
    for s in record.all(Sighting):
        p = positions[(s.target_id, s.place)]
        point = placed[p.face_id].apply(np.array([[p.offset_m, p.depth_m, p.height_m]]))
        misses.append(np.linalg.norm(cams[s.picture_id].project(point)[0] - (s.x_px, s.y_px)))
    assert len(misses) > 50
    assert np.max(misses) < 1.0


def test_every_true_thing_is_an_item_and_clicked_records_hold_the_clicked_places(record, tmp_path):
    ids = {i.id for i in record.all(Item)}
    assert {b["id"] for b in truth()["boxes"]} <= ids
    assert {r["id"] for r in truth()["runs"]} <= ids
    with truth_record(tmp_path / "c", places="clicked", pictures=False) as clicked:
        assert len(clicked.all(Position)) == len(truth()["click_places"])


def test_a_simplified_line_keeps_within_its_tolerance():
    line = np.array(truth()["runs"][1]["polyline"])
    few = simplified(line, 0.003, 0.3)
    assert len(few) < len(line) / 4
    for point in line:
        a, b = few[:-1], few[1:]
        t = np.clip(((point - a) * (b - a)).sum(1) / ((b - a) ** 2).sum(1), 0, 1)
        assert np.linalg.norm(a + t[:, None] * (b - a) - point, axis=1).min() < 0.003 + 1e-9

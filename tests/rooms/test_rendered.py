"""Comparing a placed record with a room's truth file."""

from __future__ import annotations

import numpy as np
import pytest

from asbuilt.record.types import Placement
from tests.rooms.rendered import camera_center_errors_m, position_errors, position_table, true_camera_centers
from tests.truth import truth, truth_record


def test_positions_blurred_by_a_known_error_are_found_to_be_off_by_it(tmp_path):
    record = truth_record(tmp_path / "room", places="clicked", sigma_m=0.004, pictures=False)
    found = position_errors(record, truth())
    assert len(found["pictures"]) == len(truth()["click_places"])
    assert found["error_m"].std() == pytest.approx(0.004, rel=0.15)
    assert np.allclose(found["sigma_m"], 0.004)
    table = position_table(found)
    assert set(table) == {"offset, 1+ pictures", "height, 1+ pictures", "depth, 1+ pictures"}
    assert all(row.inside_95 > 0.85 for row in table.values())


def test_exact_positions_have_no_error(tmp_path):
    record = truth_record(tmp_path / "room", places="clicked", pictures=False)
    assert np.abs(position_errors(record, truth())["error_m"]).max() < 1e-9


def test_cameras_of_the_truth_are_where_they_should_be_and_a_moved_one_shows(tmp_path):
    record = truth_record(tmp_path / "room")
    known = true_camera_centers(record, truth())
    ids, errors_m = camera_center_errors_m(record, truth())
    assert len(ids) > 50 and set(ids) <= set(known)
    assert errors_m.max() < 1e-4
    moved = next(p for p in record.all(Placement) if p.id == ids[10])
    shifted = tuple(np.array(moved.translation_m) + (0.25, 0, 0))
    record.put(Placement(**{**{f: getattr(moved, f) for f in moved.__slots__}, "translation_m": shifted}))
    ids, errors_m = camera_center_errors_m(record, truth())
    assert errors_m[ids.index(moved.id)] == pytest.approx(0.25, rel=0.05)

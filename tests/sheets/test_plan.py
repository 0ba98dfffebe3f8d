"""The rooms from above: walls where they stand, cameras where they stood."""

from __future__ import annotations

import numpy as np
import pytest

from asbuilt.sheets.drawing import Circle, Group, Polyline, Text, walk
from asbuilt.sheets.plan import plan_sheet
from tests.truth import truth, truth_record


@pytest.fixture(scope="module")
def drawing(tmp_path_factory):
    with truth_record(tmp_path_factory.mktemp("plan") / "r", frame_step=60) as record:
        yield plan_sheet(record)


def layer(drawing, name):
    return next(g for g in drawing.parts if isinstance(g, Group) and g.layer == name)


def test_walls_stand_where_they_truly_do(drawing):
    drawn = [p for p in walk(layer(drawing, "walls").parts) if isinstance(p, Polyline) and p.pen == "plan wall"]
    corners = np.array([c for p in drawn for c in p.points_m])
    for wall in truth()["walls"]:
        origin, along = np.array(wall["origin"][:2]), np.array(wall["axis_x"][:2])
        for end in (origin, origin + along * wall["length"]):
            assert np.linalg.norm(corners - end, axis=1).min() < 1e-6


def test_doors_are_gaps(drawing):
    garden = next(g for g in layer(drawing, "walls").parts if g.title == "Garden face")
    solids = [p for p in garden.parts if isinstance(p, Polyline)]
    assert len(solids) == 2
    wall = next(w for w in truth()["walls"] if w["id"] == "garden")
    (door,) = wall["openings"]
    width = np.linalg.norm(np.subtract(solids[0].points_m[1], solids[1].points_m[0]))
    assert width == pytest.approx(door["x1"] - door["x0"], abs=1e-6)


def test_every_placed_picture_is_a_dot_where_its_camera_stood(drawing):
    dots = {g.key: next(p for p in g.parts if isinstance(p, Circle)) for g in layer(drawing, "pictures").parts}
    for photo in truth()["photos"]:
        dot = dots[photo["file"].split(".")[0]]
        assert dot.center_m == pytest.approx(photo["camera_centre"][:2], abs=1e-3)


def test_every_face_is_named_inside_its_room(drawing):
    groups = layer(drawing, "faces").parts
    words = {g.key: next(p for p in g.parts if isinstance(p, Text)) for g in groups}
    assert set(words) == {w["id"] for w in truth()["walls"]}
    length, depth = truth()["room"]["length"], truth()["room"]["width"]
    assert all(0 < t.at_m[0] < length and 0 < t.at_m[1] < depth for t in words.values())

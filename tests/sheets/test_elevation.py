"""The elevation of a face: true to scale, honest about gaps, readable without colour."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
from shapely import Point, Polygon

from asbuilt.answers.view import view_of
from asbuilt.errors import NotInRecordError
from asbuilt.record import Face, Item, Opening
from asbuilt.sheets.drawing import Group, Polyline, Rect, Region, Text, walk
from asbuilt.sheets.elevation import elevation_sheet
from asbuilt.sheets.pens import PENS
from asbuilt.sheets.runs import HOLLOW, RUN_PENS, band_area
from asbuilt.sheets.svg import svg
from tests.truth import truth, truth_record

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    with truth_record(tmp_path_factory.mktemp("sheet") / "r", pictures=False, sigma_m=0.006) as opened:
        yield opened


def in_layer(drawing, name):
    return [p for g in drawing.parts if isinstance(g, Group) and g.layer == name for p in walk(g.parts)]


def test_every_stud_is_drawn_at_its_true_place_and_width(record):
    drawing = elevation_sheet(record, "street")
    drawn = [p for p in in_layer(drawing, "studs") if isinstance(p, Rect) and p.pen == "stud"]
    true = {round(s["x"], 6) for s in truth()["walls"][0]["studs"] if s["kind"] != "nailer"}
    assert {round(p.left_m + p.width_m / 2, 6) for p in drawn} == true
    assert all(p.width_m == pytest.approx(0.0381) for p in drawn)


def test_studs_known_only_from_the_layout_look_different(tmp_path):
    with truth_record(tmp_path / "r", pictures=False, known_studs=False) as record:
        pens = {p.pen for p in in_layer(elevation_sheet(record, "street"), "studs") if isinstance(p, Rect)}
    assert "stud expected" in pens and "stud" not in pens
    assert PENS["stud expected"].dash_mm and not PENS["stud"].dash_mm


def test_svg_is_to_scale_when_printed(record):
    drawing = elevation_sheet(record, "kiln")
    root = ElementTree.fromstring(svg(drawing, scale=20))
    view = [float(v) for v in root.get("viewBox").split()]
    assert float(root.get("width")[:-2]) * 20 == pytest.approx(view[2], abs=1)
    face = record.get(Face, "kiln")
    ground = next(e for e in root.iter(f"{SVG}g") if e.get("data-layer") == "ground").find(f"{SVG}rect")
    assert float(ground.get("width")) == pytest.approx(face.length_m * 1000, abs=0.05)
    assert float(ground.get("x")) == pytest.approx(-float(root.get("data-left-mm")), abs=0.05)


def test_box_lies_where_it_was_measured_in_the_svg(record):
    root = ElementTree.fromstring(svg(elevation_sheet(record, "street")))
    thing = next(t for t in view_of(record).things_on("street") if t.kind.name == "device box")
    group = next(e for e in root.iter(f"{SVG}g") if e.get("data-key") == thing.item.id)
    x, y, w, h = (float(group.findall(f"{SVG}rect")[1].get(k)) for k in ("x", "y", "width", "height"))
    offset_mm = x + w / 2 + float(root.get("data-left-mm"))
    height_mm = float(root.get("data-top-mm")) - (y + h / 2)
    assert offset_mm == pytest.approx(thing.block.center_m[0] * 1000, abs=0.2)
    assert height_mm == pytest.approx(thing.block.center_m[1] * 1000, abs=0.2)


def test_tape_and_heights_start_at_the_datum(record):
    drawing = elevation_sheet(record, "street")
    six = next(p for p in in_layer(drawing, "tape") if isinstance(p, Text) and p.text == "6 ft")
    assert six.at_m[0] == pytest.approx(1.8288) and six.anchor == "middle"
    metric = elevation_sheet(record, "street", unit="mm")
    marks = {p.text: p.at_m[1] for p in in_layer(metric, "heights") if isinstance(p, Text)}
    assert marks["1500"] - marks["500"] == pytest.approx(1.0)


def test_face_without_coverage_is_hatched_all_over_but_for_its_openings(record):
    drawing = elevation_sheet(record, "garden")
    face, (door,) = record.get(Face, "garden"), record.all(Opening, face_id="garden")
    regions = [p for p in in_layer(drawing, "coverage") if isinstance(p, Region) and p.pen == "not recorded"]
    area = sum(Polygon(r.rings_m[0], r.rings_m[1:]).area for r in regions)
    door_area = (door.right_m - door.left_m) * (door.top_m - door.bottom_m)
    assert area == pytest.approx(face.length_m * face.height_m - door_area, rel=1e-6)
    assert any(isinstance(p, Text) and p.text == "not recorded" for p in in_layer(drawing, "coverage"))
    assert "Not recorded: " in drawing.description


def test_band_holds_the_run_and_is_as_wide_as_its_error(record):
    runs = [t for t in view_of(record).things_on("partition") if t.kind.is_run]
    assert runs
    for run in runs:
        area = band_area(run, ("seen", "between sightings", "beyond the last sighting"))
        for spot in run.spots:
            reach = run.radius_m + 1.96 * spot.cov[0, 0] ** 0.5
            assert area.covers(Point(spot.point_m[0] + 0.98 * reach, spot.point_m[1]))
        stray = max(s.start_cov[0, 0] for s in run.course) ** 0.5
        widest = max(s.point_m[0] for s in run.spots) + run.radius_m + 1.96 * stray
        if all(s.status == "seen" for s in run.course):
            assert area.bounds[2] <= widest + 1e-9


def test_course_that_was_not_seen_is_broken_and_every_way_is_drawn(tmp_path):
    """Three sightings of a bent cable: an L between the first two, straight between the others."""
    with truth_record(tmp_path / "r", pictures=False, places="clicked") as record:
        things = view_of(record).things_on("street")
        thing = next(t for t in things if any(s.status == "between sightings" for s in t.course))
        drawing = elevation_sheet(record, "street")
    shape = next(g for g in walk(drawing.parts) if isinstance(g, Group) and g.key == thing.item.id)
    broken = [p for p in shape.parts if isinstance(p, Polyline) and p.pen == "run unsure"]
    ways = {(s.group, s.alternative) for s in thing.course if s.status == "between sightings"}
    assert len(broken) >= len(ways) >= 2
    assert PENS["run unsure"].dash_mm
    solid = [p for p in shape.parts if isinstance(p, Polyline) and p.pen == "run cable"]
    drawn = [p for line in solid for p in line.points_m]
    seen = np.array([q[:2] for s in thing.course if s.status == "seen" for q in (s.start_m, s.end_m)])
    assert all(np.linalg.norm(seen - p, axis=1).min() < 1e-6 for p in drawn)


def test_runs_that_leave_the_face_end_in_an_arrow_at_its_edge(record):
    face = record.get(Face, "street")
    drawing = elevation_sheet(record, "street")
    lines = [p for p in in_layer(drawing, "power") if isinstance(p, Polyline)]
    assert max(z for p in lines for _, z in p.points_m) <= face.height_m + 0.08
    assert sum(p.pen == "arrow" for p in lines) == 3


def test_kinds_of_run_differ_in_line_not_only_in_colour():
    special = {"sprinkler pipe", "radiant tubing", "tendon"}
    looks = {}
    for kind, pen_name in RUN_PENS.items():
        pen = PENS[pen_name]
        looks.setdefault((pen.width_mm, pen.dash_mm, kind in HOLLOW), set()).add(kind)
    assert all(len(kinds) == 1 or kinds <= special for kinds in looks.values())


def test_every_circuit_run_carries_a_tag_with_its_number(record):
    drawing = elevation_sheet(record, "street")
    words = [p.text for p in walk(drawing.parts) if isinstance(p, Text)]
    for thing in view_of(record).things_on("street"):
        if thing.circuit is not None and thing.kind.is_run:
            assert f"{thing.circuit.number} {thing.circuit.name}" in words


def test_title_block_says_face_room_building_datum_and_date(record):
    drawing = elevation_sheet(record, "street", drawn_on="2031-01-02")
    words = " ".join(p.text for p in in_layer(drawing, "title block") if isinstance(p, Text))
    for needed in ("Street face", "Quarry Lane Pottery, Studio", "Seen from inside", "left end", "2031-01-02",
                   "not permission to drill", "not recorded (not empty)"):  # fmt: skip
        assert needed in words


def test_hostile_names_are_text_and_no_style_needs_a_policy_exception(tmp_path):
    with truth_record(tmp_path / "r", pictures=False) as record:
        item = next(i for i in record.all(Item, face_id="street") if i.kind == "device box")
        hostile = '<script>alert("x")</script>&'
        record.put(Item(**{f: getattr(item, f) for f in item.__slots__} | {"label": hostile}))
        text = svg(elevation_sheet(record, "street"))
    assert "<script" not in text
    root = ElementTree.fromstring(text)
    assert any(e.text and hostile in e.text for e in root.iter(f"{SVG}title"))
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=", text)


def test_picture_layer_lies_under_everything_corner_to_corner(record):
    drawing = elevation_sheet(record, "kiln", picture_layer="/pictures/face.jpg")
    layers = drawing.layers()
    assert layers.index("picture") < layers.index("studs")
    face = record.get(Face, "kiln")
    (raster,) = in_layer(drawing, "picture")
    assert (raster.left_m, raster.bottom_m, raster.width_m, raster.height_m) == (0, 0, face.length_m, face.height_m)


def test_unknown_face_is_an_error_in_one_line(record):
    with pytest.raises(NotInRecordError, match="attic"):
        elevation_sheet(record, "attic")

"""The record laid over photos of the finished wall, against where things truly are in them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapely import LineString, Point, Polygon, unary_union

from asbuilt.record import Media, Picture, Placement, Record, Sighting
from asbuilt.sheets.fit import fit_picture
from asbuilt.sheets.known import known_places
from asbuilt.sheets.today import overlay_of
from tests.truth import truth, truth_record

CLOSED = {p["file"].removesuffix(".jpg"): p for p in truth()["closed_photos"]}
HALF_INCH_M = 0.0127
CLICK_PX = 1.5


@pytest.fixture(scope="module", params=[0, 1, 2])
def record(request, tmp_path_factory):
    """A record whose positions are off by 3 mm and say so; photos all of one device."""
    folder = tmp_path_factory.mktemp("today") / "r"
    with truth_record(folder, sigma_m=0.003, seed=request.param, frame_step=200) as opened:
        opened.put(*(replace(m, device="Camera 01") for m in opened.all(Media, kind="photo")))
        for name in CLOSED:
            opened.clear(Placement, id=name)
        yield opened


def mark_covers(record: Record, name: str, seed: int, most: int = 99, shift_px=(0.0, 0.0)) -> Picture:
    """Mark the covers that a person sees in a photo, a careful click off."""
    rng = np.random.default_rng(seed)
    photo, picture = CLOSED[name], record.get(Picture, name)
    plates = {k.point.id: k.point for k in known_places(record, photo["aimed_wall"], "in", finished=True)}
    for sighting in record.all(Sighting, target="reference", picture_id=name):
        record.remove(Sighting, sighting.id)
    for n, cover in enumerate(photo["covers_visible"][:most]):
        point = plates[f"plate-{cover['box']}"]
        dx, dy = rng.normal(0, CLICK_PX, 2) + (np.array(shift_px) if n == 0 else 0)
        record.put(
            point,
            Sighting(id=f"{point.id}@{name}", target="reference", target_id=point.id, picture_id=name, place=point.id,
                     x_px=cover["u"] + dx, y_px=cover["v"] + dy),
        )  # fmt: skip
    return picture


def misses(record: Record, name: str, seed: int) -> tuple[list[float], list[bool]]:
    """How far each hidden run point lies from where it is drawn [m on the wall], and whether the band holds it."""
    overlay = overlay_of(record, mark_covers(record, name, seed))
    assert overlay, overlay.reason
    runs = {p["id"]: p["run"] for p in truth()["label_points"]}
    by_item: dict[str, list] = {}
    for shown in overlay.shown:
        by_item.setdefault(shown.item_id, []).append(shown)
    apart_m, held = [], []
    scale = float(np.median(overlay.fit.px_per_m))
    for point in CLOSED[name]["label_points_hidden"]:
        drawn = by_item.get(runs[point["id"]], [])
        if not drawn:
            continue
        spot = Point(point["u"], point["v"])
        lines = [line for shown in drawn for line in shown.lines_px]
        apart_m.append(min(LineString(line).distance(spot) for line in lines) / scale)
        held.append(unary_union([Polygon(r) for shown in drawn for r in shown.band_px]).covers(spot))
    return apart_m, held


def test_hidden_runs_lie_within_half_an_inch_and_within_their_bands(record):
    apart_m, held = [], []
    for seed in range(4):
        for name in CLOSED:
            a, h = misses(record, name, seed)
            apart_m += a
            held += h
    assert len(apart_m) > 150
    assert np.quantile(apart_m, 0.95) < HALF_INCH_M
    assert 0.93 <= np.mean(held)


def test_boxes_are_drawn_where_they_are(record):
    for name, photo in CLOSED.items():
        overlay = overlay_of(record, mark_covers(record, name, 5))
        drawn = {s.item_id: Polygon(s.lines_px[0]) for s in overlay.shown if s.item_id and len(s.lines_px[0]) == 5}
        for box in photo["boxes_hidden"]:
            if box["id"] in drawn:
                outline = drawn[box["id"]]
                assert outline.centroid.distance(Point(box["u"], box["v"])) < 14


def test_three_marks_are_not_enough(record):
    assert "3 of the 4" in overlay_of(record, mark_covers(record, "closed_03", 0, most=3)).reason


def test_mark_that_does_not_fit_is_refused_and_named(record):
    picture = mark_covers(record, "closed_03", 0, shift_px=(160, 90))
    refused = overlay_of(record, picture)
    assert not refused
    fit = fit_picture(record, picture)
    assert fit.suspect == 0 and fit.points[0].label in refused.reason


def test_unknown_camera_gives_wider_bands_than_a_known_one(record):
    picture = mark_covers(record, "closed_01", 0)
    known = fit_picture(record, picture)
    media = record.get(Media, picture.media_id)
    record.put(replace(media, device="another camera"))
    unknown = fit_picture(record, picture)
    record.put(media)
    assert unknown.covariance[6, 6] > 4 * known.covariance[6, 6]


def test_what_was_not_recorded_is_hatched_over_the_photo(record):
    """Without coverage nothing is known to be recorded: the whole wall in view is hatched."""
    overlay = overlay_of(record, mark_covers(record, "closed_03", 0))
    area = sum(Polygon(r).area for r in overlay.missing_px)
    assert area > 0.4 * 3000 * 2250
    assert len(overlay.hatch_px) > 10
    covered = unary_union([Polygon(r).buffer(0) for r in overlay.missing_px])
    assert all(covered.buffer(3).covers(LineString(line)) for line in overlay.hatch_px if len(line) > 1)

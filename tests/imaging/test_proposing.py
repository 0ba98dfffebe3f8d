"""What rectified pictures agree on: drawn studs, a box and a cable, and a wall of nothing but grain."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from asbuilt.imaging.boxes import RIM_DEPTH_M, Mouth, find_mouths
from asbuilt.imaging.coils import find_coils
from asbuilt.imaging.edge_bands import edges_of
from asbuilt.imaging.follow_runs import Line, unfold
from asbuilt.imaging.jackets import cast_of, evened, tints, unlike_wood
from asbuilt.imaging.line_proofs import Proof, proofs
from asbuilt.imaging.lone_edges import aslant, end_stud, short_studs
from asbuilt.imaging.run_lines import CABLE_M, DRAIN_M, find_runs, proven, ridge_layers, without
from asbuilt.imaging.sweep import Rectified
from asbuilt.imaging.uprights import Upright, find_uprights
from asbuilt.steps.propose_face import against_stud

PX = 0.0025
ROWS, COLS = 720, 720
TOP_M = ROWS * PX
STUDS_M = (0.35, 0.7564, 1.1628, 1.5692)
CABLE_X_M, CABLE_DEPTH_M = 0.56, 0.05
WOOD, GRAIN = np.array([110, 160, 200]), 26
YELLOW = (20, 190, 215)


def _grain(rng, shape):
    small = rng.normal(0, GRAIN, (shape[0] // 8, shape[1] // 8))
    return cv2.resize(small, shape[::-1], interpolation=cv2.INTER_CUBIC)


def _view(number: int, with_studs: bool, with_cable: bool, drawn=None, stud_rows=(0, ROWS)) -> Rectified:
    """A picture of the wall from (offset, height) in front of it, drawn back to front.

    ``drawn`` are (depth, points in pixels of the face, colour, thickness in pixels) of more lines.
    """
    rng = np.random.default_rng(5)  # the same wall for all pictures
    foot = np.array([COLS * (0.15 + 0.1 * number), ROWS * (0.4 + 0.06 * (number % 3))])
    distance_m = 2.2
    back = np.clip(WOOD * 0.8 + _grain(rng, (ROWS + 200, COLS + 200))[..., None], 5, 250)

    def laid(depth_m):
        scale = distance_m / (distance_m + depth_m)
        return np.array([[scale, 0, foot[0] * (1 - scale)], [0, scale, foot[1] * (1 - scale)]])

    matrix = laid(0.14) @ np.array([[1, 0, -100], [0, 1, -100], [0, 0, 1]])
    image = cv2.warpAffine(back.astype(np.float32), matrix, (COLS, ROWS), borderMode=cv2.BORDER_REFLECT)
    if with_cable:
        line = np.array([[CABLE_X_M / PX, 60, 1], [CABLE_X_M / PX, 650, 1]]) @ laid(CABLE_DEPTH_M).T
        cv2.line(image, *[tuple(int(round(v)) for v in p) for p in line], YELLOW, 4, cv2.LINE_AA)
    if with_studs:
        face = np.clip(WOOD * 1.12 + 0.3 * _grain(rng, (ROWS, COLS))[..., None], 5, 250)
        for center in STUDS_M:
            a, b = round((center - 0.01905) / PX), round((center + 0.01905) / PX)
            image[stud_rows[0] : stud_rows[1], a:b] = face[stud_rows[0] : stud_rows[1], a:b]
    for depth_m, points, color, thick in drawn or ():
        line = np.column_stack([points, np.ones(len(points))]) @ laid(depth_m).T
        cv2.polylines(image, [np.round(line).astype(np.int32)], False, color, thick, cv2.LINE_AA)
    image += np.random.default_rng(number).normal(0, 3, image.shape)
    return Rectified(
        picture_id=str(number), row=0, col=0, colors=np.clip(image, 0, 255).astype(np.uint8),
        within=np.ones((ROWS, COLS), bool), foot_px=tuple(foot), distance_m=distance_m, sigma_m=0.001,
    )  # fmt: skip


@pytest.fixture(scope="module")
def views():
    return [_view(n, True, True) for n in range(8)]


@pytest.fixture(scope="module")
def bare():
    return [_view(n, False, False) for n in range(8)]


def test_studs_are_found_where_they_stand(views):
    found = find_uprights(edges_of(views, ROWS, COLS, PX), PX, TOP_M, 0.0381)
    assert [u.center_m for u in found] == pytest.approx(STUDS_M, abs=0.003)
    assert all(abs(u.width_m - 0.0381) < 0.004 and u.view_count == 8 for u in found)


def _as_it_is(mouth):
    return mouth


def test_grain_alone_makes_no_stud_no_box_and_no_run(bare):
    assert find_uprights(edges_of(bare, ROWS, COLS, PX), PX, TOP_M, 0.0381) == []
    none = np.zeros((ROWS, COLS), bool)
    assert find_mouths(bare, [unlike_wood(v, PX) for v in bare], ROWS, COLS, PX, none, none, _as_it_is) == []
    ridged, shows = [ridge_layers(v, PX) for v in bare], [v.within for v in bare]
    assert find_runs(bare, ridged, shows, none, PX, TOP_M, 0.14) == []
    assert find_coils(bare, ridged, shows, ROWS, COLS, PX) == []


def test_a_cable_is_followed_at_its_place_and_depth_with_its_colour(views):
    px = [(c - 0.01905) / PX - 0.5 for c in STUDS_M]
    shows = [without(v, [(x, -1, x + 0.0381 / PX, ROWS) for x in px], 2) for v in views]
    runs = find_runs(views, [ridge_layers(v, PX) for v in views], shows, np.zeros((ROWS, COLS), bool), PX, TOP_M, 0.14)
    assert len(runs) == 1
    assert runs[0].sheath == "yellow"
    assert np.abs(runs[0].points_m[:, 0] - CABLE_X_M).max() < 0.008
    assert np.ptp(runs[0].points_m[:, 1]) > 1.2
    assert abs(float(np.median(runs[0].points_m[:, 2])) - CABLE_DEPTH_M) < 0.03


def test_a_drain_is_one_run_along_its_middle_not_its_two_rims():
    line = np.array([[300.0, 40], [300, 680]])
    views = [_view(n, False, False, [(0.07, line, (225, 228, 230), round(DRAIN_M / PX))]) for n in range(8)]
    shows = [v.within for v in views]
    runs = find_runs(views, [ridge_layers(v, PX) for v in views], shows, np.zeros((ROWS, COLS), bool), PX, TOP_M, 0.14)
    assert [r.radius_m for r in runs] == [DRAIN_M / 2]
    assert np.abs(runs[0].points_m[:, 0] - 300.5 * PX).max() < 0.01


@pytest.mark.parametrize("thick_px", [4, 5, 6])
def test_a_white_cable_is_no_drain(thick_px):
    line = np.array([[300.0, 40], [300, 680]])
    views = [_view(n, False, False, [(0.07, line, (225, 228, 230), thick_px)]) for n in range(8)]
    shows = [v.within for v in views]
    runs = find_runs(views, [ridge_layers(v, PX) for v in views], shows, np.zeros((ROWS, COLS), bool), PX, TOP_M, 0.14)
    assert [(r.radius_m, r.sheath) for r in runs] == [(CABLE_M / 2, "white")]


def test_a_coil_before_the_studs_is_found_with_its_size_and_depth():
    turn = np.linspace(0, 2 * np.pi, 60)
    ring = np.stack([330 + 58 * np.cos(turn), 300 + 58 * np.sin(turn)], axis=1)
    views = [_view(n, True, False, [(-0.045, ring, (30, 95, 235), 4)]) for n in range(8)]
    ridged, shows = [ridge_layers(v, PX) for v in views], [v.within for v in views]
    coils = find_coils(views, ridged, shows, ROWS, COLS, PX)
    assert [c.sheath for c in coils] == ["orange"]
    low, high = coils[0].ring_m.min(axis=0), coils[0].ring_m.max(axis=0)
    assert (low + high) / 2 == pytest.approx([330.5 * PX, 300.5 * PX], abs=0.012)
    assert high - low == pytest.approx([116 * PX] * 2, abs=0.03)
    assert coils[0].depth_m == pytest.approx(-0.045, abs=0.026)


def test_short_studs_over_a_header_are_found_only_where_the_layout_asks():
    rows = (80, 160)  # 8 in of stud
    views = [_view(n, True, False, stud_rows=rows) for n in range(8)]
    zone = (0.2, 1.7, TOP_M - rows[1] * PX - 0.02, TOP_M - rows[0] * PX + 0.02)
    assert find_uprights(edges_of(views, ROWS, COLS, PX), PX, TOP_M, 0.0381) == []
    found = short_studs(views, PX, TOP_M, 0.0381, zone, [STUDS_M[1] + 0.004, STUDS_M[2] - 0.005, 0.95])
    assert [u.center_m for u in found] == pytest.approx(STUDS_M[1:3], abs=0.003)


def test_of_a_pair_of_edges_on_a_mark_neither_is_taken_for_a_lone_one(views):
    edges = edges_of(views, ROWS, COLS, PX)
    none = np.zeros(edges.mean.shape, bool)
    assert aslant(edges, PX, TOP_M, 0.0381, none, [STUDS_M[1]]) == []


def test_one_long_edge_on_a_mark_tells_a_stud_seen_aslant():
    views = [_view(n, False, False) for n in range(8)]
    for view in views:  # bright from the left edge of a stud on, as where its side is lost in its face
        col = round((STUDS_M[1] + 0.01905) / PX)
        view.colors[:, col - 60 : col] = np.clip(view.colors[:, col - 60 : col].astype(int) + 50, 0, 255)
    edges = edges_of(views, ROWS, COLS, PX)
    found = aslant(edges, PX, TOP_M, 0.0381, np.zeros(edges.mean.shape, bool), [STUDS_M[1] + 0.004])
    assert len(found) == 1
    assert found[0].center_m == pytest.approx(STUDS_M[1], abs=0.004)
    assert found[0].scatter_m >= 0.003


def test_a_corner_stud_is_told_by_an_edge_too_faint_for_any_one_picture():
    edge, bare = round(0.0381 / PX), [_view(n, False, False) for n in range(8)]
    faint = [_view(n, False, False) for n in range(8)]
    for view in faint:  # the stud's face is lit nearly as what lies beside it
        smooth = np.clip(
            WOOD + _grain(np.random.default_rng(view.picture_id == "0"), (ROWS, COLS))[..., None] * 0.1, 5, 250
        )
        smooth[:, :edge] -= 1.6
        noise = np.random.default_rng(int(view.picture_id)).normal(0, 3, smooth.shape)
        view.colors[:] = np.clip(smooth + noise, 0, 255).astype(np.uint8)
    found = end_stud(edges_of(faint, ROWS, COLS, PX), PX, 0.0381, COLS * PX, True)
    assert found is not None
    assert found[0] == pytest.approx(0.0381 / 2, abs=0.004)
    assert end_stud(edges_of(bare, ROWS, COLS, PX), PX, 0.0381, COLS * PX, True) is None


def _box(views, x_m: float, y_m: float, size_m, color, parts=()):
    """Paint a box's mouth on the plane of its rim, and parts of it (left, top, width, height, colour) over it."""
    for view in views:
        scale = view.distance_m / (view.distance_m + RIM_DEPTH_M)
        for left, top, wide, high, paint in ((-size_m[0] / 2, -size_m[1] / 2, *size_m, color), *parts):
            corners = np.array([[left, top], [left + wide, top + high]]) + (x_m, y_m)
            (a, b), (c, d) = np.round(view.foot_px + (corners / PX - view.foot_px) * scale).astype(int)
            view.colors[b:d, a:c] = paint


def test_a_box_parted_by_a_cable_over_its_mouth_is_one_box_of_its_gangs():
    views = [_view(n, True, False) for n in range(8)]
    x_m, size_m = STUDS_M[1] + (0.0381 + 0.102) / 2, (0.102, 0.095)
    cable = (-0.016, -0.0475, 0.028, 0.075, YELLOW)
    _box(views, x_m, 0.9, size_m, (70, 66, 62), [cable])
    none = np.zeros((ROWS, COLS), bool)
    found = find_mouths(views, [unlike_wood(v, PX) for v in views], ROWS, COLS, PX, none, none, _as_it_is)
    assert len(found) == 1
    assert found[0].gangs == 2
    assert (found[0].x_m, found[0].y_m) == pytest.approx((x_m, 0.9), abs=0.0095)  # 3/8 in


def test_two_studs_nailed_together_are_both_followed_to_their_ends():
    views = [_view(n, True, False) for n in range(8)]
    joint = round((STUDS_M[1] + 0.01905) / PX)
    for view in views:  # a second stud beside one; the seam between them shows at the top only by itself
        second = view.colors[:, joint - 15 : joint].copy()
        view.colors[:, joint : joint + 15] = second[:, ::-1]
        view.colors[:300, joint - 1 : joint + 1] //= 2
        view.colors[300:, joint - 1 : joint + 1] = view.colors[300:, joint - 1 : joint + 1] * 0.985
    found = find_uprights(edges_of(views, ROWS, COLS, PX), PX, TOP_M, 0.0381)
    pair = [u for u in found if abs(u.center_m - STUDS_M[1]) < 0.06]
    assert [u.center_m for u in pair] == pytest.approx([STUDS_M[1], STUDS_M[1] + 0.0381], abs=0.005)
    assert min(u.top_m - u.bottom_m for u in pair) > 1.5


@pytest.mark.parametrize(("row", "seen"), [(14, 0), (60, 1)])
def test_a_line_on_the_top_plates_is_no_cable(row, seen):
    line = np.array([[60.0, row], [660, row]])
    views = [_view(n, False, False, [(0.05, line, YELLOW, 4)]) for n in range(8)]
    ridged, none = [ridge_layers(v, PX) for v in views], np.zeros((ROWS, COLS), bool)
    assert len(find_runs(views, ridged, [v.within for v in views], none, PX, TOP_M, 0.14)) == seen


def test_a_box_is_set_against_its_stud_and_one_before_a_studs_face_is_none():
    stud = Upright(
        center_m=1.0, scatter_m=0.001, width_m=0.0381, bottom_m=0, top_m=2.4, view_count=8, strength=2
    )  # fmt: skip
    beside = Mouth(
        x_m=1.054, y_m=1.2, width_m=0.057, height_m=0.095, gangs=1, misfit=0.3, view_count=5, picture_ids=()
    )  # fmt: skip
    assert against_stud(beside, [stud], 2.7).x_m == pytest.approx(1.0 + (0.0381 + 0.057) / 2)
    assert against_stud(replace(beside, x_m=1.005), [stud], 2.7) is None
    assert against_stud(replace(beside, x_m=1.3), [stud], 2.7).x_m == 1.3
    assert against_stud(replace(beside, x_m=1.3, misfit=0.6), [stud], 2.7) is None


def _runs(views, wood=None, masked=()):
    shows = [without(v, masked, 1) for v in views]
    wood = np.zeros((ROWS, COLS), bool) if wood is None else wood
    return find_runs(views, [ridge_layers(v, PX) for v in views], shows, wood, PX, TOP_M, 0.14)


# A camera's tone curve works on each channel of its own (ITU-R BT.709, item 1.2), so what lies in shade is not only
# darker but also more strongly coloured.
def _in_shade(color, stops: float):
    """A colour of a picture with so many stops less light, through the BT.709 curve with a toe of black added."""
    light = ((np.array(color) / 255 + 0.099) / 1.099) ** (1 / 0.45) * 2.0**-stops
    toned = np.where(light < 0.018, 4.5 * light, 1.099 * light**0.45 - 0.099)
    return np.clip(255 * (1.1 * toned - 0.1), 0, 255)


def test_wood_in_shade_grows_yellower_and_is_told_as_wood_all_the_same():
    view = _view(0, False, False)
    bands = [slice(110 * k + 50, 110 * k + 62) for k in range(6)]
    for stops, rows in zip(np.arange(6) * 0.3, bands, strict=True):
        view.colors[rows] = _in_shade(WOOD, stops)
    _, plain, _ = tints(view, PX)
    _, yellow, red = evened(view, PX)
    raw, own = ([float(np.median(layer[rows])) for rows in bands[3:]] for layer in (plain, yellow))
    assert min(raw) > 0.15
    assert max(raw) > 0.25
    assert max(map(abs, own)) < 0.05
    assert max(abs(float(np.median(red[rows]))) for rows in bands) < 0.1


def test_a_strip_of_shaded_wood_is_no_cable_but_an_orange_cable_as_dark_is():
    line = np.array([[300.0, 60], [300, 650]])
    shade = tuple(float(v) for v in _in_shade(WOOD, 1.2))
    cable = tuple(float(v) for v in _in_shade((70, 125, 225), 0.6))
    assert _runs([_view(n, False, False, [(0.07, line, shade, 4)]) for n in range(8)]) == []
    runs = _runs([_view(n, False, False, [(0.07, line, cable, 4)]) for n in range(8)])
    assert [r.sheath for r in runs] == ["orange"]


def _before_green(number: int) -> tuple[Rectified, np.ndarray]:
    """A picture through a wall that is open behind, onto a green one; and where it shows studs' faces."""
    view, front = _view(number, True, False), np.zeros((ROWS, COLS), bool)
    for center in STUDS_M:
        front[:, round((center - 0.018) / PX) : round((center + 0.018) / PX)] = True
    view.colors[~front] = np.clip((120, 150, 115) + 0.3 * (view.colors[~front] - WOOD * 0.8), 5, 250)
    return view, front


def test_where_another_room_fills_the_picture_colours_are_judged_against_the_studs():
    usual = _view(0, True, False)
    green, front = _before_green(0)
    assert cast_of(usual, front) == (0, 0, 0)
    assert cast_of(green, np.zeros_like(front)) == (0, 0, 0)  # no stud is known yet
    judged = replace(green, cast=cast_of(green, front))
    offs = [[float(np.median(layer[front])) for layer in tints(view, PX)[1:]] for view in (green, judged)]
    assert offs[0][0] > 0.2
    assert offs[0][1] > 0.2
    assert np.abs(offs[1]).max() < 0.1


def test_a_shelf_on_a_green_wall_of_another_room_is_no_cable():
    line = np.array([[330.0, 100], [330, 620]])
    wood = tuple(float(v) for v in WOOD * 0.8)
    for judged, count in ((False, 1), (True, 0)):
        views = []
        for number in range(8):
            view, front = _before_green(number)
            cv2.polylines(view.colors, [line.astype(np.int32)], False, wood, 4, cv2.LINE_AA)
            views.append(replace(view, cast=cast_of(view, front)) if judged else view)
        shows = [~cv2.dilate(front.astype(np.uint8), np.ones((1, 9), np.uint8)).astype(bool)] * 8
        none = np.zeros((ROWS, COLS), bool)
        runs = find_runs(views, [ridge_layers(v, PX) for v in views], shows, none, PX, TOP_M, 0.14)
        assert len(runs) == count


@pytest.mark.parametrize(
    ("color", "sheath"), [((228, 232, 234), "white"), ((128, 126, 124), "unsure"), ((30, 30, 31), "black")]
)
def test_what_is_neutral_is_named_by_its_lightness(color, sheath):
    line = np.array([[300.0, 60], [300, 650]])
    runs = _runs([_view(n, False, False, [(0.05, line, color, 5)]) for n in range(8)])
    assert [r.sheath for r in runs] == [sheath]


def test_a_white_cable_that_goes_into_shade_is_one_run():
    bright, dark = np.array([[300.0, 60], [300, 360]]), np.array([[300.0, 360], [300, 650]])
    parts = [(0.05, bright, (228, 232, 234), 5), (0.05, dark, (120, 122, 124), 5)]
    runs = _runs([_view(n, False, False, parts) for n in range(8)])
    assert len(runs) == 1
    assert np.ptp(runs[0].points_m[:, 1]) > 1.35


def test_the_rim_of_a_grey_floor_is_no_cable_for_it_differs_from_one_side_only():
    edge = np.array([[0.0, 400], [719, 400]])
    floor = [(0.12, edge + (0, 4 * k), (150, 148, 146), 5) for k in range(60)]
    assert _runs([_view(n, False, False, floor) for n in range(8)]) == []


def _line(x: np.ndarray, y: np.ndarray, evidence: np.ndarray) -> Line:
    return Line(
        pixels=np.stack([x, y], axis=1), evidence=evidence, depth_m=np.full(len(x), 0.05), sigma_depth_m=0.01
    )  # fmt: skip


@pytest.mark.parametrize(("apart_m", "kept_m"), [(0.05, 1.0), (0.13, 2.2)])
def test_a_line_turns_back_no_tighter_than_a_cable_bends(apart_m, kept_m):
    # NEC 334.24: no bend of a cable tighter than five times its diameter; 10.8 mm, so its legs lie 108 mm apart.
    step = 0.015 / PX
    up, turn = np.arange(0, 1.0, 0.015) / PX, np.linspace(0, np.pi, max(4, round(np.pi * apart_m / 2 / 0.015)))
    half = apart_m / 2 / PX
    x = np.concatenate([np.zeros(len(up)), half - half * np.cos(turn), np.full(len(up), 2 * half)])
    y = np.concatenate([up, up[-1] + step + half * np.sin(turn), up[::-1]])
    evidence = np.where(np.arange(len(x)) < len(x) / 2, 0.5, 0.3)
    line = unfold(_line(x, y, evidence), PX)
    assert len(line.pixels) * 0.015 == pytest.approx(kept_m, abs=0.12)
    assert line.evidence[0] == 0.5


def test_a_coil_of_black_cable_is_called_black():
    turn = np.linspace(0, 2 * np.pi, 60)
    ring = np.stack([330 + 58 * np.cos(turn), 300 + 58 * np.sin(turn)], axis=1)
    views = [_view(n, True, False, [(-0.045, ring, (26, 26, 27), 6)]) for n in range(8)]
    coils = find_coils(views, [ridge_layers(v, PX) for v in views], [v.within for v in views], ROWS, COLS, PX)
    assert [c.sheath for c in coils] == ["black"]


def test_beside_a_stud_a_line_of_which_pictures_show_one_side_must_be_firmer():
    line = _line(np.full(40, 300.0), np.linspace(100, 400, 40), np.full(40, 0.2))
    two = Proof(both=2, contrast=0.3, light=-0.4, yellow=0.25, red=0.0)
    one = replace(two, both=0)
    assert proven("yellow", line, two, beside=True)
    assert not proven("yellow", line, one, beside=True)
    assert proven("yellow", replace(line, evidence=np.full(40, 0.3)), one, beside=True)


def test_across_a_line_both_sides_count_and_the_nearer_in_colour_tells():
    views = [_view(n, False, True) for n in range(8)]
    y = np.linspace(100, 600, 60)
    line = replace(_line(np.full(60, CABLE_X_M / PX), y, np.full(60, 0.4)), depth_m=np.full(60, CABLE_DEPTH_M))
    shows = [v.within for v in views]
    proof = proofs(views, shows, [("yellow", line)], PX)[0]
    assert proof.both == 8
    assert proof.contrast > 0.3
    bare = replace(line, pixels=line.pixels + (40, 0))
    assert proofs(views, shows, [("yellow", bare)], PX)[0].contrast < 0.05
    none = [np.zeros((ROWS, COLS), bool)] * 8
    assert proofs(views, none, [("yellow", line)], PX) == [None]

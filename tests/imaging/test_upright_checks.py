"""Which uprights are studs: pieces made one, sides and gaps and pale pipes left out, jacks kept."""

from __future__ import annotations

import numpy as np

from asbuilt.imaging.sweep import Rectified
from asbuilt.imaging.upright_checks import studs_among
from asbuilt.imaging.uprights import Upright

PX, ROWS, COLS = 0.005, 500, 700
TOP_M = ROWS * PX
WOOD, PIPE, DARK = (110, 160, 200), (215, 220, 222), (40, 58, 72)


def upright(center_m: float, bottom_m: float = 0.05, top_m: float = 2.4) -> Upright:
    return Upright(center_m=center_m, scatter_m=0.001, width_m=0.0381, bottom_m=bottom_m, top_m=top_m, view_count=9,
                   strength=1.6)  # fmt: skip


def view(stripes=()) -> list[Rectified]:
    """A wall of wood, with stripes (centre, colour) a stud's width wide."""
    colors = np.full((ROWS, COLS, 3), WOOD, np.uint8)
    for center_m, color in stripes:
        a, b = round((center_m - 0.019) / PX), round((center_m + 0.019) / PX)
        colors[:, a:b] = color
    return [Rectified(picture_id="1", row=0, col=0, colors=colors, within=np.ones((ROWS, COLS), bool),
                      foot_px=(350.0, 250.0), distance_m=2.2, sigma_m=0.001)]  # fmt: skip


STUDS = [upright(c) for c in (0.4, 0.8, 1.2, 2.0, 2.4)]


def kept(extra, stripes=(), sides=()) -> list[float]:
    return [u.center_m for u in studs_among([*STUDS, *extra], view(stripes), PX, TOP_M, sides)]


def test_pieces_above_and_below_a_sheet_are_one_stud():
    found = studs_among([upright(1.6, 0.05, 1.0), upright(1.603, 1.5, 2.4)], view(), PX, TOP_M, ())
    assert len(found) == 1
    assert (found[0].bottom_m, found[0].top_m) == (0.05, 2.4)


def test_cripples_over_and_under_an_opening_stay_two():
    assert len(studs_among([upright(1.6, 0.05, 0.9), upright(1.6, 2.2, 2.4)], view(), PX, TOP_M, ())) == 2


def test_a_white_pipe_among_wooden_studs_is_no_stud():
    assert 1.6 not in kept([upright(1.6)], [(1.6, PIPE)])
    assert 1.6 in kept([upright(1.6)])


def test_studs_all_pale_are_studs():
    pale = [(u.center_m, PIPE) for u in STUDS]
    assert kept([], pale) == [u.center_m for u in STUDS]


def test_a_doubled_stud_is_kept_and_a_strip_beside_one_is_not():
    assert 1.238 in kept([upright(1.238)])
    assert 1.238 not in kept([upright(1.238, 1.2, 1.8)])
    assert 1.238 not in kept([upright(1.238, 0.05, 1.7)])


def test_a_jack_beside_an_opening_may_be_shorter_than_its_king():
    assert 1.238 in kept([upright(1.238, 0.05, 1.7)], sides=[1.257])


def test_the_dark_gap_between_two_studs_is_no_stud():
    assert 1.24 not in kept([upright(1.24)], [(1.24, DARK)])


def test_a_short_stud_is_not_judged_by_the_dark_gap_beside_it():
    assert 1.6 in kept([upright(1.6, 1.9, 2.4), upright(1.641)], [(1.641, DARK)])
    assert 1.641 not in kept([upright(1.6, 1.9, 2.4), upright(1.641)], [(1.641, DARK)])

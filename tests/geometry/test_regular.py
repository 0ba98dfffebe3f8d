"""The layout that stud centres follow, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from asbuilt.geometry.joining import join
from asbuilt.geometry.regular import USUAL_SPACINGS_M, fit_regular

INCH = 0.0254


@pytest.mark.parametrize("spacing_m", USUAL_SPACINGS_M)
def test_the_spacing_is_found_among_wandering_doubled_and_missing_studs(spacing_m):
    rng = np.random.default_rng(7)
    marks = 0.2 + spacing_m * np.arange(14)
    studs = np.delete(marks, [5, 6]) + rng.normal(0, 0.002, 12)
    doubled = [studs[4] + 0.0381, studs[5] - 0.0381]
    found = fit_regular([*studs, *doubled, marks[9] + 0.17])
    assert found
    assert abs(found.spacing_m - spacing_m) < 1e-9
    on = {round(n) for n, is_on in zip(found.number, found.on_mark, strict=True) if is_on}
    assert len(on) == 12
    assert not found.on_mark[sorted([*studs, *doubled, marks[9] + 0.17]).index(marks[9] + 0.17)]


def test_one_stud_off_its_mark_is_told_with_how_far():
    centers = [16 * INCH * k for k in range(1, 9)]
    centers[3] += 0.022
    found = fit_regular(centers)
    assert found.residual_m[3] == pytest.approx(0.022, abs=0.002)
    assert [k for k, on in enumerate(found.on_mark) if not on] == [3]


def test_uprights_without_a_rule_and_too_few_are_refused():
    irregular = fit_regular([0.1, 0.33, 0.61, 1.22, 1.49, 1.93, 2.21, 2.77, 3.05, 3.6])
    assert not irregular and "spacing" in irregular.reason
    few = fit_regular([0.4, 0.8, 1.2])
    assert not few and "too few" in few.reason


def _line(start, stop, count=12):
    return np.stack([np.linspace(a, b, count) for a, b in zip(start, stop, strict=True)], axis=1)


def test_pieces_that_carry_one_another_on_become_one_run():
    pieces = [_line((0, 1, 0.05), (0.5, 1, 0.05)), _line((1.1, 1.01, 0.05), (0.6, 1.01, 0.05))]
    pieces.append(_line((0.62, 1.4, 0.05), (0.62, 1.9, 0.05)))
    chains = join(pieces, ["yellow"] * 3, lambda a, b: False)
    assert sorted(sorted(k for k, _ in chain) for chain in chains) == [[0, 1], [2]]


def test_other_colours_and_wide_gaps_part_runs_unless_something_hides_the_way():
    pieces = [_line((0, 1, 0.05), (0.5, 1, 0.05)), _line((0.8, 1, 0.05), (1.3, 1, 0.05))]
    assert len(join(pieces, ["white", "white"], lambda a, b: False)) == 2
    assert len(join(pieces, ["white", "white"], lambda a, b: True)) == 1
    assert len(join(pieces, ["white", "black"], lambda a, b: True)) == 2

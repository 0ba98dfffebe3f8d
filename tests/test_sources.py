"""Constants carry where they come from."""

from __future__ import annotations

import math

import pytest

from asbuilt import sources
from asbuilt.sources import Sourced


def _constants():
    found = [v for v in vars(sources).values() if isinstance(v, Sourced)]
    return found + list(sources.STUD_DEPTHS_M.values())


def test_a_constant_without_a_source_cannot_be_made():
    with pytest.raises(ValueError, match="no source"):
        Sourced(value=1.0, unit="m", source=" ")
    with pytest.raises(TypeError):
        Sourced(value=1.0, unit="m")


@pytest.mark.parametrize(("value", "unit", "sigma"), [(math.nan, "m", 0), (1, "", 0), (1, "m", -1), (1, "m", math.inf)])
def test_a_constant_that_is_no_measure_cannot_be_made(value, unit, sigma):
    with pytest.raises(ValueError):
        Sourced(value=value, unit=unit, sigma=sigma, source="a test")


def test_metre_constants_are_of_the_size_of_lumber_tapes_or_buildings():
    lengths = [c for c in _constants() if c.unit == "m"]
    assert len(lengths) >= 9
    assert all(0.001 < float(c) <= 1000 for c in lengths)


def test_dressed_lumber_has_its_published_sizes():
    """PS 20, dry: 2 -> 1-1/2, 4 -> 3-1/2, 6 -> 5-1/2, 8 -> 7-1/4, 10 -> 9-1/4, 12 -> 11-1/4 in."""
    inches = {"2x4": 3.5, "2x6": 5.5, "2x8": 7.25, "2x10": 9.25, "2x12": 11.25}
    for name, depth_in in inches.items():
        assert float(sources.STUD_DEPTHS_M[name]) == pytest.approx(depth_in * 0.0254, abs=1e-12)
    assert sources.STUD_WIDTH_M.value == pytest.approx(0.0381, abs=1e-12)


def test_the_95_percent_factor_is_that_of_the_normal_distribution():
    assert math.erf(sources.COVER_95.value / math.sqrt(2)) == pytest.approx(0.95, abs=1e-4)

"""The chance of touching against plain simulation, and what must hold for every question."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asbuilt.answers.course import Framing, legs_of
from asbuilt.answers.gaps import chances_of, clearances
from asbuilt.answers.stretches import BEYOND, Course, Spot, Stretch, courses
from asbuilt.answers.things import Thing
from asbuilt.answers.touch import Bit, Block, block_chance, capsule_touched, course_chance
from asbuilt.record.kinds import KINDS
from asbuilt.record.types import Item

TRIALS = 60_000


def _stretch(a, b, sigma):
    cov = np.diag(np.square(np.broadcast_to(sigma, 3)))
    return Stretch(start_m=np.array(a, float), end_m=np.array(b, float), start_cov=cov, end_cov=cov)


def _simulated_capsule(stretch, radius_m, bit, rng):
    """Touching by brute force: many points along the centre line, against the swept cylinder."""
    shift = rng.normal(0, 1, (TRIALS, 3)) * np.sqrt(np.diag(stretch.start_cov))
    touched = np.zeros(TRIALS, bool)
    for s in np.linspace(0, 1, 101):
        p = stretch.start_m + s * (stretch.end_m - stretch.start_m) + shift
        aside = np.hypot(p[:, 0] - bit.offset_m, p[:, 1] - bit.height_m) - bit.radius_m
        touched |= np.hypot(np.maximum(aside, 0), np.maximum(p[:, 2] - bit.tip_m, 0)) <= radius_m
    return touched.mean()


@pytest.mark.parametrize("seed", range(12))
def test_chance_of_touching_a_stretch_is_within_a_hundredth_of_simulation(seed):
    rng = np.random.default_rng(seed)
    a = np.array([rng.uniform(-0.3, 0.3), rng.uniform(-0.3, 0.3), rng.uniform(0.0, 0.09)])
    b = a + rng.normal(0, [0.2, 0.2, 0.03])
    stretch = _stretch(a, b, rng.uniform(0.002, 0.04, 3))
    aim = a + rng.uniform(0, 1) * (b - a)
    bit = Bit(offset_m=aim[0] + rng.normal(0, 0.02), height_m=aim[1] + rng.normal(0, 0.02),
              radius_m=rng.uniform(0.002, 0.02), tip_m=aim[2] + rng.normal(0, 0.03))  # fmt: skip
    expected = _simulated_capsule(stretch, 0.006, bit, rng)
    assert course_chance(Course.of([stretch]), 0.006, bit)[0] == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize("seed", range(8))
def test_chance_of_touching_a_block_is_within_a_hundredth_of_simulation(seed):
    rng = np.random.default_rng(100 + seed)
    root = rng.normal(0, 0.012, (3, 3))
    block = Block(center_m=np.array([0.0, 1.0, -0.013]), cov=root @ root.T, half_width_m=0.028,
                  half_height_m=0.047, thickness_m=0.07)  # fmt: skip
    bit = Bit(offset_m=rng.uniform(-0.06, 0.06), height_m=1 + rng.uniform(-0.08, 0.08),
              radius_m=0.005, tip_m=rng.uniform(-0.02, 0.03))  # fmt: skip
    p = rng.multivariate_normal(block.center_m, block.cov, TRIALS)
    inside_x = np.maximum(np.abs(p[:, 0] - bit.offset_m) - 0.028, 0)
    inside_z = np.maximum(np.abs(p[:, 1] - bit.height_m) - 0.047, 0)
    expected = ((inside_x**2 + inside_z**2 <= 0.005**2) & (p[:, 2] <= bit.tip_m)).mean()
    assert block_chance(block, bit) == pytest.approx(expected, abs=0.01)


def test_a_straight_upright_cable_agrees_with_the_closed_form():
    sigma = 0.01
    stretch = _stretch((0.03, -5, 0.04), (0.03, 5, 0.04), (sigma, 0, 0))
    bit = Bit(offset_m=0.0, height_m=0.0, radius_m=0.006, tip_m=0.2)
    from scipy.stats import norm

    expected = norm.cdf((-0.03 + 0.012) / sigma) - norm.cdf((-0.03 - 0.012) / sigma)
    assert course_chance(Course.of([stretch]), 0.006, bit)[0] == pytest.approx(expected, abs=0.002)


def test_alternatives_share_the_chance_and_exclude_each_other():
    sure = _stretch((0, -1, 0.04), (0, 1, 0.04), 1e-6)
    ways = [Stretch(start_m=sure.start_m, end_m=sure.end_m, start_cov=sure.start_cov, end_cov=sure.end_cov,
                    group=0, alternative=i, weight=w) for i, w in enumerate((0.4, 0.2))]  # fmt: skip
    bit = Bit(offset_m=0.0, height_m=0.0, radius_m=0.005, tip_m=0.1)
    assert course_chance(Course.of(ways[:1]), 0.006, bit)[0] == pytest.approx(0.4)
    assert course_chance(Course.of(ways), 0.006, bit)[0] == pytest.approx(0.6)


lengths = st.floats(-0.15, 0.15)


@settings(max_examples=60, deadline=None)
@given(x=lengths, z=lengths, tip=st.floats(-0.01, 0.15), radius=st.floats(0.001, 0.03),
       grow=st.floats(0, 0.03), deeper=st.floats(0, 0.05))  # fmt: skip
def test_a_wider_or_deeper_hole_never_has_a_smaller_chance(x, z, tip, radius, grow, deeper):
    stretch = _stretch((0, -0.2, 0.03), (0.1, 0.2, 0.08), (0.01, 0.02, 0.015))
    bit = Bit(offset_m=x, height_m=z, radius_m=radius, tip_m=tip)
    chance = course_chance(Course.of([stretch]), 0.006, bit)[0]
    wider = Bit(offset_m=x, height_m=z, radius_m=radius + grow, tip_m=tip)
    deeper_bit = Bit(offset_m=x, height_m=z, radius_m=radius, tip_m=tip + deeper)
    assert course_chance(Course.of([stretch]), 0.006, wider)[0] >= chance
    assert course_chance(Course.of([stretch]), 0.006, deeper_bit)[0] >= chance


def test_with_a_larger_error_a_sure_hit_becomes_less_sure_and_a_near_miss_more_likely():
    aimed = Bit(offset_m=0.0, height_m=0.0, radius_m=0.005, tip_m=0.1)
    aside = Bit(offset_m=0.08, height_m=0.0, radius_m=0.005, tip_m=0.1)
    hits, misses = [], []
    for sigma in (0.002, 0.005, 0.01, 0.02, 0.04):
        stretch = _stretch((0, -1, 0.04), (0, 1, 0.04), (sigma, sigma, 0.001))
        hits.append(course_chance(Course.of([stretch]), 0.006, aimed)[0])
        misses.append(course_chance(Course.of([stretch]), 0.006, aside)[0])
    assert hits == sorted(hits, reverse=True) and hits[0] > 0.99
    assert misses == sorted(misses) and misses[0] == 0.0


def test_mirror_images_have_equal_chances():
    bit = Bit(offset_m=0.02, height_m=0.01, radius_m=0.005, tip_m=0.05)
    mirrored = Bit(offset_m=-0.02, height_m=0.01, radius_m=0.005, tip_m=0.05)
    one = _stretch((0.0, -0.2, 0.03), (0.1, 0.2, 0.08), (0.01, 0.02, 0.015))
    other = _stretch((-0.0, -0.2, 0.03), (-0.1, 0.2, 0.08), (0.01, 0.02, 0.015))
    expected = course_chance(Course.of([other]), 0.006, mirrored)[0]
    assert course_chance(Course.of([one]), 0.006, bit)[0] == pytest.approx(expected, abs=0.004)


def test_a_pipe_straight_into_the_wall_is_touched_only_when_reached():
    a, b = np.array([[0, 0, 0.05]]), np.array([[0, 0, 0.12]])
    reach = Bit(offset_m=0.0, height_m=0.0, radius_m=0.004, tip_m=0.045)
    short = Bit(offset_m=0.0, height_m=0.0, radius_m=0.004, tip_m=0.035)
    assert capsule_touched(a, b, 0.01, reach)[0]
    assert not capsule_touched(a, b, 0.01, short)[0]


def _cable(spots, joins=(None, None), stops=(False, False), is_pipe=False):
    """The course of a cable on a wall 5 m long and 2.4 m high."""
    framing = Framing(length_m=5.0, height_m=2.4, studs_m=tuple((0.4 * n - 0.019, 0.4 * n + 0.019) for n in range(13)))
    made = [Spot(point_m=np.array(p, float), cov=np.diag([4e-6] * 3)) for p in spots]
    return next(courses([legs_of(made, framing, joins, is_pipe=is_pipe, stops=stops)]))


def _reaches(course, x, z):
    """Whether any stretch of a course passes within an inch of a place."""
    for s in course:
        d = (s.end_m - s.start_m)[:2]
        share = np.clip((np.array([x, z]) - s.start_m[:2]) @ d / max(d @ d, 1e-12), 0, 1)
        if np.hypot(*(s.start_m[:2] + share * d - (x, z))) < 0.025:
            return True
    return False


def test_a_run_seen_once_goes_into_its_box_and_on_to_the_other_side():
    box = Spot(point_m=np.array([1.0, 1.2, 0.0]), cov=np.diag([4e-6] * 3))
    course = _cable([(1.0, 1.7, 0.05)], joins=(box, None))
    assert _reaches(course, 1.0, 1.4) and _reaches(course, 1.0, 2.3)
    assert not _reaches(_cable([(1.0, 1.7, 0.05)], joins=(box, None), stops=(True, False)), 1.0, 2.3)


def test_a_run_that_has_come_near_a_plate_goes_on_into_it():
    assert _reaches(_cable([(1.0, 1.0, 0.05), (1.0, 2.28, 0.05)]), 1.0, 2.38)
    assert _reaches(_cable([(1.0, 1.0, 0.05), (4.9, 1.0, 0.05)]), 4.98, 1.0)


def test_a_guess_beside_a_well_known_stretch_does_not_hide_it():
    """The loosely known way on from a run's end must not stand for the part that was seen."""
    cov, wide = np.diag([9e-6] * 3), np.diag([0.01] * 3)
    seen = Stretch(start_m=np.array([0.0, 1.0, 0.06]), end_m=np.array([0.4, 1.0, 0.06]), start_cov=cov, end_cov=cov)
    on = Stretch(start_m=np.array([0.4, 1.0, 0.06]), end_m=np.array([2.0, 1.0, 0.06]), start_cov=cov, end_cov=wide,
                 group=1, weight=0.13, status=BEYOND)  # fmt: skip
    thing = Thing(item=Item(id="c", kind="cable"), kind=KINDS["cable"], circuit=None, positions=(), spots=(),
                  radius_m=0.006, course=Course.of((seen, on)))  # fmt: skip
    bit = Bit(offset_m=0.3, height_m=1.0, radius_m=0.008, tip_m=0.063)
    (clearance,) = clearances([thing], bit)
    assert clearance.gap_m < 0 and not clearance.out_of_reach
    assert chances_of(thing, bit, clearance)[0] > 0.9
    far = Bit(offset_m=0.1, height_m=2.3, radius_m=0.008, tip_m=0.063)
    (clearance,) = clearances([thing], far)
    assert clearance.out_of_reach and chances_of(thing, far, clearance)[0] == 0.0

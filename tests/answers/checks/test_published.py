"""Worked examples and figures as published, each with where it was read."""

from __future__ import annotations

from dataclasses import replace

import pytest

from asbuilt.answers.box_fill import Filling, cable_conductors, filling_in3
from asbuilt.answers.checks.framing import largest_bore_m, plate_free_bore_m
from asbuilt.answers.checks.rule import CANNOT_TELL, DOES_NOT, MEETS
from asbuilt.answers.checks.run import BY_ID, run_checks
from asbuilt.answers.checks.uk_drop import millivolts
from asbuilt.answers.conductors import (
    Conductors,
    adjusted_ampacity,
    ampacity,
    largest_breaker,
    standard_breakers,
)
from asbuilt.answers.voltage import FOOT_M, drop_by_k, drop_by_resistance, effective_impedance
from asbuilt.record import Building, Covering, Device, Face, Item, RuleSetting
from tests.answers.checks.bench import BOARD, CIRCUIT, FACE, bench, box, cable, detail, hole, m, results, run, taped
from tests.answers.checks.cases import UK, cables_in_hole, filled, metric_load, receptacles, shallow_uk

IN = 0.0254
TWELVE, FOURTEEN = 12, 14


# Box fill. Source: NFPA 70 314.16 as counted on four pages of worked examples.


def test_box_fill_two_12_2_with_grounds_clamp_and_receptacle_needs_18():
    """Published box-fill calculator page: two 12/2, grounds, clamp, one duplex: 8 x 2.25 = 18.0 in3."""
    filling = Filling(conductors_awg=cable_conductors([(12, 2), (12, 2)]), grounds_awg=(12, 12), clamps=True,
                      yokes_awg=(12,))  # fmt: skip
    assert filling_in3(filling) == pytest.approx(18.0, abs=1e-12)


def test_box_fill_six_12_with_receptacle_and_clamps_without_grounds_needs_20_25():
    """Published exam question: 13.50 + 4.50 + 2.25 = 20.25 in3."""
    filling = Filling(conductors_awg=(12,) * 6, clamps=True, yokes_awg=(12,))
    assert filling_in3(filling) == pytest.approx(20.25, abs=1e-12)


def test_box_fill_of_mixed_sizes_needs_21_5_and_a_box_of_21_is_too_small(tmp_path):
    """Published example: two 14/2 + one 12/2, clamps, grounds, receptacle on 12: 21.5 > 21.0 (4 x 1-1/2 square)."""
    filling = Filling(conductors_awg=cable_conductors([(14, 2), (14, 2), (12, 2)]), grounds_awg=(14, 14, 12),
                      clamps=True, yokes_awg=(12,))  # fmt: skip
    assert filling_in3(filling) == pytest.approx(8.00 + 4.50 + 2.25 + 2.25 + 4.50) == pytest.approx(21.5)
    rows = filled(21.0, "14/2", "14/2", "12/2", devices=())
    device = Device(id="d", item_id="b1", kind="receptacle", wire="12")
    with bench(tmp_path / "small", *rows, device) as record:
        assert results(record, "box-fill")["b1"] == DOES_NOT
    with bench(tmp_path / "enough", *filled(21.5, "14/2", "14/2", "12/2", devices=()), device) as record:
        assert results(record, "box-fill")["b1"] == MEETS


def test_box_fill_of_exactly_the_volume_of_the_box_meets(tmp_path):
    """Published question: three 14/2, one receptacle, no clamp: 9 x 2.00 = 18.0 in an 18 in3 box."""
    with bench(tmp_path / "bench", *filled(18.0, "14/2", "14/2", "14/2", clamps=False)) as record:
        assert results(record, "box-fill")["b1"] == MEETS


def test_nine_12_awg_conductors_fit_a_21_box_and_ten_do_not():
    """Trade press, Table 314.16(A): a 4 x 1-1/2 in square box (21.0 in3) takes nine 12 AWG conductors."""
    assert filling_in3(Filling(conductors_awg=(12,) * 9)) <= 21.0 < filling_in3(Filling(conductors_awg=(12,) * 10))


def test_a_fifth_ground_adds_a_quarter():
    """2020 edition, from memory and not read: each ground beyond four adds a quarter."""
    four = filling_in3(Filling(conductors_awg=(12, 12), grounds_awg=(12,) * 4))
    assert filling_in3(Filling(conductors_awg=(12, 12), grounds_awg=(12,) * 5)) == pytest.approx(four + 2.25 / 4)


# Ampacity of bundled NM cable. Source: two published worked cases of NFPA 70 334.80.


@pytest.mark.parametrize(
    ("awg", "count", "adjusted", "breaker"), [(12, 9, 21, 20), (8, 6, 44, 40), (14, 6, 20, 15)]
)
def test_334_80_worked_cases(awg, count, adjusted, breaker):
    """Nine 12 AWG: 30 A x 70 % = 21 A; three 8/2: 55 x 80 % = 44 A; three 14/2: 25 x 80 % = 20 A."""
    assert adjusted_ampacity(awg, count) == pytest.approx(adjusted)
    assert min(adjusted_ampacity(awg, count), ampacity(Conductors(awg=awg))) >= breaker


def test_three_14_2_in_one_foamed_hole_carry_15_but_not_20(tmp_path):
    with bench(tmp_path / "a", *cables_in_hole("14/2", "14/2", "14/2", amps=15)) as record:
        assert results(record, "bundling")["h1"] == MEETS
    with bench(tmp_path / "b", *cables_in_hole("14/2", "14/2", "14/2", amps=20)) as record:
        assert results(record, "bundling")["h1"] == DOES_NOT


def test_four_12_2_with_a_third_conductor_cannot_be_told(tmp_path):
    """A third conductor may be a neutral that does not count: twelve conductors have no figure at hand."""
    with bench(tmp_path / "a", *cables_in_hole("12/3", "12/3", "12/3", "12/3", amps=20)) as record:
        assert results(record, "bundling")["h1"] == CANNOT_TELL


# Conductors and breakers. Source: NFPA 70 240.4(D) in a maker's size table; 240.6(A) in two published lists.


@pytest.mark.parametrize(("awg", "amps"), [(14, 15), (12, 20), (10, 30)])
def test_small_conductors(awg, amps):
    assert largest_breaker(Conductors(awg=awg)) == amps


@pytest.mark.parametrize(
    ("words", "amps", "expected"),
    [
        ("12/2 NM-B", 20, MEETS), ("10/2 NM-B", 30, MEETS), ("6 AWG", 50, MEETS),  # common practice as published
        ("12/2 NM-B", 25, DOES_NOT), ("14/2", 20, DOES_NOT), ("12/2 Al", 20, DOES_NOT), ("12/2 Al", 15, MEETS),
        ("6 AWG", 60, CANNOT_TELL), ("6 AWG", 70, DOES_NOT), ("6 AWG Al", 40, CANNOT_TELL), ("1 AWG", 100, CANNOT_TELL),
    ],
)  # fmt: skip
def test_conductor_against_breaker(tmp_path, words, amps, expected):
    with bench(tmp_path / "bench", replace(CIRCUIT, cable=words, amps=amps)) as record:
        assert results(record, "conductor-breaker")["1"] == expected


def test_a_thinner_cable_further_on_is_found(tmp_path):
    rows = (box(), cable("C1", "12/2", "main", "b1"), cable("C2", "14/2", "b1", "capped"))
    with bench(tmp_path / "bench", *rows) as record:
        assert results(record, "conductor-breaker") == {"1": MEETS, "C1": MEETS, "C2": DOES_NOT}


@pytest.mark.parametrize("amps", [55, 65, 85])
def test_breakers_that_no_list_has_are_flagged(tmp_path, amps):
    with bench(tmp_path / "bench", replace(CIRCUIT, amps=amps, cable="2 AWG")) as record:
        assert results(record, "breaker-size")["1"] == DOES_NOT


def test_ten_amperes_are_standard_since_2023_only(tmp_path):
    assert 10 in standard_breakers(2023) and 10 not in standard_breakers(2020)
    assert len(standard_breakers(2020)) == 37 and standard_breakers(2020)[:4] == [15, 20, 25, 30]
    ten = replace(CIRCUIT, amps=10)
    with bench(tmp_path / "new", ten) as record:
        assert results(record, "breaker-size")["1"] == MEETS
    with bench(tmp_path / "old", ten, RuleSetting(id="breaker-size.edition", value="2020")) as record:
        assert results(record, "breaker-size")["1"] == DOES_NOT


# Voltage drop. Source: published K-method examples; Chapter 9 Tables 8 and 9 as published.


@pytest.mark.parametrize(
    ("feet", "circular_mils", "volts", "percent"),
    [(100, 6530, 7.9, 6.6), (100, 16510, 3.1, 2.6), (150, 6530, 11.9, 9.9)],
)
def test_voltage_drop_by_the_k_method(feet, circular_mils, volts, percent):
    """K 12.9, 20 A, 120 V: 12 AWG 100 ft 7.9 V 6.6 %; 8 AWG 3.1 V 2.6 %; 12 AWG 150 ft 11.9 V 9.9 %."""
    drop = drop_by_k(20, feet * FOOT_M, circular_mils)
    assert round(drop, 1) == volts and round(100 * drop / 120, 1) == percent


def test_voltage_drop_by_table_8():
    """Chapter 9 Table 8, 12 AWG solid 1.93 ohm/kft: 2 x 0.1 x 1.93 x 20 = 7.72 V."""
    assert drop_by_resistance(20, 100 * FOOT_M, 1.93) == pytest.approx(7.72, abs=1e-9)


def test_effective_impedance_of_table_9():
    """Published: 250 kcmil in steel at power factor 0.85: 0.054 x 0.85 + 0.052 x 0.527 = 0.073 ohm/kft."""
    assert round(effective_impedance(0.054, 0.052, 0.85), 3) == 0.073


def test_k_of_copper_lies_between_solid_and_stranded_of_table_8():
    """R x CM / 1000 of 12 AWG: 1.93 solid gives 12.603, 1.98 stranded 12.929."""
    assert 1.93 * 6530 / 1000 == pytest.approx(12.603, abs=5e-4)
    assert 1.98 * 6530 / 1000 == pytest.approx(12.929, abs=5e-4)


# Holes and notches. Source: IRC R602.6 as printed and as a state's regulations; decimals are exact shares.


@pytest.mark.parametrize(
    ("stud_in", "share", "exact_in", "printed_in"),
    [
        (3.5, 0.25, 0.875, 0.875), (3.5, 0.40, 1.400, 1.4375), (3.5, 0.60, 2.100, 2.125),
        (5.5, 0.25, 1.375, 1.375), (5.5, 0.40, 2.200, 2.1875), (5.5, 0.60, 3.300, 3.3125),
    ],
)  # fmt: skip
def test_shares_of_a_stud_are_exact_decimals(stud_in, share, exact_in, printed_in):
    assert largest_bore_m(stud_in * IN, share) / IN == pytest.approx(exact_in, abs=1e-9)
    if printed_in > exact_in:
        assert largest_bore_m(stud_in * IN, share) < printed_in * IN


@pytest.mark.parametrize(
    ("size", "bearing", "expected"),
    [
        ("1-3/8 in", True, MEETS), ("1.4 in", True, MEETS), ("1-7/16 in", True, DOES_NOT),
        ("2 in", False, MEETS), ("2.1 in", False, MEETS), ("2-1/8 in", False, DOES_NOT),
    ],
)  # fmt: skip
def test_a_printed_fraction_past_the_exact_share_does_not_meet(tmp_path, size, bearing, expected):
    with bench(tmp_path / "bench", replace(FACE, bearing=bearing), hole(size)) as record:
        assert results(record, "hole-size")["h1"] == expected


def test_doubled_studs_take_the_larger_share(tmp_path):
    with bench(tmp_path / "bench", replace(FACE, bearing=True), hole("2 in", doubled=True)) as record:
        assert results(record, "hole-size")["h1"] == MEETS


def test_five_eighths_are_the_least_that_is_left_not_the_most(tmp_path):
    """One printed page says "not more than"; a state's text says no nearer than."""
    with bench(tmp_path / "far", hole("3/4 in", depth="1-3/4 in")) as record:
        assert results(record, "hole-edge")["h1"] == MEETS  # leaves 1-3/8 in
    with bench(tmp_path / "near", hole("3/4 in", depth="3/4 in")) as record:
        assert results(record, "hole-edge")["h1"] == DOES_NOT  # leaves 3/8 in


@pytest.mark.parametrize(("stud_in", "largest_in"), [(3.5, 1.000), (5.5, 3.000)])
def test_the_largest_centred_hole_without_a_plate(stud_in, largest_in):
    """Width less twice 1-1/4 in, 300.4(A)(1)."""
    assert plate_free_bore_m(stud_in * IN, 1.25 * IN) / IN == pytest.approx(largest_in, abs=1e-9)


@pytest.mark.parametrize(("size", "expected"), [("1 in", MEETS), ("1.4 in", DOES_NOT)])
def test_a_hole_that_the_framing_rule_takes_may_still_want_a_plate(tmp_path, size, expected):
    """A centred 40 % hole in a 2x4 leaves 1.05 in to each edge: the two rules are independent."""
    rows = (replace(FACE, bearing=True), run(), taped("c1", 30, 48, "1-3/4 in"), taped("c1", 34, 48, "1-3/4 in"),
            hole(size, depth="1-3/4 in", sigma_m=0.0))  # fmt: skip
    with bench(tmp_path / "bench", *rows) as record:
        assert results(record, "hole-size")["h1"] == MEETS
        assert results(record, "edge-bored")["c1"] == expected


def test_a_nail_plate_over_the_place_answers_for_the_depth(tmp_path):
    rows = [run(), taped("c1", 30, 48, "1 in"), taped("c1", 34, 48, "1 in"), Item(id="n1", kind="nail plate")]
    with bench(tmp_path / "over", *rows, taped("n1", 32, 48, 0)) as record:
        assert results(record, "edge-bored")["c1"] == MEETS
    with bench(tmp_path / "beside", *rows, taped("n1", 48, 48, 0)) as record:
        assert results(record, "edge-bored")["c1"] == DOES_NOT
    with bench(tmp_path / "perhaps", *rows, taped("n1", 32, 48, 0, sigma_m=m("1 in"))) as record:
        assert results(record, "edge-bored")["c1"] == CANNOT_TELL


# Practice and the second profile.


def test_our_own_six_foot_spacing_in_a_shop(tmp_path):
    """Common practice as published: an outlet every six feet along a shop wall."""
    own = RuleSetting(id="receptacle-spacing.most_between", value="6 ft", note="our own rule")
    end = RuleSetting(id="receptacle-spacing.most_from_end", value="6 ft")
    with bench(tmp_path / "six", *receptacles("1 ft", "6 ft", "11-1/2 ft"), own, end) as record:
        assert set(results(record, "receptacle-spacing").values()) == {MEETS}
    with bench(tmp_path / "wide", *receptacles("1 ft", "8 ft", "11-1/2 ft"), own, end) as record:
        assert set(results(record, "receptacle-spacing").values()) == {DOES_NOT}


def test_a_box_set_for_half_an_inch_under_three_quarter_inch_sheathing(tmp_path):
    """Published practice: boxes set off the studs for 3/4 in sheathing."""
    sheathing = replace(BOARD, material="sheathing", thickness_m=m("3/4 in"))
    with bench(tmp_path / "short", sheathing, box(), detail(set_out_m=m("1/2 in"))) as record:
        assert results(record, "box-set-out")["b1"] == DOES_NOT
        assert results(record, "box-setback")["b1"] == CANNOT_TELL  # 1/4 in back: depends on the covering
    with bench(tmp_path / "right", sheathing, box(), detail(set_out_m=m("3/4 in"))) as record:
        assert results(record, "box-set-out")["b1"] == MEETS


def test_tile_over_the_board_counts(tmp_path):
    tile = Covering(id="north-tile", face_id="north", order_idx=1, material="tile", thickness_m=m("3/8 in"))
    with bench(tmp_path / "bench", tile, box(), detail(set_out_m=m("1/2 in"))) as record:
        assert results(record, "box-set-out")["b1"] == DOES_NOT


@pytest.mark.parametrize(("stud", "expected"), [("75 mm", MEETS), ("76 mm", DOES_NOT)])
def test_zones_reach_through_a_wall_of_100_mm(tmp_path, stud, expected):
    """BS 7671 522.6.202 as quoted: walls up to 100 mm thick; here 2 x 12.5 mm board and the studs."""
    circuit = replace(CIRCUIT, protection="30 mA RCD")
    near = replace(FACE, length_m=4.0, height_m=2.4, stud_depth_m=m(stud), far_face_id="south", far_offset_sum_m=4.0)
    far = Face(id="south", room_id="r", title="South", order_idx=1, length_m=4.0, height_m=2.4, stud_depth_m=m(stud))
    boards = [Covering(id=f"{f}-board", face_id=f, material="board", thickness_m=0.0125) for f in ("north", "south")]
    rows = shallow_uk("1500 mm", "1500 mm", circuit=circuit)
    there = (box("b2", face_id="south"), taped("b2", "2500 mm", "450 mm", face_id="south"))
    with bench(tmp_path / "bench", *rows, near, far, *boards, *there, building=UK) as record:
        assert results(record, "uk-zones")["c1"] == expected


@pytest.mark.parametrize(
    ("offset", "height", "expected"),
    [("3900 mm", "1200 mm", MEETS), ("2000 mm", "2300 mm", MEETS), ("2000 mm", "450 mm", MEETS),
     ("2000 mm", "1200 mm", DOES_NOT)],
)  # fmt: skip
def test_zones_beside_corners_under_the_ceiling_and_level_with_an_accessory(tmp_path, offset, height, expected):
    rows = shallow_uk(offset, height, circuit=replace(CIRCUIT, protection="RCBO 30 mA"))
    with bench(tmp_path / "bench", *rows, building=UK) as record:
        assert results(record, "uk-zones")["c1"] == expected


def test_a_deep_cable_needs_no_zone(tmp_path):
    rows = shallow_uk("2000 mm", "1200 mm", depth="60 mm")
    with bench(tmp_path / "bench", *rows, building=UK) as record:
        assert results(record, "uk-zones")["c1"] == MEETS


def test_us_rules_are_not_asked_of_a_uk_building(tmp_path):
    with bench(tmp_path / "bench", building=Building(name="B", region="uk")) as record:
        answer = run_checks(record)
        assert {"box-fill", "edge-bored", "conductor-breaker"} <= {left.rule_id for left in answer.left_out}
        assert "uk-zones" in {rule.rule_id for rule in answer.rules}


# A published calculator for England and Wales takes 0.0225 ohm mm2/m, which at 2.5 mm2 is the
# 18 mV/A/m of printed tables; a textbook's worked example takes 4.4 mV/A/m at 10 mm2.
@pytest.mark.parametrize(("area_mm2", "mv", "within"), [(2.5, 18.0, 1e-9), (10.0, 4.4, 0.11)])
def test_millivolts_per_ampere_and_metre(area_mm2, mv, within):
    figures = {figure.name: figure.value for figure in BY_ID["uk-voltage-drop"].figures}
    assert millivolts(area_mm2, figures) == pytest.approx(mv, abs=within)


def test_a_table_of_ones_own_takes_the_place_of_the_resistivity(tmp_path):
    own = RuleSetting(id="uk-voltage-drop.mv-2.5", value="40")
    with bench(tmp_path / "r", *metric_load("30 m"), building=UK) as record:
        before = results(record, "uk-voltage-drop")["1"]
        record.put(own)
        after = results(record, "uk-voltage-drop")["1"]
    assert (before, after) == (MEETS, DOES_NOT)  # 5.4 V is 2.3 %, 12 V is 5.2 %


def test_lighting_may_drop_less_than_other_uses(tmp_path):
    rows = [*metric_load("50 m")]  # 9 V is 3.9 %
    with bench(tmp_path / "a", *rows, building=UK) as record:
        assert results(record, "uk-voltage-drop")["1"] == MEETS
    with bench(tmp_path / "b", *rows[:-1], replace(rows[-1], kind="light"), building=UK) as record:
        assert results(record, "uk-voltage-drop")["1"] == DOES_NOT

"""Circuits: feed order, routes and control kept apart; what goes dead; lengths, drop, loads, wording."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

from asbuilt.answers.cables import cable_schedule
from asbuilt.answers.circuit_text import PROVE, circuit_text, dead_text
from asbuilt.answers.circuits import circuit_answer, downstream, goes_dead
from asbuilt.answers.conductors import conductors
from asbuilt.answers.control import controlled
from asbuilt.answers.directory import name_doubts, schedules
from asbuilt.answers.lengths import (
    ESTIMATED,
    FROM_ENDS,
    MEASURED,
    NOTHING,
    STRAY_SHARE,
    STRAY_SIGMA_SHARE,
    cable_length,
    lead_length,
    seen_way,
)
from asbuilt.answers.load import LIMITS, panel_loads
from asbuilt.answers.voltage import DropAnswer, voltage_drop
from asbuilt.answers.wiring import BY_LABEL, BY_NEARNESS, RECORDED, wiring_of
from asbuilt.cli import main
from asbuilt.errors import NotInRecordError
from asbuilt.record import (
    Cable,
    Circuit,
    Control,
    Device,
    Face,
    Feed,
    Item,
    Panel,
    Record,
    Room,
    TapedPlace,
    Verification,
)
from asbuilt.record.taped import write_taped
from tests.truth import truth, truth_record

FACES = (
    Face(id="north", room_id="r", title="North", order_idx=0, length_m=4.0, height_m=2.4),
    Face(id="east", room_id="r", title="East", order_idx=1, length_m=3.0, height_m=2.4),
)
PANEL = Panel(id="main", name="Main panel", face_id="east", amps=100, volts=240, spaces=12)
BENCH = Circuit(id="1", panel_id="main", number="1", name="bench", amps=20, volts=120, cable="12/2 yellow")
LAMPS = Circuit(id="2", panel_id="main", number="2", name="lamps", amps=15, volts=120, cable="14/2 white")
_PLACES = iter(range(10_000))


def _box(item_id: str, circuit_id: str | None = "1", **attrs) -> Item:
    return Item(**{"id": item_id, "kind": "device box", "label": f"box {item_id}", "face_id": "north",
                   "circuit_id": circuit_id, **attrs})  # fmt: skip


def _at(item_id: str, offset_m: float, height_m: float, depth_m: float = 0.045, face_id: str = "north",
        sigma_m: float = 0.002) -> TapedPlace:  # fmt: skip
    number = next(_PLACES)
    return TapedPlace(id=f"p{number}", item_id=item_id, face_id=face_id, order_idx=number, offset_m=offset_m,
                      height_m=height_m, depth_m=depth_m, sigma_m=sigma_m, sigma_depth_m=sigma_m)  # fmt: skip


def _feed(one: str, other: str, circuit_id: str = "1", cable_id: str | None = None) -> Feed:
    return Feed(id=f"{circuit_id}-{one}-{other}", circuit_id=circuit_id, comes_from=one, goes_to=other,
                cable_id=cable_id)  # fmt: skip


@pytest.fixture
def record(tmp_path):
    with Record.create(tmp_path / "house", "House") as made:
        made.put(Room(id="r", name="Room", closed=False), *FACES, PANEL, BENCH, LAMPS)
        yield made


def _put(record: Record, *rows) -> Record:
    record.put(*rows)
    write_taped(record)
    return record


# Feed order.


def test_feed_order_goes_from_the_panel_level_by_level_with_its_home_run(record):
    _put(record, *(_box(f"b{i}") for i in range(1, 5)), Cable(id="C1", circuit_id="1", comes_from="main", goes_to="b1"),
         _feed("b2", "b3"), _feed("main", "b1"), _feed("b1", "b2"), _feed("b1", "b4"))  # fmt: skip
    answer = circuit_answer(record, "1")
    assert [(s.level, s.from_id, s.to_id) for s in answer.steps] == [
        (1, "main", "b1"), (2, "b1", "b2"), (2, "b1", "b4"), (3, "b2", "b3"),
    ]  # fmt: skip
    assert [s.to_id for s in answer.home_runs] == ["b1"]
    assert answer.home_runs[0].cable_id == "C1"  # the only cable between the two
    assert answer.problems == () and answer.not_in_order == ()


def test_without_feed_order_cables_join_boxes_but_say_nothing_about_which_feeds(record):
    _put(record, _box("b1"), _box("b2"), Cable(id="C1", circuit_id="1", comes_from="b1", goes_to="b2"))
    answer = circuit_answer(record, "1")
    assert answer.steps == () and not answer.feed_recorded
    assert [(j.cable_id, j.first_id, j.last_id) for j in answer.joints] == [("C1", "b1", "b2")]
    assert set(answer.not_in_order) == {"b1", "b2"}
    assert "feed order: not on record" in circuit_text(answer, ())


def test_neither_a_cable_nor_a_switch_makes_a_feed(record):
    """Route, feed order and control are three things: one never changes the others."""
    _put(record, _box("b1"), _box("s1"), _box("l1"), _feed("main", "b1"))
    before = circuit_answer(record, "1").steps
    _put(record, Cable(id="C9", circuit_id="1", comes_from="b1", goes_to="s1"),
         Control(id="k", switch_id="s1", load_id="l1"))  # fmt: skip
    after = circuit_answer(record, "1")
    assert after.steps == before and set(after.not_in_order) == {"s1", "l1"}
    assert [c.load_id for c in controlled(record)] == ["l1"]
    assert all(s.cable_id is None for c in controlled(record) for s in c.switches)


@pytest.mark.parametrize(
    ("feeds", "words"),
    [
        ((("main", "b1"), ("b1", "b2"), ("main", "b2")), "box b2 is fed more than once"),
        ((("main", "b1"), ("b2", "b3"), ("b3", "b2")), "box b3 is fed from box b2, which no panel feeds"),
        ((("other", "b1"),), "it leaves another panel than Main panel"),
    ],
)
def test_a_feed_order_that_cannot_be_is_said(record, feeds, words):
    _put(record, *(_box(f"b{i}") for i in range(1, 4)), Panel(id="other", name="Other"), *(_feed(*f) for f in feeds))
    assert words in circuit_answer(record, "1").problems


def test_downstream_is_what_is_fed_through_a_box(record):
    _put(record, *(_box(f"b{i}") for i in range(1, 5)), _feed("main", "b1"), _feed("b1", "b2"), _feed("b2", "b3"),
         _feed("b1", "b4"))  # fmt: skip
    assert {s.to_id for s in downstream(record, "b2")} == {"b3"}
    assert {s.to_id for s in downstream(record, "b1")} == {"b2", "b3", "b4"}


# What goes dead.


def test_what_goes_dead_is_known_by_feed_by_tag_or_by_switch(record):
    _put(record, _box("b1"), _box("b2", None), _box("t1"), _box("l1", None), _feed("main", "b1"), _feed("b1", "b2"),
         Control(id="k", switch_id="b2", load_id="l1"))  # fmt: skip
    answer = goes_dead(record, "1")
    assert {p.item_id: p.how for p in answer.places} == {
        "b1": "by feed order", "b2": "by feed order", "t1": "by its circuit", "l1": "by the switch that works it",
    }  # fmt: skip
    assert answer.breakers == ("1 in Main panel",)
    assert PROVE in dead_text(answer)


def test_a_box_with_two_circuits_is_warned_about(record):
    _put(record, _box("b1"), Cable(id="C2", circuit_id="2", comes_from="main", goes_to="b1"))
    answer = goes_dead(record, "1")
    assert answer.places[0].other_circuits == ("2",)
    assert "box b1 also holds circuit 2, which stays live" in answer.warnings


def test_a_shared_neutral_takes_both_circuits_whichever_half_is_asked(record):
    other = replace(LAMPS, shares_neutral_id="1", tied=False)
    _put(record, other, _box("b1"), _box("b2", "2"))
    for asked in ("1", "2"):
        answer = goes_dead(record, asked)
        assert set(answer.circuit_ids) == {"1", "2"}
        assert {p.item_id for p in answer.places} == {"b1", "b2"}
        assert any("share a neutral: switch off both together" in why for why in answer.why_together)
        assert any("they are not tied" in warning for warning in answer.warnings)
        assert not any("stays live" in warning for warning in answer.warnings)


def test_a_feeder_takes_its_subpanel_and_all_its_circuits(record):
    feeder = Circuit(id="3+5", panel_id="main", number="3+5", name="feeder, shop", poles=2)
    _put(record, feeder, Panel(id="sub", name="Shop panel", fed_from_id="3+5"),
         Circuit(id="s1", panel_id="sub", number="1", name="saw"), _box("b9", "s1"))  # fmt: skip
    answer = goes_dead(record, "3+5")
    assert set(answer.circuit_ids) == {"3+5", "s1"} and {p.item_id for p in answer.places} == {"b9"}
    assert goes_dead(record, "s1").circuit_ids == ("s1",)


def test_an_unknown_circuit_is_named_with_those_there_are(record):
    with pytest.raises(NotInRecordError, match="no circuit '9' in this record; known: 1, 2"):
        goes_dead(record, "9")


# Control.


def test_a_three_way_pair_with_its_travellers(record):
    _put(record, _box("s1"), _box("s2"), _box("l1"),
         Cable(id="T1", circuit_id="1", type="14/3 white", comes_from="s1", goes_to="s2"),
         Control(id="k1", switch_id="s1", load_id="l1", way="3-way", cable_id="T1"),
         Control(id="k2", switch_id="s2", load_id="l1", way="3-way", cable_id="T1"))  # fmt: skip
    (load,) = controlled(record)
    assert [s.switch_id for s in load.switches] == ["s1", "s2"] and load.problems == ()


@pytest.mark.parametrize(
    ("ways", "words", "problem"),
    [
        (("3-way",), "14/3", "1 3-way switch, where a pair is needed"),
        (("3-way", "3-way", "3-way"), "14/3", "3 3-way switch, where a pair is needed"),
        (("single", "3-way", "3-way"), "14/3", "a single switch beside others"),
        (("3-way", "4-way"), "14/3", "a 4-way switch sits between two 3-way switches"),
        (("3-way", "3-way"), "14/2", "cable T1 has 2 conductors, travellers and common need three"),
    ],
)
def test_switches_that_do_not_fit_together_are_said(record, ways, words, problem):
    switches = [_box(f"s{i}") for i in range(len(ways))]
    travellers = {"3-way": "T1", "4-way": "T1", "single": None}
    controls = [Control(id=f"k{i}", switch_id=f"s{i}", load_id="l1", way=way, cable_id=travellers[way])
                for i, way in enumerate(ways)]  # fmt: skip
    _put(record, *switches, _box("l1"), Cable(id="T1", circuit_id="1", type=words), *controls)
    assert any(problem in p for p in controlled(record)[0].problems)


# Ends of cables.


def test_ends_are_known_by_id_by_label_by_nearness_or_not_at_all(record):
    run = {"kind": "cable", "face_id": "north", "circuit_id": "1"}
    _put(record, _box("b1"), _at("b1", 1.0, 0.4, -0.012), _box("b2"), _at("b2", 2.0, 0.4, -0.012),
         Item(id="r1", comes_from="b1", goes_to="Box B2", **run),
         Item(id="r2", **run), _at("r2", 1.0, 0.55), _at("r2", 1.0, 2.3),
         Item(id="r3", comes_from="attic", **run))  # fmt: skip
    leads = wiring_of(record).leads
    assert [(e.place_id, e.how) for e in leads["r1"].ends] == [("b1", RECORDED), ("b2", BY_LABEL)]
    assert [(e.place_id, e.how, e.kind) for e in leads["r2"].ends] == [("b1", BY_NEARNESS, "box"), ("", "", "unknown")]
    assert [(e.text, e.kind) for e in leads["r3"].ends] == [("attic", "words"), ("", "unknown")]


def test_a_box_of_another_circuit_is_no_end_by_nearness(record):
    run = Item(id="r2", kind="cable", face_id="north", circuit_id="1")
    _put(record, _box("b1", "2"), _at("b1", 1.0, 0.4, -0.012), run, _at("r2", 1.0, 0.55), _at("r2", 1.0, 2.3))
    assert wiring_of(record).leads["r2"].first.kind == "unknown"


@pytest.mark.parametrize(
    ("words", "awg", "count", "material", "colour"),
    [
        ("12/2 NM-B yellow", 12, 2, "copper", "yellow"), ("6 AWG black", 6, None, "copper", "black"),
        ("#10", 10, None, "copper", ""), ("10-3 Al", 10, 3, "aluminum", ""), ("14/2/2", 14, 2, "copper", ""),
        ("100 ft of 12/2", 12, 2, "copper", ""), ("8/3 with ground", 8, 3, "copper", ""),
    ],
)  # fmt: skip
def test_words_of_a_cable(words, awg, count, material, colour):
    found = conductors(words)
    assert (found.awg, found.count, found.material, found.colour) == (awg, count, material, colour)


@pytest.mark.parametrize("words", ["", "Cat 6", "1/2 in EMT", '3/4" ENT', "4/0 Al", "19 AWG"])
def test_words_that_name_no_conductor_size(words):
    assert conductors(words) is None


def test_metric_sizes_are_read():
    assert conductors("2.5 mm\u00b2 twin and earth grey").area_mm2 == 2.5


# Lengths.


def _run(record, *places, **cable):
    """A cable between two boxes on one or two faces, its run at the places."""
    _put(record, Item(id="r", kind="cable", circuit_id="1"), *places,
         Cable(**{"id": "C1", "circuit_id": "1", "type": "12/2", "item_ids": ("r",), **cable}))  # fmt: skip
    return cable_length(record, "C1")


def test_a_straight_run_between_two_boxes_is_its_route_plus_slack_and_what_stays_in_the_boxes(record):
    _put(record, _box("b1", height_m=0.1, width_m=0.06), _at("b1", 1.0, 0.3, -0.012),
         _box("b2", height_m=0.1, width_m=0.06), _at("b2", 1.0, 2.1, -0.012))  # fmt: skip
    answer = _run(record, _at("r", 1.0, 0.4), _at("r", 1.0, 2.0), comes_from="b1", goes_to="b2")
    assert answer.basis == ESTIMATED and answer.whole
    # 1.6 m seen, 2 x 0.05 m from the last seen place to the box's edge.
    assert answer.seen_m == pytest.approx(1.7, abs=1e-6)
    assert answer.slack_m == pytest.approx(0.03 * 1.7) and answer.in_boxes_m == pytest.approx(0.4)
    assert answer.total_m == pytest.approx(1.7 * 1.03 + 0.4)
    # Two boxes 0.05 m each and 3 % of the way, and next to nothing from the taping.
    assert answer.sigma_m == pytest.approx(math.hypot(0.05 * math.sqrt(2), 0.03 * 1.7), rel=0.02)


def test_it_does_not_matter_from_which_end_a_run_was_marked(record):
    _put(record, _box("b1", height_m=0.1, width_m=0.06), _at("b1", 1.0, 0.3, -0.012),
         _box("b2", height_m=0.1, width_m=0.06), _at("b2", 1.0, 2.1, -0.012))  # fmt: skip
    answer = _run(record, _at("r", 1.0, 2.0), _at("r", 1.0, 0.4), comes_from="b1", goes_to="b2")
    assert answer.seen_m == pytest.approx(1.7, abs=1e-6) and answer.unseen_m == 0
    # With one end unsaid, the box at the other end of the run is found.
    _put(record, Cable(id="C1", circuit_id="1", comes_from="b1", item_ids=("r",)))
    lead = wiring_of(record).leads["C1"]
    assert (lead.first.place_id, lead.last.place_id, lead.last.how) == ("b1", "b2", BY_NEARNESS)


def test_what_is_coiled_comes_on_top_and_a_coil_without_length_is_said(record):
    plain = _run(record, _at("r", 1.0, 0.4), _at("r", 1.0, 2.0), comes_from="capped", goes_to="attic")
    coiled = _run(record, comes_from="capped", goes_to="attic", coil_m=2.5)
    assert coiled.total_m == pytest.approx(plain.total_m + 2.5)
    assert not coiled.whole and any("at least" in note for note in coiled.notes)
    _put(record, Item(id="k", kind="coil", circuit_id="1"))
    unmeasured = _run(record, comes_from="capped", goes_to="attic", item_ids=("r", "k"))
    assert "a coil is on record without its length" in unmeasured.notes


def test_a_run_goes_round_a_corner_in_the_building(record):
    """From 3.5 m along the north face to 0.5 m along the east face, level, both 0.045 m deep in the walls."""
    answer = _run(record, _at("r", 3.5, 1.0), _at("r", 0.5, 1.0, face_id="east"), comes_from="x", goes_to="y")
    straight, round_the_corner = math.hypot(0.545, 0.545), 2 * 0.545
    assert answer.seen_m == pytest.approx((straight + round_the_corner) / 2)
    assert answer.seen_m + 1.96 * answer.sigma_m > round_the_corner


def test_the_way_to_a_panel_that_nobody_saw_is_taken_over_the_top_plate_with_a_wide_error(record):
    _put(record, Item(id="m", kind="panel", face_id="east", height_m=0.8), _at("m", 1.0, 1.5, face_id="east"))
    answer = _run(record, _at("r", 2.0, 0.4), _at("r", 2.0, 2.0), comes_from="attic", goes_to="main")
    # Up 0.4 m to the plate; 2 m and 1 m along the two faces, each further out by 0.045 m; 0.5 m down to the panel.
    assert answer.unseen_m == pytest.approx(0.4 + 2.045 + 1.045 + 0.5, abs=1e-6)
    assert answer.sigma_m > 0.19 * answer.unseen_m
    assert any("was not seen" in note for note in answer.notes)


def test_a_cable_that_nobody_saw_is_estimated_from_its_ends_with_an_error_that_holds_both_ways(record):
    """2 m apart, 0.4 m up: 2 m along, or 2 m up to the plate at 2.4 m, 2 m along and 2 m down, less half a box."""
    _put(record, _box("b1", height_m=0.1), _at("b1", 1.0, 0.4), _box("b2", height_m=0.1), _at("b2", 3.0, 0.4),
         Cable(id="C1", circuit_id="1", comes_from="b1", goes_to="b2"))  # fmt: skip
    answer = cable_length(record, "C1")
    assert answer.basis == FROM_ENDS and answer.whole
    low, high = 2.0, 2.0 + 2.0 + 1.95
    assert answer.unseen_m == pytest.approx((low + high) / 2)
    assert answer.total_m - 1.96 * answer.sigma_m < low < high < answer.total_m + 1.96 * answer.sigma_m


def test_a_measured_length_is_taken_as_it_is_and_nothing_is_made_up_without_a_route(record):
    assert _run(record, length_m=12.0).basis == MEASURED
    assert cable_length(record, "C1").total_m == 12.0
    record.put(Cable(id="C2", circuit_id="1", comes_from="main", goes_to="b1"))
    answer = cable_length(record, "C2")
    assert (answer.basis, answer.total_m) == (NOTHING, None)


def test_stated_errors_of_seen_lengths_hold_the_lengths_of_the_rendered_room(tmp_path):
    """Clicked places with 6 mm of error against the true line between them: 95 % intervals hold."""
    runs = {run["id"]: np.array(run["polyline"]) for run in truth()["runs"]}
    z = []
    for seed in range(3):
        with truth_record(tmp_path / str(seed), places="clicked", sigma_m=0.006, seed=seed, pictures=False) as record:
            wiring = wiring_of(record)
            for lead in wiring.leads.values():
                spots = wiring.positions.get(lead.id, [])
                if lead.id not in runs or len(spots) < 2:
                    continue
                true_m = _true_length(runs[lead.id], spots[0], spots[-1])
                seen = seen_way(wiring, spots)
                sigma_m = math.sqrt(seen.variance + (STRAY_SIGMA_SHARE * seen.length_m) ** 2)
                z.append((seen.length_m * (1 + STRAY_SHARE) - true_m) / sigma_m)
                assert lead_length(wiring, lead).total_m > seen.length_m
    assert len(z) >= 30
    assert 0.9 <= np.mean(np.abs(z) < 1.96) <= 1.0
    assert 0.5 < np.std(z) < 1.3  # neither boasting nor hiding behind a wide error


def _true_length(line: np.ndarray, first, last) -> float:
    """Along the true line (offset, depth, height) between what is nearest to two places [m]."""
    places = [np.array([p.offset_m, p.depth_m, p.height_m]) for p in (first, last)]
    away = [np.linalg.norm(line - place, axis=1) for place in places]
    assert max(a.min() for a in away) < 0.05
    low, high = sorted(int(a.argmin()) for a in away)
    return float(np.linalg.norm(np.diff(line[low : high + 1], axis=0), axis=1).sum())


# Voltage drop and load.


def _fed(record, load_va=2400.0, length_m=30.48):
    _put(record, _box("b1"), _box("b2"), Device(id="d2", item_id="b2", kind="receptacle", load_va=load_va),
         Cable(id="C1", circuit_id="1", type="12/2", comes_from="main", goes_to="b1", length_m=length_m / 2),
         Cable(id="C2", circuit_id="1", type="12/2", comes_from="b1", goes_to="b2", length_m=length_m / 2),
         _feed("main", "b1", cable_id="C1"), _feed("b1", "b2", cable_id="C2"))  # fmt: skip


def test_the_drop_at_the_end_of_the_feed_order_is_that_of_the_published_example(record):
    """Two cables of 50 ft of 12 AWG with 20 A at 120 V: 7.9 V, 6.6 % by K, 7.72 V by Table 8, as for 100 ft."""
    _fed(record)
    answer = voltage_drop(record, "1", "b2")
    assert isinstance(answer, DropAnswer)
    assert round(answer.drop_k_v, 1) == 7.9 and round(100 * answer.share_k, 1) == 6.6
    assert round(answer.drop_resistance_v, 2) == 7.72 and answer.over_limit
    assert answer.sigma_v == pytest.approx(math.hypot(0.01, 0.01) * answer.drop_k_v / 2)
    nearer = voltage_drop(record, "1", "b1")
    assert nearer.drop_k_v == pytest.approx(answer.drop_k_v / 2)  # all the current passes it


def test_a_stated_current_takes_the_place_of_the_loads(record):
    _fed(record)
    by_loads = voltage_drop(record, "1", "b2")
    assert voltage_drop(record, "1", "b2", amps=10).drop_k_v == pytest.approx(by_loads.drop_k_v / 2)


def test_loads_along_the_way_add_to_the_current(record):
    _fed(record, load_va=1200)
    record.put(Device(id="d1", item_id="b1", kind="receptacle", load_va=1200))
    steps = voltage_drop(record, "1", "b2").steps
    assert [s.amps for s in steps] == [20.0, 10.0]


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (lambda r: r.remove(Feed, "1-b1-b2"), "the feed order of circuit 1 does not reach box b2"),
        (lambda r: r.put(replace(BENCH, volts=None)), "the volts of circuit 1 are not on record"),
        (lambda r: r.put(replace(r.get(Cable, "C2"), length_m=None)), "cable C2: its route is not on record"),
        (lambda r: r.put(replace(r.get(Cable, "C2"), type="12/2 Al")), "no figure at hand for the conductors of"),
        (lambda r: r.remove(Device, "d2"), "no load is on record on the way to box b2; give the amperes"),
    ],
)
def test_a_drop_that_cannot_be_worked_out_says_why(record, change, reason):
    _fed(record)
    change(record)
    answer = voltage_drop(record, "1", "b2")
    assert not answer and reason in answer.reason


def test_loads_are_summed_per_circuit_leg_and_panel_and_what_is_not_noted_is_counted(record):
    wide = Circuit(id="5+7", panel_id="main", number="5+7", name="oven", amps=50, volts=240, poles=2)
    spare = Circuit(id="9", panel_id="main", number="9", name="spare", amps=20, state="spare")
    _put(record, wide, spare, _box("b1"), _box("b2", "2"), _box("b3", "5+7"),
         Device(id="d1", item_id="b1", kind="receptacle", load_va=600),
         Device(id="d2", item_id="b1", kind="receptacle", gang=2),
         Device(id="d3", item_id="b2", kind="light", load_va=100),
         Device(id="d4", item_id="b3", kind="oven", load_va=8000))  # fmt: skip
    (panel,) = panel_loads(record)
    bench = next(c for c in panel.circuits if c.circuit_id == "1")
    assert (bench.load_va, bench.rating_va, bench.share) == (600, 2400, 0.25)
    assert (bench.noted_count, bench.unnoted_count) == (1, 1)
    assert panel.load_va == 8700 and panel.supply_va == 24_000
    assert panel.legs_va == (600 + 100 + 4000, 4000)  # positions 1, 2, 5 on one leg, 7 on the other
    assert panel.spare_positions == ("9",) and panel.empty_spaces == 12 - 5
    assert panel.limits == LIMITS and "no demand" in LIMITS


# Wording and tests.


@pytest.mark.parametrize(
    ("name", "sure", "doubts"),
    [
        ("receptacles, kitchen counter left of the sink", 0, 0), ("dryer", 0, 0), ("furnace, basement", 0, 0),
        ("plugs", 1, 0), ("Lights", 1, 0), ("misc.", 1, 0), ("room lights", 1, 0), ("12", 1, 0), ("", 1, 0),
        ("Bobbie's room", 0, 1), ("men's washroom", 0, 0), ("plugs 2", 1, 0),
    ],
)  # fmt: skip
def test_vague_names_and_names_of_persons_are_pointed_out(name, sure, doubts):
    circuit = replace(BENCH, name=name)
    found = name_doubts(circuit, [circuit])
    assert (len(found[0]), len(found[1])) == (sure, doubts), found


def test_two_circuits_described_alike_are_pointed_out_and_two_spares_are_not(record):
    same = replace(LAMPS, name="Bench")
    spares = [replace(BENCH, id=n, number=n, name="spare", state="spare") for n in ("8", "10")]
    record.put(same, *spares)
    doubts = {b.number: b.doubts for b in schedules(record)[0].breakers}
    assert doubts["1"] == ("described like circuit 2: add what tells them apart",)
    assert doubts["8"] == doubts["10"] == ()
    record.put(replace(same, feeds="over the door"))
    assert schedules(record)[0].breakers[0].doubts == ()


def test_the_newest_test_of_a_circuit_and_of_a_cable_is_shown(record):
    record.put(Cable(id="D1", use="low voltage", type="Cat 6", comes_from="desk", goes_to="rack"),
               Verification(id="t1", target_id="1", date="2026-03-01", tested_by="A"),
               Verification(id="t2", target_id="1", date="2026-05-01", tested_by="B", result="passed"),
               Verification(id="t3", target="cable", target_id="D1", date="2026-05-02", result="all pairs"),
               )  # fmt: skip
    breaker = schedules(record)[0].breakers[0]
    assert (breaker.tested_on, breaker.tested_by) == ("2026-05-01", "B")
    (row,) = cable_schedule(record, use="low voltage")
    assert (row.cable_id, row.words, row.from_text, row.to_text, row.test_result) == (
        "D1", "Cat 6", "desk", "rack", "all pairs",
    )  # fmt: skip


def test_a_circuit_added_and_a_box_moved_after_cover_up_keep_the_old_state_in_history(record):
    _put(record, _box("b1"), _at("b1", 1.0, 0.4))
    place = record.all(TapedPlace)[0]
    before = schedules(record)[0].revision
    record.put(replace(place, offset_m=1.5), Circuit(id="4", panel_id="main", number="4", name="new lathe"))
    write_taped(record)
    newest = record.history(2)
    assert {(h["action"], h["table_name"]) for h in newest} == {("change", "taped_places"), ("add", "circuits")}
    moved = next(h for h in newest if h["action"] == "change")
    assert '"offset_m": 1.0' in moved["before"] and '"offset_m": 1.5' in moved["after"]
    assert schedules(record)[0].revision == before + 1


# Commands.


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["dead", "1"], "Switch off breaker 1 in Main panel"),
        (["feeds", "1"], "Main panel -> box b1, cable C1 (home run)"),
        (["cables"], "C1: 12/2; Main panel - box b1; 50 ft 0 in"),
        (["load"], "1 bench: 2400 VA noted, 100 % of 2400 VA"),
        (["drop", "1", "b2"], "K method:  7.9 V, 6.6 %"),
        (["drop", "1", "b2", "--amps", "10"], "10 A as asked"),
    ],
)
def test_commands_answer_in_words_and_in_json(record, words, expected):
    _fed(record)
    command = [words[0], str(record.folder), *words[1:]]
    run = CliRunner().invoke(main, command)
    assert run.exit_code == 0, run.output
    assert expected in run.output
    assert CliRunner().invoke(main, [*command, "--json"]).output[0] in "[{"


def test_a_drop_that_cannot_be_is_one_line(record):
    run = CliRunner().invoke(main, ["drop", str(record.folder), "1", "b9"])
    assert run.exit_code == 1 and "no voltage drop: the feed order of circuit 1 does not reach b9" in run.output

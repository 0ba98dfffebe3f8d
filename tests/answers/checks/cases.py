"""For every rule three benches: one that meets the figure, one that does not, one that cannot be told.

Each is (rows, subject) or (rows, subject, building): the rows added to the small wall, and
whose result is looked at.
"""

from __future__ import annotations

from dataclasses import replace

from asbuilt.answers.checks.rule import CANNOT_TELL, DOES_NOT, MEETS
from asbuilt.record import Building, Circuit, Control, Covering, Device, Face, Feed, Item, Opening
from tests.answers.checks.bench import (
    BOARD,
    CIRCUIT,
    FACE,
    PANEL,
    SECOND,
    box,
    cable,
    detail,
    hole,
    m,
    run,
    taped,
)

DWELLING = Building(name="Bench", occupancy="dwelling")
UK = Building(name="Bench", unit="mm", region="uk", occupancy="dwelling")
BEARING, PARTITION = replace(FACE, bearing=True), replace(FACE, bearing=False)
PAIR = (replace(CIRCUIT, shares_neutral_id="3"), replace(CIRCUIT, id="3", number="3", name="bench by the door"))

DEEP = replace(FACE, stud_depth_m=m("5-1/2 in"))
# A cable level through the stud at 16 in, seen close on both sides of it, 2-3/4 in deep in a 2x6:
# 2-3/8 in to the edge of a 3/4 in hole, less what a cable strays.
LEVEL = (DEEP, run(), taped("c1", 10, 48, "2-3/4 in"), taped("c1", 20, 48, "2-3/4 in"))
SHALLOW = (run(), taped("c1", 10, 48, "1 in"), taped("c1", 20, 48, "1 in"))
UPRIGHT = (run(), taped("c1", "33 in", 40, "1-3/4 in"), taped("c1", "33 in", 80, "1-3/4 in"))
UPRIGHT_SHALLOW = (run(), taped("c1", "33 in", 40, "1 in"), taped("c1", "33 in", 80, "1-3/4 in"))
PIPE = Item(id="p1", kind="pipe", face_id="north", radius_m=m("5/16 in"))


def upright_with_staples(*heights, box_height=40, **attrs):
    """A box and a cable going up beside a stud, with staples at those heights."""
    rows = [box(**attrs), taped("b1", 33, box_height, "-1/2 in"), run(comes_from="b1", goes_to="capped"),
            taped("c1", 33, box_height + 3, "1-3/4 in"), taped("c1", 33, 90, "1-3/4 in")]  # fmt: skip
    for i, height in enumerate(heights):
        rows += [Item(id=f"s{i}", kind="staple", face_id="north"), taped(f"s{i}", 33, height, "1-3/4 in")]
    return tuple(rows)


def filled(volume_in3, *cables, devices=("receptacle",), clamps=True):
    """A box with cables given as words, and devices."""
    rows = [box(), detail(volume_in3=volume_in3, clamps=clamps)]
    rows += [cable(f"C{i}", words, "main" if i == 0 else "elsewhere", "b1") for i, words in enumerate(cables)]
    rows += [Device(id=f"d{i}", item_id="b1", gang=i + 1, kind=kind) for i, kind in enumerate(devices)]
    return tuple(rows)


def receptacles(*offsets, kind="receptacle"):
    """Receptacle boxes along the face, 16 in up."""
    rows = []
    for i, offset in enumerate(offsets):
        rows += [box(f"b{i}"), taped(f"b{i}", offset, 16, "-1/2 in"), Device(id=f"d{i}", item_id=f"b{i}", kind=kind)]
    return tuple(rows)


def beside(gap, sigma_m=1e-4):
    """A low-voltage cable beside a power cable, centres that far apart; radii 6 and 4 mm."""
    low = Item(id="l1", kind="low voltage cable", face_id="north")
    apart = m(gap) + 0.010
    rows = [run(), taped("c1", 20, 20, 1), taped("c1", 20, 80, 1), low]
    return (*rows, *(taped("l1", f"{m(20) + apart} m", z, 1, sigma_m=sigma_m) for z in (20, 80)))


def fed_load(length):
    """A load of 2400 VA at 120 V at the end of a 12/2 of that length, fed straight from the panel."""
    measured = cable(length_m=None if length is None else m(length))
    return (box(), measured, Feed(id="f", circuit_id="1", comes_from="main", goes_to="b1", cable_id="C1"),
            Device(id="d", item_id="b1", kind="receptacle", load_va=2400 if length != "50 ft" else 600))  # fmt: skip


def metric_load(length):
    """A load of 10 A at 230 V at the end of 2.5 mm2 of that length, fed straight from the board."""
    measured = cable("C1", "2.5 mm2 twin and earth", length_m=None if length is None else m(length))
    return (replace(CIRCUIT, volts=230, amps=20, cable=""), box(), measured,
            Feed(id="f", circuit_id="1", comes_from="main", goes_to="b1", cable_id="C1"),
            Device(id="d", item_id="b1", kind="socket", load_va=2300))  # fmt: skip


def two_faces(offset, rated):
    """A box here at 40 in and one on the other face that lies ``offset`` from the left end here."""
    near = replace(FACE, rated=rated, far_face_id="south", far_offset_sum_m=m("12 ft"))
    far = Face(id="south", room_id="r", title="South face", order_idx=1, length_m=m("12 ft"), height_m=m("8 ft"))
    there = m("12 ft") - m(offset)
    return (near, far, box(), taped("b1", 40, 48, "-1/2 in"), box("b2", face_id="south"),
            taped("b2", f"{there} m", 48, "-1/2 in", face_id="south"))  # fmt: skip


def cables_in_hole(*words, sealed=True, amps=15):
    """A hole with cables of circuit 1."""
    ids = tuple(f"C{i}" for i in range(len(words)))
    cables = [cable(i, w, "main", "capped") for i, w in zip(ids, words, strict=True)]
    return (replace(CIRCUIT, amps=amps), *cables, hole("3/4 in", cable_ids=ids, sealed=sealed))


def shallow_uk(offset, height, *more, depth="10 mm", circuit=CIRCUIT):
    """A UK wall with an accessory at 1000 mm along and 450 mm up and a cable seen at one place."""
    face = replace(FACE, length_m=4.0, height_m=2.4)
    return (face, BOARD, circuit, box(), taped("b1", "1000 mm", "450 mm", "-12 mm"), run(),
            taped("c1", offset, height, depth), *more)  # fmt: skip


CASES: dict[str, dict[str, tuple]] = {
    "conductor-breaker": {
        MEETS: ((), "1"),
        DOES_NOT: ((replace(CIRCUIT, cable="14/2 NM-B white"),), "1"),
        CANNOT_TELL: ((replace(CIRCUIT, cable=""),), "1"),
    },
    "breaker-size": {
        MEETS: ((), "1"),
        DOES_NOT: ((replace(CIRCUIT, amps=55),), "1"),
        CANNOT_TELL: ((replace(CIRCUIT, amps=None),), "1"),
    },
    "sheath-colour": {
        MEETS: ((), "1"),
        DOES_NOT: ((replace(CIRCUIT, cable="12/2 white"),), "1"),
        CANNOT_TELL: ((replace(CIRCUIT, cable="12/2"),), "1"),
    },
    "breaker-positions": {
        MEETS: ((), "1"),
        DOES_NOT: ((replace(CIRCUIT, number="1+2", poles=2),), "1"),
        CANNOT_TELL: ((replace(PANEL, spaces=None),), "1"),
    },
    "voltage-drop": {
        MEETS: (fed_load("50 ft"), "1"),
        DOES_NOT: (fed_load("100 ft"), "1"),
        CANNOT_TELL: (fed_load(None), "1"),
    },
    "multiwire-off": {
        MEETS: ((replace(PAIR[0], tied=True), PAIR[1]), "1"),
        DOES_NOT: ((PAIR[0], replace(PAIR[1], tied=False)), "1"),
        CANNOT_TELL: (PAIR, "1"),
    },
    "multiwire-legs": {
        MEETS: (PAIR, "1"),
        DOES_NOT: ((replace(PAIR[0], shares_neutral_id="2"), SECOND), "1"),
        CANNOT_TELL: ((PAIR[0], replace(PAIR[1], panel_id=None)), "1"),
    },
    "directory": {
        MEETS: ((), "1"),
        DOES_NOT: ((replace(CIRCUIT, name="plugs"),), "1"),
        CANNOT_TELL: ((replace(CIRCUIT, name="Robin's bench"),), "1"),
    },
    "edge-bored": {
        MEETS: (LEVEL, "c1"),
        DOES_NOT: (SHALLOW, "c1"),
        CANNOT_TELL: ((run(), taped("c1", 10, 48), taped("c1", 20, 48)), "c1"),
    },
    "edge-parallel": {
        MEETS: (UPRIGHT, "c1"),
        DOES_NOT: (UPRIGHT_SHALLOW, "c1"),
        CANNOT_TELL: ((run(), *(taped("c1", 33, z, "1-1/2 in", sigma_depth_m=m("1/4 in")) for z in (40, 80))), "c1"),
    },
    "pipe-edge": {
        MEETS: ((PIPE, taped("p1", 10, 20, "1-3/4 in"), taped("p1", 20, 20, "1-3/4 in")), "p1"),
        DOES_NOT: ((PIPE, taped("p1", 10, 20, "1 in"), taped("p1", 20, 20, "1 in")), "p1"),
        CANNOT_TELL: ((PIPE, taped("p1", 10, 20), taped("p1", 20, 20)), "p1"),
    },
    "hole-size": {
        MEETS: ((BEARING, hole("1-3/8 in")), "h1"),
        DOES_NOT: ((BEARING, hole("1-7/16 in")), "h1"),
        CANNOT_TELL: ((hole("1-7/16 in"),), "h1"),
    },
    "hole-edge": {
        MEETS: ((hole("3/4 in", depth="1-3/4 in"),), "h1"),
        DOES_NOT: ((hole("3/4 in", depth="7/8 in"),), "h1"),
        CANNOT_TELL: ((hole("3/4 in"),), "h1"),
    },
    "notch-size": {
        MEETS: ((BEARING, hole("7/8 in", kind="notch", sigma_m=0.0)), "h1"),
        DOES_NOT: ((BEARING, hole("1-1/8 in", kind="notch")), "h1"),
        CANNOT_TELL: ((BEARING, hole("7/8 in", kind="notch", sigma_m=m("1/16 in"))), "h1"),
    },
    "plate-cut": {
        MEETS: ((BEARING, hole("1-1/2 in", height="95 in", member="plate")), "h1"),
        DOES_NOT: ((BEARING, hole("2 in", height="95 in", member="plate")), "h1"),
        CANNOT_TELL: ((hole("2 in", height="95 in", member="plate"),), "h1"),
    },
    "support-spacing": {
        MEETS: (upright_with_staples(48, 80, 88), "c1"),
        DOES_NOT: (upright_with_staples(30, box_height=20), "c1"),
        CANNOT_TELL: (upright_with_staples(box_height=20), "c1"),
    },
    "support-at-box": {
        MEETS: (upright_with_staples(48), "b1"),
        DOES_NOT: (upright_with_staples(60), "b1"),
        CANNOT_TELL: (upright_with_staples(51.5), "b1"),
    },
    "foam-stapled": {
        MEETS: ((replace(FACE, insulation="spray foam"), *upright_with_staples(48)), "c1"),
        DOES_NOT: (
            (*LEVEL, replace(FACE, insulation="spray foam"), cable(item_ids=("c1",), stapled=False)), "c1",
        ),
        CANNOT_TELL: ((*LEVEL, replace(FACE, insulation="spray foam")), "c1"),
    },
    "bundling": {
        MEETS: (cables_in_hole("14/2", "14/2", "14/2"), "h1"),
        DOES_NOT: (cables_in_hole("14/2", "14/2", "14/2", amps=20), "h1"),
        CANNOT_TELL: (cables_in_hole("14/2", "14/2", "14/2", amps=20, sealed=None), "h1"),
    },
    "box-fill": {
        MEETS: (filled(18.0, "12/2", "12/2"), "b1"),
        DOES_NOT: (filled(16.0, "12/2", "12/2"), "b1"),
        CANNOT_TELL: (filled(None, "12/2", "12/2"), "b1"),
    },
    "free-conductor": {
        MEETS: ((box(), detail(free_conductor_m=m("6 in"), free_outside_m=m("3 in"))), "b1"),
        DOES_NOT: ((box(), detail(free_conductor_m=m("5 in"))), "b1"),
        CANNOT_TELL: ((box(), detail(free_conductor_m=m("8 in"))), "b1"),
    },
    "box-set-out": {
        MEETS: ((box(), detail(set_out_m=m("1/2 in"))), "b1"),
        DOES_NOT: ((replace(BOARD, thickness_m=m("3/4 in")), box(), detail(set_out_m=m("1/2 in"))), "b1"),
        CANNOT_TELL: ((box(), taped("b1", 40, 48)), "b1"),
    },
    "box-setback": {
        MEETS: ((box(), taped("b1", 40, 48, "-5/8 in")), "b1"),
        DOES_NOT: ((box(), taped("b1", 40, 48, "-1/8 in")), "b1"),
        CANNOT_TELL: ((box(), taped("b1", 40, 48, "-3/8 in")), "b1"),
    },
    "made-up": {
        MEETS: ((box(), detail(made_up=True)), "b1"),
        DOES_NOT: ((box(), detail(made_up=False)), "b1"),
        CANNOT_TELL: ((box(),), "b1"),
    },
    "back-to-back": {
        MEETS: (two_faces("64-1/2 in", True), "b1"),
        DOES_NOT: (two_faces("60 in", True), "b1"),
        CANNOT_TELL: (two_faces("60 in", None), "b1"),
    },
    "receptacle-spacing": {
        MEETS: (receptacles("5 ft", "11 ft"), "r@0.00", DWELLING),
        DOES_NOT: (receptacles("7 ft"), "r@0.00", DWELLING),
        CANNOT_TELL: (
            (*receptacles("7 ft"), box("b9"), taped("b9", "2 ft", 16, "-1/2 in")), "r@0.00", DWELLING,
        ),
    },
    "low-voltage-apart": {
        MEETS: (beside("2-1/8 in"), "l1"),
        DOES_NOT: (beside("1 in"), "l1"),
        CANNOT_TELL: (beside("2-1/8 in", sigma_m=m("1/4 in")), "l1"),
    },
    "open-ends": {
        MEETS: ((box(), cable("C1", "12/2", "main", "capped and folded back")), "C1"),
        DOES_NOT: ((cable("C1", "12/2", "main", "open end"),), "C1"),
        CANNOT_TELL: ((cable("C1", "12/2", "main", ""),), "C1"),
    },
    "feed-order": {
        MEETS: ((box(), Feed(id="f", circuit_id="1", comes_from="main", goes_to="b1")), "1"),
        DOES_NOT: ((box(), box("b2"), Feed(id="f", circuit_id="1", comes_from="main", goes_to="b1")), "1"),
        CANNOT_TELL: ((box(),), "1"),
    },
    "circuit-of-ends": {
        MEETS: ((box(), cable()), "C1"),
        DOES_NOT: ((SECOND, box(circuit_id="2"), cable()), "C1"),
        CANNOT_TELL: ((box(circuit_id=None), cable()), "C1"),
    },
    "switches": {
        MEETS: ((box(), box("l1"), Control(id="k", switch_id="b1", load_id="l1")), "l1"),
        DOES_NOT: ((box(), box("l1"), Control(id="k", switch_id="b1", load_id="l1", way="3-way")), "l1"),
        CANNOT_TELL: (
            (box(), box("b2"), box("l1"), Control(id="k1", switch_id="b1", load_id="l1", way="3-way"),
             Control(id="k2", switch_id="b2", load_id="l1", way="3-way")), "l1",
        ),
    },
    "uk-zones": {
        MEETS: (shallow_uk("1000 mm", "1500 mm", circuit=replace(CIRCUIT, protection="30 mA RCD")), "c1", UK),
        DOES_NOT: (shallow_uk("1500 mm", "1500 mm"), "c1", UK),
        CANNOT_TELL: (shallow_uk("1000 mm", "1500 mm"), "c1", UK),
    },
    "uk-heights": {
        MEETS: ((box(), taped("b1", "1 m", "500 mm")), "b1", UK),
        DOES_NOT: ((box(), taped("b1", "1 m", "300 mm")), "b1", UK),
        CANNOT_TELL: ((box(), taped("b1", "1 m", "450 mm", sigma_m=0.01)), "b1", UK),
    },
    "uk-voltage-drop": {
        MEETS: (metric_load("10 m"), "1", UK),
        DOES_NOT: (metric_load("100 m"), "1", UK),
        CANNOT_TELL: (metric_load(None), "1", UK),
    },
    "uk-board-height": {
        MEETS: ((Item(id="m1", kind="panel", face_id="north"), taped("m1", "1 m", "1400 mm")), "m1", UK),
        DOES_NOT: ((Item(id="m1", kind="panel", face_id="north"), taped("m1", "1 m", "1800 mm")), "m1", UK),
        CANNOT_TELL: ((Item(id="m1", kind="panel", face_id="north"),), "m1", UK),
    },
}  # fmt: skip

__all__ = ["CASES", "DWELLING", "PARTITION", "UK", "Circuit", "Covering", "Opening"]

"""The tables of a plan that describe wiring: items and where they were taped, cables, feeds, boxes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from asbuilt.record.kinds import kind_named
from asbuilt.record.plan_table import Table, free_id, key, next_order, required
from asbuilt.record.plan_values import DATE, INTEGER, LENGTH, LIST, NUMBER, TEXT, VOLUME, YES_NO, ValueKind
from asbuilt.record.types import Item
from asbuilt.record.wiring import (
    BoxDetail,
    Cable,
    Control,
    Device,
    Feed,
    Hole,
    RuleSetting,
    TapedPlace,
    Verification,
)

KIND = ValueKind(name="kind", read=lambda value, unit: kind_named(str(value)).name, write=TEXT.write)


def _named_after(*attrs: str, end: str = "") -> Callable[[dict, Sequence], dict[str, Any]]:
    """An id made of other attributes, for rows that need no name of their own."""

    def fill(given: dict, earlier: Sequence) -> dict[str, Any]:
        stem = "-".join([*(str(given.get(attr)) for attr in attrs), *([end] if end else [])])
        return {"id": free_id(stem, earlier)}

    return fill


def _fill_taped(given: dict, earlier: Sequence) -> dict[str, Any]:
    same = [row for row in earlier if row.item_id == given.get("item_id")]
    return {"id": free_id(f"{given.get('item_id')}-taped", earlier), "order_idx": next_order(same)}


def _fill_device(given: dict, earlier: Sequence) -> dict[str, Any]:
    same = [row for row in earlier if row.item_id == given.get("item_id")]
    gang = max((row.gang for row in same), default=0) + 1
    return {"id": free_id(f"{given.get('item_id')}-device", earlier), "gang": gang}


_ID = key("id", TEXT, "short name of its own", required=True)
_OWN_ID = key("id", TEXT, "short name of its own, if two would be alike")
_FACE = key("face", TEXT, "id of the face it is on", attr="face_id")
_ITEM = key("item", TEXT, "id of the item", attr="item_id", required=True)
_CIRCUIT = key("circuit", TEXT, "id of its circuit", attr="circuit_id")
_CABLE = key("cable", TEXT, "id of the cable that does it", attr="cable_id")
_FROM = key("from", TEXT, "id of the box or panel at its first end, or words", attr="comes_from")
_TO = key("to", TEXT, "id of the box or panel at its other end, or words", attr="goes_to")
_OFFSET = key("offset", LENGTH, "from the left end of the face, seen from inside", required=True)
_HEIGHT = key("height", LENGTH, "above the datum floor", required=True)
_SIGMA = key("sigma", LENGTH, "one standard deviation of the taping")
_NOTE = key("note", TEXT, "anything")

WIRING_TABLES: tuple[Table, ...] = (
    Table(name="item", cls=Item, whole=False, keys=(
        _ID,
        key("kind", KIND, "what it is: device box, cable, pipe, nail plate ...", required=True),
        key("label", TEXT, "what people call it"),
        _FACE, _CIRCUIT,
        key("cable", TEXT, "size and colour, of a run"),
        key("width", LENGTH, "along the face"),
        key("height", LENGTH, "of the thing itself"),
        key("radius", LENGTH, "of a run"),
        key("gangs", INTEGER, "of a box"),
        _FROM, _TO,
        key("state", TEXT, "confirmed, proposed or removed"),
        _NOTE,
    )),
    Table(name="taped", cls=TapedPlace, fill=_fill_taped, keys=(
        _OWN_ID, _ITEM, required(_FACE),
        key("order", INTEGER, "place along a run, if not as entered", attr="order_idx"),
        _OFFSET, _HEIGHT,
        key("depth", LENGTH, "into the wall from the stud face; silent: what is usual"),
        _SIGMA,
        key("sigma_depth", LENGTH, "one standard deviation of the depth"),
    )),
    Table(name="box", cls=BoxDetail, keys=(
        key("id", TEXT, "id of the item that is the box", required=True),
        key("volume", VOLUME, "as stamped into it"),
        key("material", TEXT, "plastic or metal"),
        key("clamps", YES_NO, "it has cable clamps inside"),
        key("set_out", LENGTH, "how far its front stands in front of the stud face"),
        key("free_conductor", LENGTH, "shortest conductor, from where it leaves the sheath"),
        key("free_outside", LENGTH, "shortest conductor outside the opening"),
        key("made_up", YES_NO, "grounds and neutrals are spliced"),
        _NOTE,
    )),
    Table(name="device", cls=Device, fill=_fill_device, keys=(
        _OWN_ID, _ITEM,
        key("gang", INTEGER, "place in the box from the left, 1 first"),
        key("kind", TEXT, "receptacle, switch, 3-way switch, dimmer, light, fan, data jack, blank", required=True),
        key("load_va", NUMBER, "volt-amperes that it is expected to draw"),
        key("wire", TEXT, "size of the largest conductor connected to it"),
        _NOTE,
    )),
    Table(name="cable", cls=Cable, keys=(
        key("id", TEXT, "as marked at both of its ends", required=True),
        _CIRCUIT,
        key("use", TEXT, "power or low voltage"),
        key("type", TEXT, "size, kind and colour: 12/2 NM-B yellow, Cat 6"),
        _FROM, _TO,
        key("items", LIST, "ids of its runs and coils in the walls", attr="item_ids"),
        key("length", LENGTH, "as measured; silent: estimated from its route"),
        key("coil", LENGTH, "left in coils and service loops"),
        key("stapled", YES_NO, "seen to be fixed along its whole way"),
        _NOTE,
    )),
    Table(name="feed", cls=Feed, fill=_named_after("circuit_id", "goes_to"), keys=(
        _OWN_ID, required(_CIRCUIT), required(_FROM), required(_TO), _CABLE,
    )),
    Table(name="control", cls=Control, fill=_named_after("switch_id", "load_id"), keys=(
        _OWN_ID,
        key("switch", TEXT, "id of the box with the switch", attr="switch_id", required=True),
        key("load", TEXT, "id of the box of what it works", attr="load_id", required=True),
        key("way", TEXT, "single, 3-way or 4-way"),
        key("gang", INTEGER, "of the switch in its box"),
        _CABLE, _NOTE,
    )),
    Table(name="hole", cls=Hole, fill=_named_after("face_id", end="hole"), keys=(
        _OWN_ID, required(_FACE),
        key("kind", TEXT, "bored or notch"),
        key("member", TEXT, "stud or plate"),
        _OFFSET, _HEIGHT,
        key("depth", LENGTH, "centre of a hole from the stud face"),
        key("size", LENGTH, "diameter of a hole, depth of a notch", required=True),
        _SIGMA,
        key("doubled", YES_NO, "through studs nailed together"),
        key("sealed", YES_NO, "filled with foam, caulk or insulation"),
        key("cables", LIST, "ids of the cables that pass it", attr="cable_ids"),
    )),
    Table(name="test", cls=Verification, fill=_named_after("target_id", "date"), keys=(
        _OWN_ID,
        key("target", TEXT, "circuit or cable"),
        key("of", TEXT, "id of that circuit or cable", attr="target_id", required=True),
        key("date", DATE, "day of the test", required=True),
        key("by", TEXT, "who tested", attr="tested_by"),
        key("method", TEXT, "how"),
        key("result", TEXT, "what came of it"),
    )),
    Table(name="rule", cls=RuleSetting, keys=(
        key("id", TEXT, "a rule, to leave it out, or rule.figure", required=True),
        key("value", TEXT, "the figure to use instead"),
        key("applies", YES_NO, "false leaves the rule out"),
        key("note", TEXT, "who says so"),
    )),
)  # fmt: skip

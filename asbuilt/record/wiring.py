"""Facts of the wiring: what a cable joins, what feeds what, what switches what, who tested it.

Three things are kept apart and never worked out from one another: where a cable lies (its
item and the item's places), the order in which boxes are fed (``Feed``), and which switch
works which outlet (``Control``). An end is the id of a box or panel, or plain words.
"""

from __future__ import annotations

from dataclasses import dataclass

from asbuilt.record.field_checks import finite, need, slug

CABLE_USES = ("power", "low voltage")
CONTROL_WAYS = ("single", "3-way", "4-way")
HOLE_KINDS = ("bored", "notch")
MEMBERS = ("stud", "plate")
TESTED = ("circuit", "cable")


def _one_of(obj, name: str, allowed: tuple[str, ...]) -> None:
    value = getattr(obj, name)
    need(value in allowed, f"{type(obj).__name__.lower()} {obj.id}: {name} {value!r} is not one of {allowed}")


@dataclass(frozen=True, slots=True, kw_only=True)
class TapedPlace:
    """A place of an item taken with a tape; without a depth the usual one of its kind is used."""

    id: str
    item_id: str
    face_id: str
    order_idx: int = 0
    offset_m: float
    height_m: float
    depth_m: float | None = None
    sigma_m: float = 0.0015875  # 1/16 in
    sigma_depth_m: float = 0.0015875

    def __post_init__(self) -> None:
        finite(self, "offset_m", "height_m", "depth_m", "sigma_m", "sigma_depth_m")
        need(self.sigma_m > 0 and self.sigma_depth_m > 0, f"place {self.id}: sigmas must be more than 0")


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxDetail:
    """What is known of a box beside its place; ``id`` is that of its item.

    ``set_out_m`` is how far its front was set in front of the stud face.
    """

    id: str
    volume_m3: float | None = None
    material: str = ""  # plastic, metal
    clamps: bool | None = None  # cable clamps inside
    set_out_m: float | None = None
    free_conductor_m: float | None = None  # shortest, from where it leaves the sheath
    free_outside_m: float | None = None  # shortest, outside the opening
    made_up: bool | None = None  # grounds and neutrals spliced
    note: str = ""

    def __post_init__(self) -> None:
        finite(self, "volume_m3", "set_out_m", "free_conductor_m", "free_outside_m")
        need(self.volume_m3 is None or self.volume_m3 > 0, f"box {self.id}: volume must be more than 0")


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """What a box is for: one yoke or fixture, with the load it is expected to carry."""

    id: str
    item_id: str
    gang: int = 1
    kind: str  # receptacle, switch, 3-way switch, dimmer, light, fan, data jack, blank
    load_va: float | None = None
    wire: str = ""  # largest conductor connected to it, as 12
    note: str = ""

    def __post_init__(self) -> None:
        finite(self, "load_va")
        need(bool(self.kind.strip()), f"device {self.id}: say what it is")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cable:
    """One cable as marked at both of its ends; ``item_ids`` are its runs and coils in the walls."""

    id: str
    circuit_id: str | None = None
    use: str = "power"
    type: str = ""  # 12/2 NM-B yellow, Cat 6
    comes_from: str = ""
    goes_to: str = ""
    item_ids: tuple[str, ...] = ()
    length_m: float | None = None  # measured; without it the route is estimated
    coil_m: float | None = None  # left in coils and service loops
    stapled: bool | None = None  # fixed along its whole way, looked at by a person
    note: str = ""

    def __post_init__(self) -> None:
        slug(self)
        finite(self, "length_m", "coil_m")
        _one_of(self, "use", CABLE_USES)


@dataclass(frozen=True, slots=True, kw_only=True)
class Feed:
    """One step of the feed order: power comes from one box or panel and goes to the next."""

    id: str
    circuit_id: str
    comes_from: str
    goes_to: str
    cable_id: str | None = None

    def __post_init__(self) -> None:
        need(self.comes_from != self.goes_to, f"feed {self.id}: {self.goes_to!r} cannot feed itself")


@dataclass(frozen=True, slots=True, kw_only=True)
class Control:
    """A switch works an outlet; two 3-way switches of one outlet are two of these."""

    id: str
    switch_id: str
    load_id: str
    way: str = "single"
    gang: int | None = None  # of the switch in its box
    cable_id: str | None = None  # the switch leg, or the travellers
    note: str = ""

    def __post_init__(self) -> None:
        _one_of(self, "way", CONTROL_WAYS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hole:
    """A hole bored through, or a notch cut into, a stud or plate.

    ``size_m`` is the diameter of a hole, the depth of a notch; ``depth_m`` the centre of a
    hole from the stud face.
    """

    id: str
    face_id: str
    kind: str = "bored"
    member: str = "stud"
    offset_m: float
    height_m: float
    depth_m: float | None = None
    size_m: float
    sigma_m: float = 0.0015875  # 1/16 in
    doubled: bool = False  # through studs nailed together
    sealed: bool | None = None  # filled with foam, caulk or insulation
    cable_ids: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        finite(self, "offset_m", "height_m", "depth_m", "size_m", "sigma_m")
        need(self.size_m > 0 and self.sigma_m >= 0, f"hole {self.id}: size must be more than 0")
        _one_of(self, "kind", HOLE_KINDS)
        _one_of(self, "member", MEMBERS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """Who tested a circuit or a cable, when, how, and with what result."""

    id: str
    target: str = "circuit"
    target_id: str
    date: str
    tested_by: str = ""
    method: str = ""
    result: str = ""

    def __post_init__(self) -> None:
        _one_of(self, "target", TESTED)


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleSetting:
    """What this record changes of the rough-in rules.

    ``id`` is a rule's, to leave the rule out, or ``rule.figure`` to give a figure of one's own.
    """

    id: str
    value: str = ""
    applies: bool = True
    note: str = ""

    def __post_init__(self) -> None:
        slug(self)


WIRING: tuple[type, ...] = (
    TapedPlace, BoxDetail, Device, Cable, Feed, Control, Hole, Verification, RuleSetting,
)  # fmt: skip

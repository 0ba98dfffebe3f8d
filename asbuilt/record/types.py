"""The facts a record holds: frozen, checked, every quantity with its unit in its name.

Metres, radians, pixels and seconds throughout. Offsets run right from the left end of a
face as seen from inside its room, heights up from the datum floor, depths into the wall
from the stud face (negative: proud of the studs, towards the room). ``sigma_*`` is one
standard deviation. Times are ISO 8601 texts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from asbuilt.record.elevation_row import Elevation
from asbuilt.record.field_checks import finite, need, slug
from asbuilt.record.followed_row import Followed
from asbuilt.record.proposal_row import Proposal, ProposalRun
from asbuilt.record.wiring import WIRING

FACE_KINDS = ("wall", "ceiling", "floor")
CIRCUIT_STATES = ("planned", "roughed in", "terminated", "spare")
REGIONS = ("us", "uk")  # whose published figures the rough-in checks start from
PLACED, NOT_PLACED = "placed", "not placed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Building:
    """The one building a record is about; ``unit`` is what plain numbers mean: in, ft, mm, m.

    ``occupancy`` says dwelling where rules for dwellings are to be looked at.
    """

    id: str = "building"
    name: str
    unit: str = "in"
    note: str = ""
    region: str = "us"
    occupancy: str = ""

    def __post_init__(self) -> None:
        need(self.unit in ("in", "ft", "mm", "m"), f"Building: unit {self.unit!r} is not in, ft, mm or m")
        need(bool(self.name.strip()), "Building: the name is empty")
        need(self.region in REGIONS, f"Building: region {self.region!r} is not one of {', '.join(REGIONS)}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """A room; its wall faces go clockwise, seen from above, in their ``order_idx``.

    ``origin_*`` and ``turn_rad`` put the left end of the first face into the building frame;
    ``turn_rad`` is the direction of that face's offset axis, counter-clockwise from building x.
    """

    id: str
    name: str
    order_idx: int = 0
    origin_x_m: float = 0.0
    origin_y_m: float = 0.0
    floor_z_m: float = 0.0
    turn_rad: float = 0.0
    closed: bool = True  # the last face ends where the first begins
    finished_floor_thickness_m: float | None = None

    def __post_init__(self) -> None:
        slug(self)
        finite(self, "origin_x_m", "origin_y_m", "floor_z_m", "turn_rad", "finished_floor_thickness_m")


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """One side of a wall (or a ceiling or floor) as seen from one room.

    ``corner_rad`` is the inside angle at its right end to the next face (90 degrees: a plain
    corner). ``far_face_id`` names the face on the other side of the same cavity;
    a point at offset x here lies at ``far_offset_sum_m - x`` there, at the same height plus
    ``far_height_shift_m`` and at depth ``stud_depth_m - depth``.
    """

    id: str
    room_id: str
    title: str
    kind: str = "wall"
    order_idx: int = 0
    length_m: float
    height_m: float
    corner_rad: float = math.pi / 2
    stud_depth_m: float = 0.0889
    stud_width_m: float = 0.0381
    spacing_m: float = 0.4064
    layout_from: str = "left"
    exterior: bool = False
    open_behind: bool = False
    sheathing_m: float | None = None  # thickness behind the studs, where known
    far_face_id: str | None = None
    far_offset_sum_m: float | None = None
    far_height_shift_m: float = 0.0
    cover_up_date: str | None = None
    bearing: bool | None = None  # carries load from above
    rated: bool | None = None  # has to resist fire
    insulation: str = ""  # what fills the cavity: batt, spray foam, none

    def __post_init__(self) -> None:
        slug(self)
        need(self.kind in FACE_KINDS, f"face {self.id}: kind {self.kind!r} is not one of {FACE_KINDS}")
        need(self.layout_from in ("left", "right"), f"face {self.id}: layout_from must be left or right")
        finite(self, "length_m", "height_m", "corner_rad", "stud_depth_m", "stud_width_m", "spacing_m", "sheathing_m")
        finite(self, "far_offset_sum_m", "far_height_shift_m")
        for name in ("length_m", "height_m", "stud_depth_m", "stud_width_m", "spacing_m"):
            need(getattr(self, name) > 0, f"face {self.id}: {name} must be more than 0")


@dataclass(frozen=True, slots=True, kw_only=True)
class Stud:
    """One upright whose real centre is known; ``source`` is taped or measured."""

    id: str
    face_id: str
    center_m: float
    sigma_m: float
    width_m: float = 0.0381
    bottom_m: float = 0.0
    top_m: float | None = None  # None: up to the top plate
    source: str = "taped"

    def __post_init__(self) -> None:
        finite(self, "center_m", "sigma_m", "width_m", "bottom_m", "top_m")
        need(self.sigma_m > 0 and self.width_m > 0, f"stud {self.id}: sigma and width must be more than 0")


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """A door, window or other rough opening."""

    id: str
    face_id: str
    kind: str
    left_m: float
    right_m: float
    bottom_m: float
    top_m: float

    def __post_init__(self) -> None:
        finite(self, "left_m", "right_m", "bottom_m", "top_m")
        need(self.left_m < self.right_m, f"opening {self.id}: left must be less than right")
        need(self.bottom_m < self.top_m, f"opening {self.id}: bottom must be less than top")


@dataclass(frozen=True, slots=True, kw_only=True)
class Covering:
    """One layer that closes a face, first layer on the studs; ``date`` None means planned."""

    id: str
    face_id: str
    order_idx: int = 0
    material: str
    thickness_m: float
    date: str | None = None

    def __post_init__(self) -> None:
        finite(self, "thickness_m")
        need(self.thickness_m > 0, f"covering {self.id}: thickness must be more than 0")


@dataclass(frozen=True, slots=True, kw_only=True)
class Marker:
    """A printed marker sheet fixed to a stud; offset and height of its centre if taped."""

    id: int
    face_id: str
    size_m: float = 0.1524  # outer edge of the black square
    offset_m: float | None = None
    height_m: float | None = None
    depth_m: float = 0.0
    sigma_m: float = 0.0015875  # 1/16 in
    dictionary: str = "AprilTag 36h11"

    def __post_init__(self) -> None:
        finite(self, "size_m", "offset_m", "height_m", "depth_m", "sigma_m")
        need(self.size_m > 0 and self.sigma_m > 0, f"marker {self.id}: size and sigma must be more than 0")


STUD_LINE = "stud line"  # the kind of a spot on a stud that the layout has there; its height is only roughly known


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferencePoint:
    """A spot whose place on a face was taped (a mark, a corner, an opening's corner), or follows from the layout."""

    id: str
    face_id: str
    label: str = ""
    kind: str = "taped mark"
    offset_m: float
    height_m: float
    depth_m: float = 0.0
    sigma_m: float = 0.0015875
    sigma_depth_m: float = 0.0015875

    def __post_init__(self) -> None:
        slug(self)
        finite(self, "offset_m", "height_m", "depth_m", "sigma_m", "sigma_depth_m")
        need(self.sigma_m > 0 and self.sigma_depth_m > 0, f"reference {self.id}: sigmas must be more than 0")


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """A distribution board; ``fed_from_id`` is the circuit of another panel that feeds it."""

    id: str
    name: str
    face_id: str | None = None
    amps: float | None = None
    volts: float | None = None
    spaces: int | None = None
    width_m: float | None = None
    height_m: float | None = None
    fed_from_id: str | None = None
    feeder: str = ""  # size and kind of the feeder cable
    main: str = ""  # main breaker, main lugs

    def __post_init__(self) -> None:
        slug(self)
        finite(self, "amps", "volts", "width_m", "height_m")


@dataclass(frozen=True, slots=True, kw_only=True)
class Circuit:
    """One branch circuit; ``number`` is its breaker position as printed: 2, or 1+3 for two poles.

    ``shares_neutral_id`` is the other half of a multiwire pair, each half being described by
    itself; ``tied`` says whether both are switched off together.
    """

    id: str
    panel_id: str | None = None
    number: str
    name: str
    amps: float | None = None
    volts: float | None = None
    poles: int = 1
    cable: str = ""
    feeds: str = ""
    state: str = "planned"
    protection: str = ""  # GFCI, AFCI, 30 mA RCD
    shares_neutral_id: str | None = None
    tied: bool | None = None
    continuous: bool | None = None  # loads that may stay on for three hours or more

    def __post_init__(self) -> None:
        slug(self)
        finite(self, "amps", "volts")
        need(self.state in CIRCUIT_STATES, f"circuit {self.id}: state {self.state!r} is not one of {CIRCUIT_STATES}")


# States of a file that intake goes on with; it is "done" after, whatever came of it.
COPYING, SCANNING, HALTED = "copying", "scanning", "halted"
DAMAGED = "damaged"  # why a stretch of it was dropped whose packets cannot be decoded


@dataclass(frozen=True, slots=True, kw_only=True)
class Media:
    """One original file, stored unaltered under its SHA-256."""

    id: str  # sha-256, hex; of one in the state copying a quick digest, marked as such
    name: str  # the name it came with
    kind: str  # photo or video
    byte_count: int
    path: str  # relative to the record folder
    taken_at: str | None = None
    device: str = ""
    width_px: int = 0  # as displayed
    height_px: int = 0
    focal_prior_px: float | None = None
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    meta: dict = field(default_factory=dict)
    state: str = "new"  # new, copying (see record.lent), scanning, halted (its decoder gave up partway), done


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A photo, or one kept frame of a video."""

    id: str
    media_id: str
    kind: str  # photo or frame
    pts_s: float | None = None  # exact presentation time of a frame
    width_px: int
    height_px: int
    taken_at: str | None = None
    room_id: str | None = None
    face_id: str | None = None  # what it is filed under
    filed_by: str = ""  # marker, order, hand, or empty: not filed yet
    stage: str = "open"  # open: before cover-up; covered: of the finished wall
    sharpness: float | None = None  # 0..1, 1 sharp, against its neighbours
    light: float | None = None  # mean luma 0..1
    flags: tuple[str, ...] = ()  # blurred, dark, off wall
    kept_for: str = "coverage"  # coverage, sighting, or first look while its clip is scanned

    def __post_init__(self) -> None:
        need(self.width_px > 0 and self.height_px > 0, f"picture {self.id}: has no size")


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """Where the camera of a picture stood, or why that is not known.

    ``camera_from_building`` as quaternion (x, y, z, w) and translation [m];
    ``covariance`` is the 6x6 of (rotation vector [rad], translation [m]) with the
    perturbation on the left: exp(dw) R, t + dt. ``lens`` is fx=fy, cx, cy, k1, k2, p1, p2.
    """

    id: str  # the picture's id
    status: str
    reason: str = ""
    quat_xyzw: tuple[float, ...] = ()
    translation_m: tuple[float, ...] = ()
    covariance: tuple[tuple[float, ...], ...] = ()
    lens: tuple[float, ...] = ()
    lens_id: str = ""
    method: str = ""
    residual_px: float | None = None
    reference_count: int = 0
    track_count: int = 0
    solution_id: str = ""
    params_idx: int | None = None  # first of its six in the solution's joint covariance

    def __post_init__(self) -> None:
        need(self.status in (PLACED, NOT_PLACED), f"placement {self.id}: status {self.status!r}")
        need(self.status == PLACED or bool(self.reason), f"placement {self.id}: not placed without a reason")


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """One run of placing: its report and the joint covariance of what it solved."""

    id: str
    created_at: str
    report: dict = field(default_factory=dict)
    joint_covariance: bytes = b""  # float32, upper triangle, zlib
    param_count: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """A thing inside the wall. ``state`` is confirmed, proposed or removed."""

    id: str
    kind: str
    label: str = ""
    face_id: str | None = None
    circuit_id: str | None = None
    cable: str = ""
    width_m: float | None = None  # boxes, plates: along the face
    height_m: float | None = None
    radius_m: float | None = None  # runs
    gangs: int | None = None
    comes_from: str = ""  # label of the box, panel or place at its first end
    goes_to: str = ""
    state: str = "confirmed"
    note: str = ""

    def __post_init__(self) -> None:
        slug(self)
        finite(self, "width_m", "height_m", "radius_m")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """A spot of an item seen at a pixel of a picture; equal ``place`` means the same spot.

    ``target`` says what ``target_id`` is: an item or a reference point.
    """

    id: str
    target: str = "item"
    target_id: str
    picture_id: str
    place: str = ""
    order_idx: int = 0
    x_px: float
    y_px: float
    sigma_px: float = 1.5
    author: str = ""

    def __post_init__(self) -> None:
        need(self.target in ("item", "reference"), f"sighting {self.id}: target {self.target!r}")
        finite(self, "x_px", "y_px", "sigma_px")


@dataclass(frozen=True, slots=True, kw_only=True)
class Position:
    """Where one spot of an item lies on a face, worked out from its sightings.

    ``covariance`` is the 3x3 of (offset, height, depth) [m^2].
    """

    id: str
    item_id: str
    place: str
    order_idx: int
    face_id: str
    offset_m: float
    height_m: float
    depth_m: float
    covariance: tuple[tuple[float, ...], ...]
    method: str  # "intersected" or "usual depth"
    picture_count: int
    parallax_rad: float = 0.0
    status: str = "measured"  # or refused, with a reason
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How well each cell of a face is seen; ``grid`` layers are zlib'd uint8, row 0 at the floor."""

    id: str  # the face's id
    created_at: str
    cell_m: float
    rows: int
    cols: int
    layers: dict = field(default_factory=dict)  # name -> meaning
    grid: bytes = b""
    input_hash: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something that happened to a wall: covered, opened, altered, item moved."""

    id: str
    kind: str
    date: str
    face_id: str | None = None
    left_m: float | None = None
    right_m: float | None = None
    bottom_m: float | None = None
    top_m: float | None = None
    note: str = ""


TYPES: tuple[type, ...] = (
    Building, Room, Face, Stud, Opening, Covering, Marker, ReferencePoint, Panel, Circuit,
    Media, Picture, Placement, Solution, Item, Sighting, Followed, Position, Coverage, Elevation, Event, *WIRING,
    Proposal, ProposalRun,
)  # fmt: skip

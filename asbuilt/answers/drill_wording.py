"""The sentences about holes: what one meets, passes and comes out of, and how to move it."""

from __future__ import annotations

from asbuilt.answers import wording
from asbuilt.answers.wording import COVER_95, error, length

NO_SCREW_UNKNOWN = "no screw length can be named here: the place is not recorded"
NO_SHIFT = "no shift within the allowed range keeps every hole clear of what was recorded, where it is recorded"
NO_PLACE = "no place within that range is well recorded and clear of what was recorded"
BACK = "the back of the cavity"


def percent(chance: float) -> str:
    """A chance in words that claim no more than the figure does."""
    if chance < 0.01:
        return "less than 1 %" if chance > 0 else "next to 0 %"
    return "more than 99 %" if chance > 0.99 else f"about {100 * chance:.0f} %"


def _named(names: list[tuple[str, float]]) -> str:
    return "; ".join(f"{name} ({percent(chance)})" for name, chance in names)


def hit(names: list[tuple[str, float]], doubt_text: str) -> str:
    """Something recorded lies on the path."""
    return f"Hit expected: {_named(names)}." + (f" Doubtful: {doubt_text}." if doubt_text else "")


def close(names: list[tuple[str, float]], doubt_text: str) -> str:
    """Something recorded lies so near that its error reaches the path."""
    end = " Move the hole, or open the wall and look."
    return (
        f"Too close to call: {_named(names)} may lie on the path."
        + (f" Doubtful: {doubt_text}." if doubt_text else "")
        + end
    )


def unknown(reason: str, guessed: list[tuple[str, float]]) -> str:
    """Why a place is not recorded: its pictures, and runs whose way on from their last mark nobody marked."""
    return wording.why_unknown(reason, [f"{name} ({percent(chance)})" for name, chance in guessed])


def passed(name: str, chance: float, gap_m: float, sigma_m: float, direction: str, doubt_text: str, unit: str) -> str:
    """How a thing lies to the path."""
    where = "on the path" if gap_m <= 0 else f"{length(gap_m, unit, sigma_m)} {direction}"
    return f"{name}: {where} {error(sigma_m, unit)}, chance of touching {percent(chance)}" + (
        f"; {doubt_text}" if doubt_text else ""
    )


def way(direction: str, name: str, gap_m: float, error_95_m: float, unit: str) -> str:
    """The nearest thing in one direction, less its error."""
    left = gap_m - error_95_m
    rest = f"{length(left, unit, error_95_m / COVER_95)} after error" if left > 0 else "within its error"
    return f"{direction}: {name}, {length(max(gap_m, 0.0), unit, error_95_m / COVER_95)} away, {rest}"


def stopped(stop: str) -> str:
    """No screw is named where a specialist has to be asked first."""
    return f"no screw length is named here: {stop[:1].lower()}{stop[1:]}"


def plate(name: str) -> str:
    """The path goes into a plate."""
    return f"{name}: the bit goes into it"


def stud_met(name: str, chance: float, meets: float) -> str:
    """The path goes into a stud (a joist), or along its edge."""
    if chance >= 0.95:
        return f"{name}: the whole bit goes into it"
    if meets > 0.5:
        return f"{name}: {percent(chance)} that the whole bit goes into it; it may run out at the edge"
    return f"{name} edge: {percent(meets)} that the bit meets it"


def far_room(title: str, room: str, offset_m: float, height_m: float, unit: str) -> str:
    """What is on the other side of a partition."""
    place = f"{length(offset_m, unit)} from its left end, {length(height_m, unit)} up"
    return f"on the other side is {title} of {room}: {place}"


def outside(exterior: bool, open_behind: bool, sheathing_m: float | None, unit: str) -> str:
    """What is behind the cavity where no other face is on record."""
    behind = "the outside of the building" if exterior else "a space that is not on record"
    layer = f"behind {length(sheathing_m, unit)} of sheathing" if sheathing_m else "behind the studs"
    return f"{layer} is {behind}" + (" (this wall was open behind when it was recorded)" if open_behind else "")


def screw(longest_m: float | None, limit: str, from_face: str, unit: str) -> str:
    """The longest usual screw."""
    if longest_m is None:
        return f"no usual screw stays 1/4 in short of {limit} after error"
    text = f"the longest usual screw from the {from_face} is {length(longest_m, unit)}"
    return f"{text}; the next longer one comes within 1/4 in of {limit} after error" if limit else text


def came_out(wall_m: float, text: str, unit: str) -> str:
    """The bit is longer than the wall is thick."""
    return f"The bit comes out: the wall is {length(wall_m, unit)} thick here; {text}."


def from_face(depth_from: str, sheathing_m: float | None = None, kind: str = "wall") -> str:
    """Which face a depth is counted from."""
    if depth_from == "outside":
        layer, framing, _ = _LAYERS[kind]
        return f"outer face of the {layer}" if sheathing_m else f"outer edge of the {framing}"
    return "finished face" if depth_from == "finished" else "stud face"


def drill_asked(title, offset_m, height_m, bit_m, depth_m, face_named, unit) -> str:
    """The hole in words."""
    return (
        f"{title}: a {length(bit_m, unit)} bit {length(offset_m, unit)} from the left end, "
        f"{length(height_m, unit)} up, {length(depth_m, unit)} deep from the {face_named}."
    )


# The other side of the framing: (its layer, the framing, what else lies there in front of that layer).
_LAYERS = {
    "wall": ("sheathing", "studs", "siding lies in front of that and is not counted"),
    "ceiling": ("boards above", "joists", "insulation and flooring lie in front of that and are not counted"),
    "floor": ("boards below", "joists", "whatever is fixed under them is not counted"),
}


def from_outside(sheathing_m: float | None, unit: str, kind: str = "wall") -> str:
    """Which face depths are counted from on the other side, and what is taken for granted."""
    layer, framing, front = _LAYERS[kind]
    if sheathing_m:
        return f"depths from the outer face of the {layer}, {length(sheathing_m, unit)} behind the {framing}; {front}"
    return (
        f"the thickness of the {layer} is not on record: depths are from the outer edge of the {framing}, as if there "
        f"were none; {layer} not counted; {front}"
    )


def seen_from_inside(title: str, offset_m: float, unit: str, kind: str = "wall") -> str:
    """The same place from the room, and which end is meant on the other side."""
    place = f"From inside this is {title}, {length(offset_m, unit)} from its left end."
    if kind == "wall":
        return (
            f"{place} Outside, the left end is where the inside corner of the room lies, not the outer corner: "
            "measure from an opening."
        )
    return f"{place} From here the left end is the right one of the room: check it by what goes through."


def rule(depth_m: float, face_named: str, unit: str) -> str:
    """The electrical rule on distance from the stud edge, as arithmetic; local rules decide."""
    return (
        f"NFPA 70 300.4 (2020; check local adoption): cable nearer than {length(depth_m, unit)} from the "
        f"{face_named} must be behind a steel plate. Cable deeper than that may have no plate."
    )


def shift(right_m: float, up_m: float, clearance_m: float, studs: int, unit: str) -> str:
    """How to move a pattern."""
    moves = [f"{length(abs(value), unit)} {ways[value < 0]}" for value, ways in (
        (right_m, ("to the right", "to the left")), (up_m, ("up", "down"))) if abs(value) > 1e-9]  # fmt: skip
    move = " and ".join(moves) if moves else "not at all"
    wood = f", {studs} hole{'s' if studs != 1 else ''} in studs" if studs else ""
    return f"best within the allowed range: move {move}; least clearance after error {length(clearance_m, unit)}{wood}"


def instead(offset_m: float, height_m: float, away_m: float, clearance_m: float, unit: str) -> str:
    """A place to use instead."""
    place_text = f"{length(offset_m, unit)} from the left end, {length(height_m, unit)} up"
    return f"{place_text} ({length(away_m, unit)} away): {length(clearance_m, unit)} after error from all recorded"


FIXING_NOTE = "Prove the wood with a thin nail or bit before a load hangs on it: studs wander, and are not plumb."


def stud_to_fix(name: str, center_m: float, sigma_m: float, width_m: float, nominal: bool, beside, unit: str) -> str:
    """One stud or joist to fix to."""
    how = f"; where a {name} should stand by the layout, not measured" if nominal else ""
    near = f"; recorded beside it at this height: {', '.join(beside)}" if beside else ""
    place = f"centre {length(center_m, unit, sigma_m)} from the left end ({error(sigma_m, unit)})"
    return f"{name}, {place}, {length(width_m, unit)} wide{how}{near}"


def blocking_extent(name: str, edges_m, sigmas_m, known: bool, doubt_text: str, unit: str) -> str:
    """Blocking from edge to edge."""
    left, right, bottom, top = edges_m
    across, up = sigmas_m
    wide = f"{length(left, unit, across)} to {length(right, unit, across)} from the left end ({error(across, unit)})"
    high = f"{length(bottom, unit, up)} to {length(top, unit, up)} up ({error(up, unit)})"
    size = "" if known else "; its size was not noted: the usual one is taken"
    return f"{name}: {wide}, {high}{size}" + (f"; {doubt_text}" if doubt_text else "")

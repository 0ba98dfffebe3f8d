"""The sentences about holes: what one meets, passes and comes out of, and how to move it."""

from __future__ import annotations

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


def passed(name: str, chance: float, gap_m: float, sigma_m: float, direction: str, unit: str) -> str:
    """How a thing lies to the path."""
    where = "on the path" if gap_m <= 0 else f"{length(gap_m, unit, sigma_m)} {direction}"
    return f"{name}: {where} {error(sigma_m, unit)}, chance of touching {percent(chance)}"


def way(direction: str, name: str, gap_m: float, error_95_m: float, unit: str) -> str:
    """The nearest thing in one direction, less its error."""
    left = gap_m - error_95_m
    rest = f"{length(left, unit, error_95_m / COVER_95)} after error" if left > 0 else "within its error"
    return f"{direction}: {name}, {length(max(gap_m, 0.0), unit, error_95_m / COVER_95)} away, {rest}"


def plate(name: str) -> str:
    """The path goes into a plate."""
    return f"{name}: the bit goes into it"


def stud_met(chance: float, meets: float) -> str:
    """The path goes into a stud, or along its edge."""
    if chance >= 0.95:
        return "stud: the whole bit goes into it"
    if meets > 0.5:
        return f"stud: {percent(chance)} that the whole bit goes into it; it may run out at the edge"
    return f"stud edge: {percent(meets)} that the bit meets it"


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


def from_face(depth_from: str, sheathing_m: float | None = None) -> str:
    """Which face a depth is counted from."""
    if depth_from == "outside":
        return "outer face of the sheathing" if sheathing_m else "outer edge of the studs"
    return "finished face" if depth_from == "finished" else "stud face"


def drill_asked(title, offset_m, height_m, bit_m, depth_m, face_named, unit) -> str:
    """The hole in words."""
    return (
        f"{title}: a {length(bit_m, unit)} bit {length(offset_m, unit)} from the left end, "
        f"{length(height_m, unit)} up, {length(depth_m, unit)} deep from the {face_named}."
    )


def from_outside(sheathing_m: float | None, unit: str) -> str:
    """Which face depths are counted from outside, and what is taken for granted."""
    if sheathing_m:
        return (
            f"depths from the outer face of the sheathing, {length(sheathing_m, unit)} behind the studs; "
            "siding lies in front of that and is not counted"
        )
    return (
        "the sheathing's thickness is not on record: depths are from the outer edge of the studs, as if there were "
        "none; sheathing and siding lie in front of that and are not counted"
    )


def seen_from_inside(title: str, offset_m: float, unit: str) -> str:
    """The same place from the room, and which end outside is meant."""
    return (
        f"From inside this is {title}, {length(offset_m, unit)} from its left end. Outside, the left end is where the "
        "inside corner of the room lies, not the outer corner: measure from an opening."
    )


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

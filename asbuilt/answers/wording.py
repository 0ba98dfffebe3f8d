"""Every sentence an answer may show, in one place: plain, short, never a promise.

An answer says what the record shows, how well, and since when. It never says that a place
is free of anything, and "not recorded" never reads like "nothing recorded here".
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from asbuilt.units import format_error, format_length

COVER_95 = 1.96

# The four outcomes of a question about a drill path.
HIT = "hit expected"
CLOSE = "too close to call"
NOTHING = "nothing recorded here"
UNKNOWN = "not recorded"
RECORDED = "recorded here"
PARTLY = "nothing recorded in the part that pictures show; the rest not recorded"

COVER = {0: UNKNOWN, 1: "seen but poor", 2: "well recorded"}
NO_COVERAGE = "coverage was not worked out yet: run asbuilt coverage"
NO_PICTURE = "no placed picture shows it"

CAUTIONS = (
    "Switch off every circuit named here at its breaker, and tape or lock it off. A label can be wrong.",
    "Prove dead with a contact tester: try it on a live point, test here, try it on the live point again.",
    "Drill shallow first, with a depth stop or tape on the bit, and look before going deeper.",
    "Stop at once on metal: it may be a nail plate, a box or a pipe.",
    "This is a record to look with, not leave to drill. Local rules and licensed trades come first.",
)
WATER = "Know where the water is shut off before starting."
GAS = "Gas is recorded here: stop and ask a licensed gas fitter."
SPECIALIST = "Stop and ask a specialist: {kinds} recorded here must not be drilled on the word of a record."
NO_CIRCUIT_KNOWN = "A live thing here has no circuit on record: switch off the main."

STRAIGHT_BETWEEN = "straight between the places where it was seen; between them it may stray"
COURSE_UNSEEN = "its course here was not seen: drawn along the framing between the places where it was seen"
GOES_ON = "it goes on past the last place where it was seen; this course is a guess"
USUAL_DEPTH = "depth not measured: the usual depth of its kind"
PROPOSED = "found by the program, not confirmed by a person"
FAR_SIDE = "belongs to the other face of this wall ({title})"
PREDICTED = "worked out from where the camera stood; it may be hidden in this picture"
SIGHTED = "marked in this picture"

NO_COVERING = "no covering on record: depths are from the stud face"


@lru_cache(maxsize=4096)
def length(value_m: float, unit: str, sigma_m: float | None = None) -> str:
    """A length in the record's unit."""
    return format_length(value_m, unit, sigma_m)


@lru_cache(maxsize=4096)
def error(sigma_m: float, unit: str) -> str:
    """An error at 95 %."""
    return format_error(sigma_m, unit)


def covering(thickness_m: float, unit: str) -> str:
    """Which face depths are counted from."""
    if thickness_m <= 0:
        return NO_COVERING
    return f"depths from the finished face, {length(thickness_m, unit)} in front of the studs"


def quoted(label: str) -> str:
    """A label as a person gave it."""
    return f"\N{LEFT DOUBLE QUOTATION MARK}{label}\N{RIGHT DOUBLE QUOTATION MARK}"


def thing_name(kind: str, label: str) -> str:
    """What a thing is called: its kind and its label."""
    return f"{kind} {quoted(label)}" if label else kind


def circuit_name(number: str, name: str, amps: float | None, volts: float | None) -> str:
    """A circuit as the panel shows it."""
    rating = ", ".join(f"{value:g} {sign}" for value, sign in ((amps, "A"), (volts, "V")) if value)
    return f"circuit {number} {name}" + (f" ({rating})" if rating else "")


def breaker(number: str, panel: str) -> str:
    """What to switch off."""
    spaces = number.replace("+", " and ")
    return f"breaker {spaces}" + (f" in {panel}" if panel else "")


def poor_reason(
    *, obliquity_deg: float | None, blurred: bool, dark: bool, px_per_inch: float | None, single: bool,
    error: str | None = None,
) -> str:  # fmt: skip
    """Why a place is seen but poor; None and False leave a reason out."""
    parts = []
    if obliquity_deg is not None:
        parts.append(f"only seen at {obliquity_deg:.0f} degrees")
    if px_per_inch is not None:
        parts.append(f"only seen from afar ({px_per_inch:.0f} px per inch)")
    parts += [word for word, is_so in (("blurred", blurred), ("dark", dark)) if is_so]
    if single:
        parts.append("in one picture only")
    if error is not None and not parts:  # what makes it so is named already, if anything is
        parts.append(f"placed only to {error} (tape a mark or a sheet there)")
    return " and ".join(parts) if parts else "seen, but not well everywhere"


def partly(share: float, missing: str, poor: str) -> str:
    """Why a place is to be photographed again of which a share is missing and the rest poor."""
    if share < 0.05:
        return f"{poor}; a little of it: {missing}"
    return f"{missing}; the rest: {poor}" if share > 0.5 else f"{poor}; {100 * share:.0f} % of it: {missing}"


def stretch_of_height(bottom_m: float, top_m: float, face_height_m: float, unit: str, flat: bool = False) -> str:
    """Part of a bay in words: floor to top, above, below or between heights; ``flat``: of a ceiling or floor."""
    low, high = bottom_m < 0.15, top_m > face_height_m - 0.15
    bottom, top = length(bottom_m, unit, 0.025), length(top_m, unit, 0.025)
    if low and high:
        return "from edge to edge" if flat else "floor to top"
    if high:
        return f"beyond {bottom} across" if flat else f"above {bottom}"
    if low:
        return f"up to {top} across" if flat else f"below {top}"
    return f"{bottom} to {top} {'across' if flat else 'up'}"


def shortfall(found, face, unit: str) -> str:
    """One line of the before-cover-up list."""
    span = f"{length(found.left_m, unit, 0.025)} to {length(found.right_m, unit, 0.025)}"
    bays = f"bay {found.bay}" if found.bay == found.last_bay else f"bays {found.bay} to {found.last_bay}"
    where = span if found.bay is None else f"{bays} ({span})"
    if found.bay is None and found.right_m - found.left_m > 0.95 * face.length_m:
        where = "the whole face" if found.top_m - found.bottom_m > 0.95 * face.height_m else "all along"
    stretch = stretch_of_height(found.bottom_m, found.top_m, face.height_m, unit, face.kind != "wall")
    return f"{where} {stretch}: {found.reason}"


def go_or_not(title: str, count: int) -> str:
    """The single go or not yet for a face."""
    if count == 0:
        return f"{title}: go, every bay is well recorded"
    return f"{title}: not yet, {count} place{'s' if count > 1 else ''} to photograph again"


def no_circuit(item, title: str) -> str:
    """A box nobody gave a circuit."""
    return f"{title}: {thing_name(item.kind, item.label)} has no circuit"


def no_end(item, title: str) -> str:
    """A run whose end was not seen."""
    return f"{title}: {thing_name(item.kind, item.label)} ends at no box and no plate"


def no_item(circuit) -> str:
    """A circuit of which nothing was marked."""
    return f"circuit {circuit.number} {circuit.name}: nothing of it was marked on any face"


def recorded_here(state: str, reason: str) -> str:
    """Things are recorded; whether that is all depends on the coverage."""
    if state == COVER[2]:
        return "Recorded here: see the list. There may be things that nobody marked."
    return f"Recorded here: see the list. It is not complete: part of this place is {state} ({reason})."


def nothing_recorded(first_date: str, last_date: str) -> str:
    """Covered by pictures before cover-up, and nothing was marked."""
    when = first_date if first_date == last_date else f"{first_date} to {last_date}"
    return (
        f"Nothing recorded here: pictures taken {when or 'before cover-up'} show this place and nothing was "
        "marked in it. That does not prove it empty."
    )


def partly_recorded(share: float, reason: str) -> str:
    """Nothing was marked in what the pictures show, but they do not show all of it."""
    return (
        f"Nothing recorded in the {100 * share:.0f} % of this place that pictures show well; the rest is not "
        f"recorded: {reason}. What is behind that part is unknown."
    )


def not_recorded(reason: str) -> str:
    """No picture covers it, or the record is out of date."""
    return f"Not recorded: {reason}. What is behind here is unknown."


def why_unknown(reason: str, guessed: Sequence[str]) -> str:
    """A reason of its pictures, and the runs whose way on from their last mark nobody marked."""
    names = " and ".join(guessed)
    runs = f"{names} may come through here: past the last mark the way was not marked" if guessed else ""
    return "; ".join(filter(None, (reason, runs)))


def doubt(kind: str, date: str) -> str:
    """An event after the pictures makes the record doubtful."""
    return f"the wall was {kind} on {date}, after the pictures were taken"


def thing_doubt(kind: str, date: str, seen_on: str) -> str:
    """An event after a thing was last seen makes its place doubtful."""
    seen = f"last seen {seen_on}" if seen_on else "when it was seen is not on record"
    return f"doubtful: {seen}, and the wall was {kind} on {date}"


def older(days: int) -> str:
    """The age of the record in words."""
    if days < 60:
        return f"{days} days old"
    if days < 730:
        return f"{days // 30} months old"
    return f"{days // 365} years old"


def gap(bottom_m: float, top_m: float, face_height_m: float, state: str, reason: str, unit: str) -> str:
    """A part of a bay that is not well recorded."""
    return f"{stretch_of_height(bottom_m, top_m, face_height_m, unit)}: {state} ({reason})"


def from_landmark(name: str, distance_m: float, sigma_m: float, unit: str) -> str:
    """How to reach a place from a landmark."""
    side = "right" if distance_m >= 0 else "left"
    return f"{length(abs(distance_m), unit, sigma_m)} to the {side} of {name} ({error(sigma_m, unit)})"


def cross_check(one: str, two: str, distance_m: float, sigma_m: float, unit: str) -> str:
    """A measure that tells whether this is the wall that is meant."""
    measure = f"{length(distance_m, unit, sigma_m)} ({error(sigma_m, unit)})"
    return f"Check: from {one} to {two} it must be {measure}; if not, this is not the place."


def asked(title: str, room: str, offset_m: float, height_m: float | None, within_m: float, unit: str) -> str:
    """The question in words."""
    up = "floor to top" if height_m is None else f"{length(height_m, unit)} up"
    return f"{title}, {room}: {length(offset_m, unit)} from the left end, {up}, within {length(within_m, unit)}."


def record_line(covering_text: str, recorded_on: str, age: str, covered_on: str) -> str:
    """Since when, and which face depths are counted from."""
    since = f"recorded {recorded_on} ({age})" if recorded_on else "no dated picture shows it"
    closed = f", covered {covered_on}" if covered_on else ""
    return f"{covering_text[:1].upper()}{covering_text[1:]}; {since}{closed}."


def place(thing, unit: str) -> str:
    """Where a thing lies, in the measures that matter for it."""
    sigma_x, sigma_z = thing.offset_error_95_m / COVER_95, thing.height_error_95_m / COVER_95
    across = f"{length(thing.offset_m, unit, sigma_x)} from the left end {error(sigma_x, unit)}"
    up = f"{length(thing.height_m, unit, sigma_z)} up {error(sigma_z, unit)}"
    if thing.direction == "upright":
        span = f"{length(thing.bottom_m, unit, sigma_z)} to {length(thing.top_m, unit, sigma_z)} up"
        return f"upright at {across}, {span}"
    if thing.direction == "level":
        span = f"{length(thing.left_m, unit, sigma_x)} to {length(thing.right_m, unit, sigma_x)} from the left end"
        return f"level at {up}, {span}"
    return f"{thing.direction or 'middle'} at {across}, {up}"


def depth(depth_m: float, covering_m: float, sigma_m: float, unit: str, named: str = "") -> str:
    """How deep a thing lies, always saying from which face."""
    from_face = depth_m + covering_m
    face = named or ("finished face" if covering_m > 0 else "stud face")
    if from_face < 0:
        return f"front stands {length(-from_face, unit, sigma_m)} proud of the {face} {error(sigma_m, unit)}"
    return f"{length(from_face, unit, sigma_m)} deep from the {face} {error(sigma_m, unit)}"


def measured(method: str, picture_count: int, seen_on: str) -> str:
    """How a thing was measured; a tape needs no picture."""
    pictures = f" from {picture_count} picture{'' if picture_count == 1 else 's'}" if picture_count else ""
    when = f", seen {seen_on}" if seen_on else ""
    return f"{method}{pictures}{when}"


def expect(where: str) -> str:
    """Where cable is to be expected; outside such places it may run too."""
    return f"expect cable here: {where}"


def not_located(item) -> str:
    """An item of which no place was measured."""
    face = f" on {item.face_id}" if item.face_id else ""
    return f"{thing_name(item.kind, item.label)}{face}: noted, but its place was not measured"


def run_end(offset_m: float, height_m: float, goes: str, is_open: bool, unit: str) -> str:
    """An end of a run in words."""
    place_text = f"{length(offset_m, unit)} from the left end, {length(height_m, unit)} up"
    to = f"; goes to {goes}" if goes else ""
    return f"last seen at {place_text}{to}" + ("; its course from there was not seen" if is_open else "")


def pole_mark(offset_m: float, sigma_m: float, name: str, height_m: float | None, status: str, unit: str) -> str:
    """One mark of a story pole."""
    up = f", {length(height_m, unit)} up" if height_m is not None else ""
    guess = f" ({status})" if status not in ("", "seen") else ""
    return f"{length(offset_m, unit, sigma_m)}  {error(sigma_m, unit)}  {name}{up}{guess}"


def pole_gap(left_m: float, right_m: float, state: str, unit: str) -> str:
    """A stretch of a story pole that tells nothing."""
    return f"{length(left_m, unit, 0.025)} to {length(right_m, unit, 0.025)}: {state}; things may be there"

"""What to call a sheet that was left out: taped wrong, swapped, moved, printed at another size."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from asbuilt.record import Marker
from asbuilt.steps.place_setup import Site, is_taped
from asbuilt.units import format_feet_inches, format_inches

SCALE_OFF = 0.020  # a printer that scales is off by more; blur and the lens look like less
SLIP_M = 0.025  # a slip of the tape is an inch or more
SAME_PLACE_M = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Blunder:
    """One reference that was left out and why; ``kind`` is tape, swapped, moved or print scale."""

    kind: str
    references: tuple[str, ...]
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """Where a sheet really is according to the pictures: face index, corners on it, its size ratio."""

    face_idx: int
    center_m: np.ndarray
    scale: float


def named(problem, site: Site, found: dict[int, dict[int, Measured]], swapped) -> list[Blunder]:
    """A blunder for each sheet left out, with its likely cause; swapped pairs together."""
    blunders = [_swapped(site, *pair) for pair in swapped]
    done = {k for pair in swapped for k in pair}
    taped = {k: (site.face_idx[m.face_id], m) for k, m in enumerate(site.markers) if is_taped(m)}
    for marker, by_group in found.items():
        if marker in done:
            continue
        partner = _swap_partner(marker, by_group, found, taped, done)
        if partner is not None:
            done |= {marker, partner}
            blunders.append(_swapped(site, marker, partner))
            continue
        done.add(marker)
        whole = marker not in set(problem.corners.thing_idx.tolist())
        blunders.append(_cause(site, site.markers[marker], by_group, whole))
    return blunders


def _swapped(site: Site, marker: int, partner: int) -> Blunder:
    a, b = site.markers[marker].id, site.markers[partner].id
    text = f"marker sheets {a} and {b} look swapped: each hangs where the other was taped; both are left out"
    return Blunder(kind="swapped", references=(f"marker {a}", f"marker {b}"), text=text)


def _swap_partner(marker, by_group, found, taped, done) -> int | None:
    for other in found:
        if (
            other != marker
            and other not in done
            and _hangs_at(by_group, other, taped)
            and _hangs_at(found[other], marker, taped)
        ):
            return other
    return None


def _hangs_at(by_group: dict[int, Measured], other: int, taped) -> bool:
    if other not in taped:
        return False
    face_idx, marker = taped[other]
    return any(
        m.face_idx == face_idx
        and abs(m.center_m[0] - marker.offset_m) < SAME_PLACE_M
        and abs(m.center_m[2] - marker.height_m) < SAME_PLACE_M
        for m in by_group.values()
    )


def _cause(site: Site, marker: Marker, by_group: dict[int, Measured], whole: bool) -> Blunder:
    name = f"marker {marker.id}"
    if not by_group:
        return Blunder(
            kind="unclear",
            references=(name,),
            text=f"{name} disagrees with everything else and is left out; tape it again",
        )
    seen = next(iter(by_group.values()))
    if not whole:
        text = f"{name} was moved between clips: in one it hangs at {_place(site, seen)} and is not used there"
        return Blunder(kind="moved", references=(name,), text=text)
    if abs(seen.scale - 1) > SCALE_OFF and near(site, marker, seen):
        text = f"{name} is printed at {100 * seen.scale:.0f} % of true size and is left out; print it without scaling"
        return Blunder(kind="print scale", references=(name,), text=text)
    centers = [m.center_m for m in by_group.values()]
    if len(centers) > 1 and np.ptp(np.array(centers), axis=0).max() > SAME_PLACE_M:
        text = f"{name} was moved between clips and is left out; tape where it hangs now, as a new sheet"
        return Blunder(kind="moved", references=(name,), text=text)
    return Blunder(kind="tape", references=(name,), text=_taped_wrong(site, marker, seen))


def near(site: Site, marker: Marker, seen: Measured) -> bool:
    if not is_taped(marker) or site.face_idx[marker.face_id] != seen.face_idx:
        return False
    return float(np.hypot(seen.center_m[0] - marker.offset_m, seen.center_m[2] - marker.height_m)) < SLIP_M


def _taped_wrong(site: Site, marker: Marker, seen: Measured) -> str:
    taped = f"{format_feet_inches(marker.offset_m)}, {format_feet_inches(marker.height_m)} up on {marker.face_id}"
    text = f"marker {marker.id} is left out: taped at {taped}, but the pictures have it at {_place(site, seen)}"
    if site.face_idx[marker.face_id] == seen.face_idx:
        parts = []
        for axis, word, value in ((0, "offset", marker.offset_m), (2, "height", marker.height_m)):
            off_m = float(seen.center_m[axis] - value)
            if abs(off_m) > 0.02:
                parts.append(f"{word} {format_inches(abs(off_m), 2)} too {'small' if off_m > 0 else 'large'}")
        text += f" ({', '.join(parts)})" if parts else ""
    return text + "; tape it again"


def _place(site: Site, seen: Measured) -> str:
    face = site.faces[seen.face_idx]
    return f"{format_feet_inches(seen.center_m[0], 2)}, {format_feet_inches(seen.center_m[2], 2)} up on {face.id}"

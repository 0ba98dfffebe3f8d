"""Rules on distances between things: receptacles along the walls, low voltage from power."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from asbuilt.answers.checks.rule import (
    CANNOT_TELL,
    CODE,
    DOES_NOT,
    MEETS,
    Figure,
    Figures,
    Finding,
    Rule,
    at_least,
    at_most,
    worst,
)
from asbuilt.answers.checks.site import FaceRun, Site, finding
from asbuilt.record import Item

DOOR_SILL_M = 0.10  # an opening whose lower edge is below this breaks the floor line (common practice, no source)
STEP_M = 0.0254  # runs are compared inch by inch
RECEPTACLE_WORDS = ("receptacle", "outlet", "socket")


@dataclass(frozen=True, slots=True, kw_only=True)
class Space:
    """A wall space: an unbroken stretch of a room's floor line, round its corners [m]."""

    room_id: str
    left_m: float
    right_m: float
    is_loop: bool = False  # a room without a door: the line meets itself


def is_receptacle(site: Site, box: Item) -> bool | None:
    """Whether a box is for a receptacle: by its devices, else by its label; None if neither says."""
    devices = site.wiring.devices.get(box.id)
    if devices:
        return any(word in d.kind.lower() for d in devices for word in RECEPTACLE_WORDS)
    if any(word in box.label.lower() for word in RECEPTACLE_WORDS):
        return True
    return None if not box.label else False


def receptacle_spacing(site: Site, figures: Figures) -> Iterator[Finding]:
    """How far any point of a floor line is from a receptacle, room by room."""
    for room_id, face_ids in site.view.walls_of_rooms.items():
        starts, total_m = {}, 0.0
        for face_id in face_ids:
            starts[face_id] = total_m
            total_m += site.view.faces[face_id].length_m
        sure, perhaps = _receptacles(site, starts, figures["highest"])
        for space in _spaces(site, room_id, starts, total_m):
            if space.right_m - space.left_m >= figures["narrowest"] - 1e-9:
                yield _space_finding(site, space, starts, sure, perhaps, figures)


def _receptacles(site: Site, starts: dict[str, float], highest_m: float) -> tuple[list, list]:
    """(place along the floor line, sigma) of boxes that are receptacles, and of those that may be."""
    sure, perhaps = [], []
    for face_id, start_m in starts.items():
        for box, spot in site.on_face(face_id, "device box"):
            if spot.point_m[1] <= highest_m and (so := is_receptacle(site, box)) is not False:
                (sure if so else perhaps).append((start_m + float(spot.point_m[0]), float(spot.sigma_m[0])))
    return sorted(sure), sorted(perhaps)


def _spaces(site: Site, room_id: str, starts: dict[str, float], total_m: float) -> Iterator[Space]:
    doors = sorted(
        (start_m + o.left_m, start_m + o.right_m)
        for face_id, start_m in starts.items()
        for o in site.view.face(face_id).openings
        if o.bottom_m < DOOR_SILL_M
    )
    closed = site.view.face(next(iter(starts))).room.closed if starts else False
    if not doors:
        yield Space(room_id=room_id, left_m=0.0, right_m=total_m, is_loop=closed)
        return
    edges = [right for _, right in doors]
    nexts = [left for left, _ in doors[1:]]
    for left_m, right_m in zip(edges, nexts, strict=False):
        yield Space(room_id=room_id, left_m=left_m, right_m=right_m)
    if closed:  # the last space goes on round the first corner
        yield Space(room_id=room_id, left_m=edges[-1], right_m=total_m + doors[0][0])
    else:
        yield Space(room_id=room_id, left_m=edges[-1], right_m=total_m)
        yield Space(room_id=room_id, left_m=0.0, right_m=doors[0][0])


def _space_finding(site: Site, space: Space, starts: dict[str, float], sure, perhaps, figures: Figures) -> Finding:
    total_m = sum(site.view.faces[f].length_m for f in starts)
    gaps = _gaps(space, sure, total_m, figures)
    if gaps is None:
        worst_gap, result = (space.right_m - space.left_m, 0.0, (space.left_m + space.right_m) / 2, ""), DOES_NOT
        text = f"no receptacle in {site.length(space.right_m - space.left_m)} of wall"
    else:
        result = worst(at_most(g, s, most) for g, s, most, _, _ in gaps)
        gap_m, sigma_m, most_m, at_m, words = max(gaps, key=lambda g: g[0] - g[2])
        worst_gap = (gap_m, sigma_m, at_m, words)
        text = f"{site.measure(gap_m, sigma_m)} {words}, figure {site.length(most_m)}"
    if result != MEETS and perhaps:
        more = _gaps(space, sorted(sure + perhaps), total_m, figures)
        if more is not None and worst(at_most(g, s, most) for g, s, most, _, _ in more) != DOES_NOT:
            result, text = CANNOT_TELL, f"{text}; boxes whose purpose is not on record may be receptacles"
    face_id, offset_m = _on_face(starts, worst_gap[2] % total_m)
    room = site.view.face(face_id).room
    return finding(
        "receptacle-spacing", result,
        {"subject_id": f"{space.room_id}@{space.left_m:.2f}", "subject": f"{room.name}, wall space", "face_id": face_id,
         "offset_m": offset_m, "height_m": 0.0}, text,
    )  # fmt: skip


Gap = tuple[float, float, float, float, str]


def _gaps(space: Space, places, total_m: float, figures: Figures) -> list[Gap] | None:
    """(gap, sigma, figure, middle, words) along a space, or None where there is no receptacle."""
    turns = (0.0, total_m)
    inside = sorted((p + t, s) for p, s in places for t in turns if space.left_m <= p + t <= space.right_m)
    if not inside:
        return None
    between, end = figures["most_between"], figures["most_from_end"]
    gaps = [
        (b[0] - a[0], math.hypot(a[1], b[1]), between, (a[0] + b[0]) / 2, "between receptacles")
        for a, b in zip(inside, inside[1:], strict=False)
    ]
    (first, s1), (last, s2) = inside[0], inside[-1]
    if space.is_loop:
        gap_m = first + (space.right_m - space.left_m) - last
        return [*gaps, (gap_m, math.hypot(s1, s2), between, last + gap_m / 2, "between receptacles")]
    return [
        (first - space.left_m, s1, end, space.left_m, "from the end of the wall space"), *gaps,
        (space.right_m - last, s2, end, space.right_m, "from the end of the wall space"),
    ]  # fmt: skip


def _on_face(starts: dict[str, float], along_m: float) -> tuple[str, float]:
    face_id = [f for f, start_m in starts.items() if start_m <= along_m][-1]
    return face_id, along_m - starts[face_id]


def low_voltage_apart(site: Site, figures: Figures) -> Iterator[Finding]:
    """How near low-voltage cables come to power cables on the same face."""
    for run in site.runs:
        if run.item.kind != "low voltage cable":
            continue
        who = site.of_item(run.item.id, run.spots[0], run.face.face.id)
        power = [r for r in site.runs if r.item.kind == "cable" and r.face.face.id == run.face.face.id]
        if len(run.spots) < 2:
            yield finding("low-voltage-apart", CANNOT_TELL, who, "seen at one place only")
            continue
        if not power:
            yield finding("low-voltage-apart", MEETS, who, "no power cable on record on this face")
            continue
        gap_m, sigma_m, other = min((*_apart(run, r), r.item.label or r.item.id) for r in power)
        text = f"{site.measure(max(gap_m, 0.0), sigma_m)} from {other}, figure {site.length(figures['least'])}"
        result = at_least(gap_m, sigma_m, figures["least"])
        if result == DOES_NOT:
            text += "; power in NM cable is commonly read as excepted"
        yield finding("low-voltage-apart", result, who, text)


def _apart(one: FaceRun, other: FaceRun) -> tuple[float, float]:
    """(surface to surface, sigma) of two runs at their nearest [m]."""
    a, cov_a = _sampled(one)
    b, cov_b = _sampled(other)
    distance_m, index = cKDTree(b).query(a)
    i = int(distance_m.argmin())
    j = int(index[i])
    gap_m = float(distance_m[i]) - one.radius_m - other.radius_m
    way = (a[i] - b[j]) / max(distance_m[i], 1e-9)
    return gap_m, float(np.sqrt(max(way @ (cov_a[i] + cov_b[j]) @ way, 0)))


def _sampled(run: FaceRun) -> tuple[np.ndarray, np.ndarray]:
    """Points along a run every inch with their covariance; a single spot as it is."""
    points, covs = [run.spots[0].point_m], [run.spots[0].cov]
    for a, b in run.stretches():
        steps = max(int(np.linalg.norm(b.point_m - a.point_m) / STEP_M), 1)
        shares = (np.arange(steps) + 1) / steps
        points += [a.point_m + s * (b.point_m - a.point_m) for s in shares]
        covs += [(1 - s) * a.cov + s * b.cov for s in shares]
    return np.array(points), np.array(covs)


RULES = (
    Rule(
        id="receptacle-spacing", title="Receptacles along the walls", standing=CODE, clause="NFPA 70 210.52(A)",
        edition="2017", source="the clause as quoted on a code forum; a builders' page for the height that counts",
        compares="distances along a room's floor line with the most allowed in dwellings, or with a figure of your own",
        figures=(
            Figure(name="most_between", value=12 * 0.3048, unit="m",
                   text="between receptacles: 12 ft, as no point is more than 6 ft from one"),
            Figure(name="most_from_end", value=6 * 0.3048, unit="m", text="from the end of a wall space: 6 ft"),
            Figure(name="narrowest", value=2 * 0.3048, unit="m", text="wall spaces from 2 ft wide count"),
            Figure(name="highest", value=5.5 * 0.3048, unit="m", text="receptacles above 5-1/2 ft do not count"),
        ),
        regions=("us",), needs="dwelling", find=receptacle_spacing,
    ),
    Rule(
        id="low-voltage-apart", title="Low voltage from power", standing=CODE,
        clause="NFPA 70 800.133(A)(2), 725.136", edition="2020",
        source="a cable maker quoting the 2002 text (800.52); code forums discuss power in NM cable as excepted",
        compares="how near a low-voltage cable comes to a power cable on the same face",
        figures=(Figure(name="least", value=2 * 0.0254, unit="m", text="2 in (50 mm)"),),
        regions=("us",), find=low_voltage_apart,
    ),
)  # fmt: skip

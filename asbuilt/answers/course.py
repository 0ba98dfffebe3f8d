"""Where a run lies between and beyond the spots at which it was seen.

A run is sighted at a few spots only. Between two of them it is taken as straight where that
is nearly upright or level; otherwise cable and pipe follow the framing, up a stud and level
through bored holes, so both corners and the straight line are kept as alternatives, each with
a weight. Beyond the last sighting of a run that does not end in a box or at a plate it goes
on somewhere, and that too is kept as alternatives. Points are (offset, height, depth) [m].
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np

from asbuilt.answers.stretches import BETWEEN, BEYOND, EYE, SEEN, Leg, Spot, bends_at, rounded, stray_m
from asbuilt.record.kinds import NEAR_STUD_M

PIPE_STRAY = 0.3  # pipe is stiff and set plumb: it strays this much of what cable does
CORNER_STRAY_M = 0.025  # cable is bent round, not kinked, at a corner (common practice, no source)
# An L that misses the straight line by less than this is not told apart from it, where the line hardly leans
# (by less than LEANING of its length) and where it does.
CORNER_M, LEANING_CORNER_M, LEANING = 0.05, 0.03, 0.15
DETOUR_M = 0.15  # a run between two studs may go level this much higher or lower than it was seen
EDGE_M = 0.15  # this near the edge of a face a run has reached the plate or the corner
LEADER_M = 0.04  # a run that leads to a coil or a stub lies within some inches of upright above or below it
PROUD_M = -0.02  # a run that has come out of the wall this far stops there
PAST_END_M = 0.012  # just past the last spot where it was seen a run may turn aside (our choice, as above)
INTO_BOX_M = 0.025  # and is bent round again on its last way into a box (common practice, no source)
# A run's end this near a box of its circuit may go into that box. Within 12 in of a box cable is secured (NFPA 70
# (2020) 334.30): an end that was marked so near goes into it; one farther away may as well go on past it.
JOIN_M, SURE_JOIN_M = 0.60, 0.3048
# Never more likely than not: nobody saw it there, so no hit is expected from it alone.
GUESS_WEIGHT = 0.49
SELDOM = 0.15  # a way so much less likely than the likeliest one names no place (our choice)
# A cable marked level this little short of a stud may have been on its way to the stud's side; its middle lies there
# so far off the wood (our choice, checked on rendered rooms).
SHORT_OF_STUD_M, AT_STUD_M, BY_STUD_WEIGHT = 0.12, 0.010, 0.4
NEXT_STUDS = 3  # a level run is taken to turn at one of this many studs, or not to turn
TURN_REACH_M = 2.0  # and not farther on than this
TURN_SHARE = 0.1  # each way level right from its last mark is so much less likely than going on upright (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class Framing:
    """What of a face steers a run: its size and its studs (left edge, right edge)."""

    length_m: float
    height_m: float
    studs_m: tuple[tuple[float, float], ...] = ()

    def near_stud(self, offset_m: float) -> bool:
        """Whether a run at that offset can be fixed to the side of a stud."""
        return any(left - NEAR_STUD_M <= offset_m <= right + NEAR_STUD_M for left, right in self.studs_m)

    def apart(self, one_m: float, other_m: float) -> bool:
        """Whether two offsets lie in different bays or at different studs."""
        return sum(min(one_m, other_m) < (left + right) / 2 < max(one_m, other_m) for left, right in self.studs_m) > 0

    def at_edge(self, point_m: np.ndarray) -> bool:
        """Whether a point lies at a plate or a corner of the face."""
        x, z = point_m[0], point_m[1]
        return min(x, self.length_m - x, z, self.height_m - z) < EDGE_M


def _legs(spots: Sequence[Spot], *marks) -> list[Leg]:
    """The legs from spot to spot; marks are group, alternative, weight, status and whether seldom."""
    return [Leg(a, b, *marks) for a, b in zip(spots, spots[1:], strict=False)]


def _corner(a: Spot, b: Spot, offset_m: float, height_m: float) -> Spot:
    depth = (a.point_m[2] + b.point_m[2]) / 2
    cov = (a.cov + b.cov) / 2 + EYE * CORNER_STRAY_M**2
    return Spot(point_m=np.array([offset_m, height_m, depth]), cov=cov)


def between(a: Spot, b: Spot, framing: Framing, group: int = 0, status: str = BETWEEN) -> list[Leg]:
    """The alternatives for a run from one spot to the next."""
    (a_x, a_z, _), (b_x, b_z, _) = a.point_m.tolist(), b.point_m.tolist()
    dx, dz = b_x - a_x, b_z - a_z
    length_m = math.hypot(dx, dz)
    leans = min(abs(dx), abs(dz)) > LEANING * length_m
    straight = length_m < 1e-9 or abs(dx * dz) / length_m < (LEANING_CORNER_M if leans else CORNER_M)
    if straight and abs(dz) < abs(dx):
        return _level_between(a, b, framing, group, status)
    if straight:
        return [Leg(a, b, group, status=SEEN if status == BETWEEN else status)]
    up_first, level_first = _corner(a, b, a_x, b_z), _corner(a, b, b_x, a_z)
    a_near, b_near = framing.near_stud(a_x), framing.near_stud(b_x)
    routes, weights = [(a, up_first, b), (a, level_first, b), (a, b)], [0.40, 0.40, 0.20]
    if a_near != b_near:
        weights = [GUESS_WEIGHT, 0.31, 0.20] if a_near else [0.31, GUESS_WEIGHT, 0.20]
    elif a_near and framing.apart(a_x, b_x):
        low, high = sorted((a_z, b_z))
        routes += [_over(a, b, (low + high) / 2, (high - low) / 4), *_detours(a, b)]
        weights = [0.30, 0.30, 0.10, 0.20, 0.06, 0.04]
    return _alternatives(routes, weights, group, status)


def _level_between(a: Spot, b: Spot, framing: Framing, group: int, status: str) -> list[Leg]:
    """Two spots about level: straight across, unless both are at studs, where the run may go over or under."""
    near = framing.near_stud(a.point_m[0]) and framing.near_stud(b.point_m[0])
    if not near or not framing.apart(a.point_m[0], b.point_m[0]):
        return [Leg(a, b, group, status=SEEN if status == BETWEEN else status)]
    return _alternatives([(a, b), *_detours(a, b)], [GUESS_WEIGHT, 0.31, 0.20], group, status)


def _detours(a: Spot, b: Spot) -> list[tuple[Spot, ...]]:
    """Up one stud, level, and down the other, or the other way round, by an unknown amount."""
    low, high = sorted((a.point_m[1], b.point_m[1]))
    return [_over(a, b, high + DETOUR_M, DETOUR_M / 1.5), _over(a, b, low - DETOUR_M, DETOUR_M / 1.5)]


def _over(a: Spot, b: Spot, height_m: float, sigma_m: float) -> tuple[Spot, ...]:
    loose = np.diag([0.0, sigma_m, 0.0]) ** 2
    corners = [_corner(a, b, spot.point_m[0], height_m) for spot in (a, b)]
    return (a, *(Spot(point_m=c.point_m, cov=c.cov + loose) for c in corners), b)


def _alternatives(routes: Sequence, weights: Sequence[float], group: int, status: str) -> list[Leg]:
    return [
        leg
        for index, (route, weight) in enumerate(zip(routes, weights, strict=True))
        for leg in _legs(route, group, index, weight, status)
    ]


def leading_to(end: Spot, framing: Framing, from_above: bool) -> list[Leg]:
    """The run that must lead to a thing though nobody marked that run: upright, loosely in line with it."""
    loose = Spot(point_m=end.point_m, cov=end.cov + EYE * LEADER_M**2)
    x = end.point_m[0]
    ways = [((x, framing.height_m),)] if from_above else [((x, framing.height_m),), ((x, 0.0),)]
    return _ways(loose, ways, [1.0] * len(ways), 0, GUESS_WEIGHT * len(ways), is_pipe=True)


def beyond(end: Spot, before: Spot | None, framing: Framing, group: int, is_pipe: bool) -> list[Leg]:
    """The alternatives for a run that goes on after its last sighting."""
    x, z = end.point_m[:2]
    if before is None:
        ways = [((x, framing.height_m),), ((x, 0.0),)]
        shares = [1.0, 1.0]
        for sign in () if is_pipe else (1.0, -1.0):
            level, level_shares = _level_ways(x, z, sign, framing)
            ways += level
            shares += [max(share, 0.5) for share in level_shares]  # nothing tells which way it came
        return _ways(end, ways, shares, group, 2 * GUESS_WEIGHT, is_pipe)
    dx, dz = end.point_m[:2] - before.point_m[:2]
    if abs(dz) >= abs(dx):
        return _straight_on(end, before, framing, group, is_pipe) if is_pipe else _upright_on(end, dz, framing, group)
    ways, shares = _level_ways(x, z, 1.0 if dx > 0 else -1.0, framing)
    return _ways(end, ways, shares, group, GUESS_WEIGHT, is_pipe)


def _straight_on(end: Spot, before: Spot, framing: Framing, group: int, is_pipe: bool) -> list[Leg]:
    """On the way it came, up to the edge of the face."""
    (x, z), (dx, dz) = end.point_m[:2], end.point_m[:2] - before.point_m[:2]
    if abs(dz) >= abs(dx):
        way = (x, framing.height_m if dz > 0 else 0.0)
    else:
        way = (framing.length_m if dx > 0 else 0.0, z)
    return _ways(end, [(way,)], [1.0], group, GUESS_WEIGHT, is_pipe)


def _upright_on(end: Spot, dz: float, framing: Framing, group: int) -> list[Leg]:
    """A cable that came upright goes on so; seldom it turns level right at its last mark, to the next studs or on."""
    x, z = end.point_m[:2]
    edge_m = framing.height_m if dz > 0 else 0.0
    ways: list[tuple] = [((x, edge_m),)]
    for far_m in (0.0, framing.length_m):
        turns = _studs_ahead(x, 1.0 if far_m > 0 else -1.0, framing)
        ways += [((far_m, z),), *(((turn, z), (turn, edge_m)) for turn in turns)]
    return _ways(end, ways, [1.0, *[TURN_SHARE] * (len(ways) - 1)], group, GUESS_WEIGHT, is_pipe=False)


def _studs_ahead(x: float, sign: float, framing: Framing) -> list[float]:
    """Centres of the next studs that way, the nearest first."""
    centers = [(left + right) / 2 for left, right in framing.studs_m]
    ahead = [c for c in sorted(centers, key=lambda c: abs(c - x)) if 0 < (c - x) * sign < TURN_REACH_M]
    return ahead[:NEXT_STUDS]


def _level_ways(x: float, z: float, sign: float, framing: Framing) -> tuple[list, list]:
    """A level run goes straight on, or turns up or down at one of the next studs."""
    far = framing.length_m if sign > 0 else 0.0
    ways: list[tuple] = [((far, z),)]
    shares = [1.0]
    for turn in [x, *_studs_ahead(x, sign, framing)]:
        ways += [((turn, z), (turn, framing.height_m)), ((turn, z), (turn, 0.0))]
        shares += [0.5, 0.5]
    return ways, shares


def _ways(end: Spot, ways: Sequence, shares: Sequence[float], group: int, total: float, is_pipe: bool) -> list[Leg]:
    corner_m2 = 0.0 if is_pipe else CORNER_STRAY_M**2
    start = Spot(point_m=end.point_m, cov=end.cov + EYE * PAST_END_M**2)
    x, z, depth_m = end.point_m.tolist()
    whole, most = sum(shares), max(shares, default=0.0)
    at = [(offset_m, height_m, depth_m) for way in ways for offset_m, height_m in way]
    run_m = np.array([math.hypot(p[0] - x, p[1] - z) for p in at]) * (PIPE_STRAY if is_pipe else 1.0)
    covs = end.cov + EYE * (stray_m(run_m) ** 2 + corner_m2)[:, None, None]
    ahead = (Spot(point_m=point, cov=cov) for point, cov in zip(np.array(at), covs, strict=True))
    found: list[Leg] = []
    for index, (way, share) in enumerate(zip(ways, shares, strict=True)):
        spots = [start, *islice(ahead, len(way))]
        found += _legs(spots, group, index, total * share / whole, BEYOND, share < SELDOM * most)
    return found


def _or_by_stud(leg: Leg, before: Spot | None, after: Spot | None, framing: Framing) -> list[Leg]:
    """A straight upright leg beside a turn, or the way up a stud that the level part was marked just short of.

    Nothing holds a cable up in the middle of a bay: where a stud stands close ahead, it may turn only there.
    """
    (a_x, a_z, _), (b_x, b_z, _) = leg.a.point_m.tolist(), leg.b.point_m.tolist()
    if abs(b_z - a_z) <= abs(b_x - a_x):
        return [leg]
    ways = [leg.a.point_m - before.point_m] if before else []
    ways += [leg.b.point_m - after.point_m] if after else []
    ahead = {1.0 if way[0] > 0 else -1.0 for way in ways if abs(way[0]) > abs(way[1])}
    routes = []
    for sign in sorted(ahead):
        sides_m = [(left - AT_STUD_M if sign > 0 else right + AT_STUD_M) for left, right in framing.studs_m]
        ahead_m = [(min((s - a_x) * sign, (s - b_x) * sign), s) for s in sides_m]
        nearest = sorted(found for found in ahead_m if AT_STUD_M < found[0] < SHORT_OF_STUD_M)[:1]
        routes += [(leg.a, *(_corner(leg.a, leg.b, side_m, z) for z in (a_z, b_z)), leg.b) for _, side_m in nearest]
    if not routes:
        return [leg]
    by_stud = _alternatives(routes, [BY_STUD_WEIGHT / len(routes)] * len(routes), leg.group, BETWEEN)
    return [leg._replace(alternative=len(routes), weight=1 - BY_STUD_WEIGHT), *by_stud]


def legs_of(
    spots: Sequence[Spot],
    framing: Framing,
    joins: tuple[Spot | None, Spot | None],
    is_pipe: bool = False,
    stops: tuple[bool, bool] = (False, False),
    named: tuple[bool, bool] = (False, False),
) -> list[Leg]:
    """Every leg on which a run may lie.

    Parameters
    ----------
    spots : sequence of Spot
        The sighted vertices in order along the run; at least one.
    joins : pair of Spot or None
        The box that the first and the last end go into, if there is one.
    stops : pair of bool
        Whether the run is known to stop at its first and its last spot.
    named : pair of bool
        Whether those boxes were named as its ends, so that it goes nowhere else.
    """
    if len(spots) == 1:
        return _single(spots[0], framing, joins[0], is_pipe, stops)
    found: list[Leg] = []
    bends = [False, *map(bends_at, spots, spots[1:], spots[2:]), False]
    for n, (a, b) in enumerate(zip(spots, spots[1:], strict=False)):
        bent = [not is_pipe and at for at in bends[n : n + 2]]
        legs = rounded(between(a, b, framing, group=len(found)), *bent)
        if len(legs) == 1 and any(bent):
            before, after = (spots[n - 1] if bent[0] else None), (spots[n + 2] if bent[1] else None)
            legs = _or_by_stud(legs[0], before, after, framing)
        found += legs
    ends = ((spots[0], spots[1]), (spots[-1], spots[-2]))
    for (end, before), join, stopped, is_named in zip(ends, joins, stops, named, strict=True):
        if join is not None:
            found += _into_box(end, join, framing, len(found), is_pipe)
            if not (stopped or is_named or math.dist(end.point_m[:2], join.point_m[:2]) <= SURE_JOIN_M):
                found += _straight_on(end, before, framing, len(found), is_pipe)
        elif stopped or (is_pipe and end.point_m[2] < PROUD_M):
            continue
        elif framing.at_edge(end.point_m):
            found += _into_edge(end, framing, len(found), is_pipe)
        else:
            found += beyond(end, before, framing, len(found), is_pipe)
    return found or [Leg(spots[0], spots[-1])]


def _single(spot: Spot, framing: Framing, join: Spot | None, is_pipe: bool, stops: tuple[bool, bool]) -> list[Leg]:
    """A run seen at one spot: into its box, if it has one, and on from there, for it comes from somewhere."""
    found = [] if join is None else _into_box(spot, join, framing, 0, is_pipe)
    if not any(stops) or (join is None and not all(stops)):
        # One spot tells no direction: it may pass its box, or come to it from anywhere.
        found += beyond(spot, join if is_pipe else None, framing, len(found), is_pipe)
    return found or [Leg(spot, spot)]


def _into_box(end: Spot, join: Spot, framing: Framing, group: int, is_pipe: bool) -> list[Leg]:
    """From a run's last spot into its box: by any of its openings, and seldom straight."""
    if is_pipe:
        return between(end, join, framing, group)
    legs = between(end, Spot(point_m=join.point_m, cov=join.cov + EYE * INTO_BOX_M**2), framing, group)
    return legs if len(legs) != 1 else [legs[0]._replace(loose_m=INTO_BOX_M)]  # straight: bent in its middle


def _into_edge(end: Spot, framing: Framing, group: int, is_pipe: bool) -> list[Leg]:
    """A run that has come near a plate or a corner goes on into it."""
    x, z = end.point_m[:2]
    high, wide = framing.height_m, framing.length_m
    edges = ((high - z, (x, high)), (z, (x, 0.0)), (wide - x, (wide, z)), (x, (0.0, z)))
    ways = [(target,) for away_m, target in edges if away_m < EDGE_M]
    return _ways(end, ways, [1.0] * len(ways), group, GUESS_WEIGHT, is_pipe)

"""Join followed pieces of runs end to end, over what hid the run between them."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

REACH_M = 0.14  # over two studs nailed together, or a nail plate
HIDDEN_REACH_M = 0.40  # behind a sheet of paper
ASIDE_M = 0.03
TAIL = 4


def join(
    runs: Sequence[np.ndarray], kinds: Sequence[str], hidden: Callable[[np.ndarray, np.ndarray], bool]
) -> list[list[tuple[int, bool]]]:
    """Chains of runs that carry one another on.

    Parameters
    ----------
    runs : sequence of ndarray of shape (N, 3)
        (offset, height, depth) [m] of each run's points.
    kinds : sequence of str
        Only runs of one kind are joined; an unsure one goes with any but a drain.
    hidden : callable
        Whether something hides the straight way between two points (2,).

    Returns
    -------
    list of list of (int, bool)
        Runs in order, and whether each is to be turned round.
    """
    links = []
    for a in range(len(runs)):
        for b in range(a + 1, len(runs)):
            pair = {kinds[a], kinds[b]}
            if len(pair) > 1 and ("unsure" not in pair or "drain" in pair):
                continue
            for end_a in (0, 1):
                for end_b in (0, 1):
                    gap = _gap(runs[a], end_a, runs[b], end_b, hidden)
                    if gap is not None:
                        links.append((gap, (a, end_a), (b, end_b)))
    used, partner = set(), {}
    group = list(range(len(runs)))

    def root(k: int) -> int:
        while group[k] != k:
            k = group[k]
        return k

    for _, one, other in sorted(links):
        if one in used or other in used or root(one[0]) == root(other[0]):
            continue
        used |= {one, other}
        partner[one], partner[other] = other, one
        group[root(one[0])] = root(other[0])
    return _chains(len(runs), partner)


def _chains(count: int, partner: dict) -> list[list[tuple[int, bool]]]:
    chains, seen = [], set()
    for start in range(count):
        free = [end for end in (0, 1) if (start, end) not in partner]
        if start in seen or not free:
            continue
        chain, entry = [], (start, free[0])
        while entry is not None:
            run, end = entry
            seen.add(run)
            chain.append((run, end == 1))
            entry = partner.get((run, 1 - end))
        chains.append(chain)
    return chains


def _gap(one: np.ndarray, end_a: int, other: np.ndarray, end_b: int, hidden) -> float | None:
    """How far apart two ends are if one carries the other on, else None."""
    a, b = (one[-1] if end_a else one[0])[:2], (other[-1] if end_b else other[0])[:2]
    distance = float(np.linalg.norm(b - a))
    if distance > HIDDEN_REACH_M or (distance > REACH_M and not hidden(a, b)):
        return None
    if distance < ASIDE_M:
        return distance
    way = (b - a) / distance
    for own, end, toward in ((one, end_a, way), (other, end_b, -way)):
        tail = own[-TAIL:] if end else own[:TAIL][::-1]
        going = tail[-1, :2] - tail[0, :2]
        length = float(np.linalg.norm(going))
        if length > 0 and float(going @ toward) / length < 0.8:
            return None
    return distance

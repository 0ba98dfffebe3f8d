"""Which of many overlapping views to show at each cell of a plane, and where to cross over.

Each cell has a cost for each view. Crossing over between two cells costs by how different
the two views look there, so that seams run where both show the same: along what lies in the
plane, where parallax moves nothing. Solved by alpha expansion: one view after the other is
offered to all cells at once, and an exact minimum cut says which of them take it.

References
----------
Boykov, Veksler, Zabih (2001), doi:10.1109/34.969114; Kolmogorov, Zabih (2004),
doi:10.1109/TPAMI.2004.1262177, for the graph of a pairwise term.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import breadth_first_order, maximum_flow

NOTHING = -1
# The numbers below weigh a seam against the cost of a worse view; found by looking at pictures.
SEAM_PER_LEVEL = 0.12  # per grey level of difference at one edge between two cells
SEAM_LEVELS = 25.0  # larger differences count more than in proportion: rather cut through grain than a cable
SEAM_LEAST = 0.5  # per edge, whatever it looks like
UNSEEN_LEVELS = 60.0  # difference that counts where one of the two views shows nothing
WORST_COST_BEYOND_BEST = 5.0  # a view this much worse than the best is not offered
CAPACITY_STEPS = 256  # minimum cuts are worked out in whole numbers


class Views:
    """Small true-scale copies of many pictures of one plane, each only as large as what it shows."""

    def __init__(self, rows: int, cols: int) -> None:
        self.shape = (rows, cols)
        self._boxes: list[tuple[int, int, int, int]] = []
        self._colors: list[np.ndarray] = []
        self._offsets = [0]
        self._flat: np.ndarray | None = None

    def __len__(self) -> int:
        return len(self._boxes)

    def add(self, row: int, col: int, image: np.ndarray, valid: np.ndarray) -> None:
        """One more view: ``image`` (h, w, 3) uint8 with its top-left cell at (row, col); ``valid`` (h, w)."""
        self._boxes.append((row, col, *image.shape[:2]))
        four = np.dstack([image, np.where(valid, 255, 0).astype(np.uint8)])
        self._colors.append(four)
        self._offsets.append(self._offsets[-1] + four.shape[0] * four.shape[1])
        self._flat = None

    def box(self, number: int) -> tuple[slice, slice]:
        """Rows and columns that a view spans."""
        row, col, height, width = self._boxes[number]
        return slice(row, row + height), slice(col, col + width)

    def image(self, number: int) -> np.ndarray:
        """Colours of a view within its box, (h, w, 3) uint8."""
        return self._colors[number][..., :3]

    def valid(self, number: int) -> np.ndarray:
        """Where a view shows anything, (h, w) bool."""
        return self._colors[number][..., 3] > 0

    def at(self, labels: np.ndarray, rows: np.ndarray, cols: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Colours (..., 3) int16 of view ``labels`` at cells, and whether it shows anything there."""
        if self._flat is None:
            self._flat = np.concatenate([c.reshape(-1, 4) for c in self._colors])
            self._table = np.array(self._boxes)
        top, left, height, width = np.moveaxis(self._table[np.maximum(labels, 0)], -1, 0)
        row, col = rows - top, cols - left
        within = (labels >= 0) & (row >= 0) & (row < height) & (col >= 0) & (col < width)
        index = np.asarray(self._offsets)[np.maximum(labels, 0)] + row * width + col
        found = self._flat[np.where(within, index, 0)]
        return found[..., :3].astype(np.int16), within & (found[..., 3] > 0)


def assign(views: Views, cost_of: Callable[[int], np.ndarray], sweeps: int = 1) -> np.ndarray:
    """The view to show at each cell.

    Parameters
    ----------
    views : Views
    cost_of : callable
        Cost of view ``number`` within its box, float (h, w); inf where it must not be shown.
    sweeps : int
        How often every view is offered.

    Returns
    -------
    ndarray of shape (rows, cols)
        Number of the view, or NOTHING where none shows the cell.
    """
    state = _State(views, cost_of)
    for _ in range(sweeps):
        if not sum(state.offer(number, cost_of(number)) for number in range(len(views))):
            break
    return state.labels


class _State:
    """The labels so far, what they show and cost, and the cheapest view of each cell."""

    def __init__(self, views: Views, cost_of: Callable[[int], np.ndarray]) -> None:
        self.views = views
        self.labels = np.full(views.shape, NOTHING, np.int32)
        self.best = np.full(views.shape, np.inf, np.float32)
        self.shown = np.zeros((*views.shape, 3), np.int16)
        for number in range(len(views)):
            box, cost = views.box(number), cost_of(number)
            self._take(number, cost < self.best[box], cost, self.best)
        self.current = self.best.copy()

    def _take(self, number: int, where: np.ndarray, cost: np.ndarray, costs: np.ndarray) -> None:
        box = self.views.box(number)
        self.labels[box][where] = number
        costs[box][where] = cost[where]
        self.shown[box][where] = self.views.image(number)[where]

    def offer(self, number: int, cost: np.ndarray) -> int:
        """Offer one view to every cell of its box; returns how many took it."""
        box = self.views.box(number)
        mine = self.labels[box]
        offered = (cost <= self.best[box] + WORST_COST_BEYOND_BEST) & (mine != number) & (mine != NOTHING)
        rows, cols = np.nonzero(offered)
        if not len(rows):
            return 0
        index = np.full(self.labels.shape, -1)
        index[box][rows, cols] = np.arange(len(rows))
        unary = (cost[rows, cols] - self.current[box][rows, cols]).astype(float)
        cells = rows + box[0].start, cols + box[1].start
        edges = [self._edges(number, index, cells, step, unary) for step in ((0, 1), (1, 0), (0, -1), (-1, 0))]
        taken = np.zeros(offered.shape, bool)
        taken[rows, cols] = _cut(unary, edges)
        self._take(number, taken, cost, self.current)
        return int(taken.sum())

    def _edges(self, number: int, index: np.ndarray, cells, step, unary: np.ndarray):
        """Edges from every offered cell p to its neighbour q in one direction.

        Adds to ``unary`` what an edge costs by itself and returns (from, to, capacity) of the
        edges between two offered cells; each such pair is returned once, from its left or upper cell.
        """
        to_rows, to_cols = cells[0] + step[0], cells[1] + step[1]
        within = (to_rows >= 0) & (to_rows < self.labels.shape[0]) & (to_cols >= 0) & (to_cols < self.labels.shape[1])
        here = np.flatnonzero(within & (self.labels[np.where(within, to_rows, 0), np.where(within, to_cols, 0)] >= 0))
        p, q = (cells[0][here], cells[1][here]), (to_rows[here], to_cols[here])
        at_p, at_q = self.labels[p], self.labels[q]
        alpha_p, alpha_q = self._new(number, p), self._new(number, q)
        kept_p, kept_q = (self.shown[p], None), (self.shown[q], None)
        p_at_q, q_at_p = self._kept(at_p, at_q, q), self._kept(at_q, at_p, p)
        stays_stays = np.where(at_p == at_q, 0.0, _differ(kept_p, q_at_p) + _differ(p_at_q, kept_q))
        takes_stays = np.where(at_q == number, 0.0, _differ(alpha_p, q_at_p) + _differ(alpha_q, kept_q))
        other = index[q]
        free = other < 0
        # No index comes twice within one direction.
        unary[here[free]] += (takes_stays - stays_stays)[free]
        first = ~free & (step[0] + step[1] > 0)
        stays_takes = (_differ(kept_p, alpha_p) + _differ(p_at_q, alpha_q))[first]
        # Kolmogorov and Zabih (2004), table 1, for the pair (p, q).
        unary[here[first]] += (takes_stays - stays_stays)[first]
        unary[other[first]] -= takes_stays[first]
        return here[first], other[first], np.maximum(stays_takes + (takes_stays - stays_stays)[first], 0.0)

    def _kept(self, labels: np.ndarray, own: np.ndarray, cells) -> tuple[np.ndarray, np.ndarray]:
        """What views show at cells whose own labels are known: looked up only where it is not what is shown there."""
        colors, seen, other = self.shown[cells], np.ones(len(labels), bool), np.flatnonzero(labels != own)
        colors[other], seen[other] = self.views.at(labels[other], cells[0][other], cells[1][other])
        return colors, seen

    def _new(self, number: int, cells) -> tuple[np.ndarray, np.ndarray]:
        return self.views.at(np.full(len(cells[0]), number), *cells)


def _differ(a, b) -> np.ndarray:
    """Half the cost of a seam at an edge, for one of its cells: colours of two views there.

    Each is (colours (N, 3), seen (N,) or None where it surely is seen).
    """
    off = np.abs(a[0] - b[0])
    levels = (off[..., 0] + off[..., 1] + off[..., 2]) / 3  # numpy sums along a short last axis ten times slower
    for seen in (a[1], b[1]):
        if seen is not None:
            levels = np.where(seen, levels, UNSEEN_LEVELS)
    return SEAM_LEAST / 2 + SEAM_PER_LEVEL / SEAM_LEVELS * levels**2


def _cut(unary: np.ndarray, edges) -> np.ndarray:
    """Which cells take the view, shape (N,) bool: the minimum of unary where taken plus cut edges."""
    count = len(unary)
    source, sink = count, count + 1
    start, end, capacity = (np.concatenate(part) for part in zip(*edges, strict=True))
    loses, gains = np.flatnonzero(unary > 0), np.flatnonzero(unary < 0)
    # Taking is the sink's side: a cell that loses by it hangs on the source.
    start = np.concatenate([start, np.full(len(loses), source), gains])
    end = np.concatenate([end, loses, np.full(len(gains), sink)])
    capacity = np.concatenate([capacity, unary[loses], -unary[gains]])
    whole = np.minimum(np.rint(capacity * CAPACITY_STEPS), 2**30 / CAPACITY_STEPS).astype(np.int32)
    # Every edge is turned round, so that the search for ways begins at the few cells that gain and ends near them.
    # From the source it would pass through nearly all cells each time: six times the time for the same cut.
    turned = csr_matrix((whole, (end, start)), shape=(count + 2, count + 2))
    left = (turned - maximum_flow(turned, sink, source).flow).T.tocsr()
    left.data[left.data < 0] = 0
    left.eliminate_zeros()
    stays = np.zeros(count + 2, bool)
    stays[breadth_first_order(left, source, return_predecessors=False)] = True
    return ~stays[:count]

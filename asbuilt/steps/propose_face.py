"""What the placed pictures of one face propose: studs, boxes, runs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from asbuilt.geometry.joining import join
from asbuilt.geometry.rectify import Patch
from asbuilt.imaging.boxes import BOX_BACK_M, PANEL_FLUSH_M, RIM_DEPTH_M, Mouth, find_mouths
from asbuilt.imaging.coils import Coil, find_coils
from asbuilt.imaging.edge_bands import BAND_M, LEAST_VIEWS, Edges, edges_of
from asbuilt.imaging.inside_depth import grain, is_filled
from asbuilt.imaging.jackets import cast_of, unlike_wood
from asbuilt.imaging.lone_edges import aslant, end_stud, short_studs
from asbuilt.imaging.run_lines import DRAIN_M, Run, find_runs, hide_hollows, ridge_layers, without
from asbuilt.imaging.sweep import Rectified
from asbuilt.imaging.upright_checks import studs_among
from asbuilt.imaging.uprights import Upright, find_uprights
from asbuilt.record.types import Face, Marker, Opening

# Around the black square of a printed sheet lies white paper, more of it below (our sheets).
SHEET_ASIDE, SHEET_ABOVE, SHEET_BELOW = 0.85, 0.85, 1.05
OPENING_MARGIN_M, OPENING_INSET_M = 0.05, 0.012
MASK_MARGIN_M = 0.003
WOOD_INSET_M = 0.005  # a cable stapled to a stud's side is not inside it
BOX_MARGIN_M = 0.006
NEAR_BOX_M = 0.09
PLATE_M, TOP_PLATE_M = 0.10, 0.16
RIM_FREE_M = 0.06
FLUSH_M = 0.016  # a box this near to a stud's side is nailed to it (common practice, no source)
LOOSE_MISFIT = 0.5  # of a box beside no stud
BEFORE_MOST = 0.2  # of a box's width before studs' faces, none of which was measured to the millimetre
PANEL_INSET_M, STUD_MARGIN_M = 0.03, 0.006
LEAST_CRIPPLE_M = 0.15
ON_MARK_M, STANDING_SHARE = 0.02, 0.6  # off the marks, of the height that is shown
BARE_M = 0.1  # a mark with a stud this near is not bare

Rectangle = tuple[float, float, float, float]  # left, top, right, bottom in pixels of the face


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """A face with the pictures laid on it."""

    face: Face
    patch: Patch
    views: list[Rectified]
    openings: Sequence[Opening]
    markers: Sequence[Marker]

    def rectangle(self, left_m: float, right_m: float, bottom_m: float, top_m: float) -> Rectangle:
        """A rectangle on the face in pixels."""
        px, top = self.patch.px_m, self.patch.top_m
        return left_m / px - 0.5, (top - top_m) / px - 0.5, right_m / px - 0.5, (top - bottom_m) / px - 0.5

    def sheets(self) -> list[Rectangle]:
        """Where printed sheets hang."""
        placed = [m for m in self.markers if m.offset_m is not None and m.height_m is not None]
        return [
            self.rectangle(m.offset_m - SHEET_ASIDE * m.size_m, m.offset_m + SHEET_ASIDE * m.size_m,
                           m.height_m - SHEET_BELOW * m.size_m, m.height_m + SHEET_ABOVE * m.size_m)
            for m in placed
        ]  # fmt: skip

    def holes(self, margin_m: float) -> list[Rectangle]:
        """Openings, widened by a margin (narrowed by a negative one)."""
        tall = abs(margin_m)
        return [
            self.rectangle(o.left_m - margin_m, o.right_m + margin_m, o.bottom_m - tall, o.top_m + tall)
            for o in self.openings
        ]

    def fronts(self, studs: Sequence[Upright], margin_m: float = 0.0) -> list[Rectangle]:
        """The faces of some studs, widened by a margin."""
        sides = [(s, s.width_m / 2 + margin_m) for s in studs]
        return [self.rectangle(s.center_m - w, s.center_m + w, s.bottom_m, s.top_m) for s, w in sides]

    def barred(self, rectangles: Sequence[Rectangle], row_px: float = 1.0) -> np.ndarray:
        """(rows, cols) bool of the face, rows ``row_px`` pixels high: inside one of some rectangles."""
        rows = int(self.patch.rows // row_px)
        found = np.zeros((rows, self.patch.cols), bool)
        for left, top, right, bottom in rectangles:
            first_row, last_row = (max(round(v / row_px), 0) for v in (top, bottom))
            found[first_row:last_row, max(round(left), 0) : max(round(right), 0)] = True
        return found


def studs_seen(seen: Seen, likely_m: Sequence[float]) -> list[Upright]:
    """Measured studs from left to right, with those in the corners where their free edge shows."""
    px, face = seen.patch.px_m, seen.face
    edges = edges_of(seen.views, seen.patch.rows, seen.patch.cols, px)
    barred = seen.barred([*seen.holes(-OPENING_INSET_M), *seen.sheets()], round(BAND_M / px))
    framing = [
        edge + out * k * face.stud_width_m
        for o in seen.openings
        for edge, out in ((o.left_m, -1), (o.right_m, 1))
        for k in (0.5, 1.5)  # a jack and a king
    ]
    found = find_uprights(edges, px, seen.patch.top_m, face.stud_width_m, barred, [*likely_m, *framing])
    sides = [side for o in seen.openings for side in (o.left_m, o.right_m)]
    found = studs_among(found, seen.views, px, seen.patch.top_m, sides)
    found += _unlike(found, _on_marks(seen, edges, barred, likely_m, found))
    kept = [*likely_m, *framing] if likely_m else [u.center_m for u in found]
    found = [u for u in found if _stands(seen, edges, u, barred, kept)]
    found = [u for u in found if face.stud_width_m < u.center_m < face.length_m - face.stud_width_m]
    for left in (True, False):
        end = end_stud(edges, px, face.stud_width_m, face.length_m, left)
        if end is not None:
            found.append(
                Upright(center_m=end[0], scatter_m=0.003, width_m=face.stud_width_m, bottom_m=0.0,
                        top_m=face.height_m, view_count=end[1], strength=1.0)
            )  # fmt: skip
    return sorted(found, key=lambda u: u.center_m)


def _stands(seen: Seen, edges: Edges, one: Upright, barred: np.ndarray, marks_m: Sequence[float]) -> bool:
    """Whether an upright is on a mark, at an opening, or as long as a stud: two cables side by side end at a box."""
    if any(abs(one.center_m - m) < ON_MARK_M for m in marks_m):
        return True
    if any(o.left_m < one.center_m < o.right_m for o in seen.openings):
        return True
    col = round(one.center_m / seen.patch.px_m - 0.5)
    shown = (edges.count[:, col] >= LEAST_VIEWS) & ~barred[:, col]
    return one.top_m - one.bottom_m > STANDING_SHARE * edges.band_m * shown.sum()


def _on_marks(
    seen: Seen, edges: Edges, barred: np.ndarray, marks_m: Sequence[float], found: Sequence[Upright]
) -> list[Upright]:
    """Studs of which too little shows to be found but where the layout asks for one."""
    px, face = seen.patch.px_m, seen.face
    extra = []
    for o in seen.openings:
        for low, high in ((o.top_m, face.height_m), (0.0, o.bottom_m)):
            if high - low > LEAST_CRIPPLE_M:
                zone = (o.left_m, o.right_m, low, high)
                extra += short_studs(seen.views, px, seen.patch.top_m, face.stud_width_m, zone, marks_m)
    bare = [m for m in marks_m if all(abs(m - u.center_m) > BARE_M for u in found)]
    return extra + aslant(edges, px, seen.patch.top_m, face.stud_width_m, barred, bare)


def _unlike(found: Sequence[Upright], new: Sequence[Upright]) -> list[Upright]:
    """Those of some new studs that stand where none was found."""
    return [
        n
        for n in new
        if not any(
            abs(n.center_m - u.center_m) < 0.9 * u.width_m and n.bottom_m < u.top_m and n.top_m > u.bottom_m
            for u in found
        )
    ]


def boxes_seen(seen: Seen, studs: Sequence[Upright]) -> list[Mouth]:
    """Boxes and panels from left to right."""
    px = seen.patch.px_m
    layers = [unlike_wood(view, px) for view in seen.views]
    barred = seen.barred([*seen.holes(OPENING_MARGIN_M), *seen.sheets()])
    wood = seen.barred(seen.fronts(studs))

    grains: list[np.ndarray] = []

    def settle(mouth: Mouth) -> Mouth | None:
        nailed = against_stud(mouth, studs, seen.patch.top_m)
        if nailed is None or nailed.gangs is not None:
            return nailed
        if not grains:
            grains.extend(grain(view, between_studs(seen, view, studs)) for view in seen.views)
        turns = np.array([1, 1, -1, -1]) * round(PANEL_INSET_M / px)
        # Another room seen between two studs is no panel.
        inside = tuple(int(v) for v in np.rint(_rectangle_px(nailed, px)) + turns)
        return nailed if is_filled(seen.views, grains, inside) else None

    found = find_mouths(seen.views, layers, seen.patch.rows, seen.patch.cols, px, barred, wood, settle)
    return sorted(found, key=lambda m: m.x_m)


def _fronts(seen: Seen, view: Rectified, studs: Sequence[Upright]) -> np.ndarray:
    """Which pixels of a picture show the faces of studs."""
    front = ~without(view, seen.fronts(studs, -STUD_MARGIN_M), 0.0)
    return front & view.within & without(view, seen.sheets(), MASK_MARGIN_M / seen.patch.px_m)


def between_studs(seen: Seen, view: Rectified, studs: Sequence[Upright]) -> np.ndarray:
    """Which pixels of a picture show neither studs, with their sides, nor printed sheets."""
    px, fronts = seen.patch.px_m, seen.fronts(studs)
    show = without(view, [*fronts, *seen.sheets()], STUD_MARGIN_M / px)
    hide_hollows(view, show, fronts, (0.0, seen.face.stud_depth_m), STUD_MARGIN_M / px)
    return show


def against_stud(mouth: Mouth, studs: Sequence[Upright], top_m: float) -> Mouth | None:
    """A box flush against the stud that it is nailed to; None where a doubtful one is nailed to nothing.

    Studs are measured better than boxes. A panel may reach from stud to stud.
    """
    height = top_m - mouth.y_m
    near = [s for s in studs if s.bottom_m < height < s.top_m]
    left_m, right_m = mouth.x_m - mouth.width_m / 2, mouth.x_m + mouth.width_m / 2
    to_left = min((s.center_m + s.width_m / 2 - left_m for s in near), key=abs, default=np.inf)
    to_right = min((s.center_m - s.width_m / 2 - right_m for s in near), key=abs, default=np.inf)
    if mouth.gangs is None:
        moved = [shift if abs(shift) < PANEL_FLUSH_M else 0.0 for shift in (to_left, to_right)]
        if abs(to_left) >= PANEL_FLUSH_M and abs(to_right) >= PANEL_FLUSH_M:
            return None
        return replace(mouth, x_m=mouth.x_m + sum(moved) / 2, width_m=mouth.width_m + moved[1] - moved[0])
    nearest = min(to_left, to_right, key=abs)
    if abs(nearest) < FLUSH_M:
        mouth = replace(mouth, x_m=mouth.x_m + nearest)
    elif mouth.misfit >= LOOSE_MISFIT:
        return None
    # A box hangs beside studs, not before their faces.
    before = sum(np.clip((mouth.width_m + s.width_m) / 2 - abs(s.center_m - mouth.x_m), 0, s.width_m) for s in near)
    return mouth if before < BEFORE_MOST * mouth.width_m else None


def runs_seen(seen: Seen, studs: Sequence[Upright], mouths: Sequence[Mouth]) -> tuple[list[Run], list[Coil]]:
    """Runs from end to end, pieces that carry one another on joined; and coils that hang before the wall."""
    px, face = seen.patch.px_m, seen.face
    views = [replace(view, cast=cast_of(view, _fronts(seen, view, studs))) for view in seen.views]
    paper = [*seen.holes(OPENING_MARGIN_M), *seen.sheets()]
    bare = [without(view, paper, MASK_MARGIN_M / px) & view.within for view in views]
    # What is printed on a sheet is neither a run nor a sign that one stands before the stud on which it hangs.
    ridged = [ridge_layers(view, px) * show[..., None] for view, show in zip(views, bare, strict=True)]
    coils = find_coils(views, ridged, bare, seen.patch.rows, seen.patch.cols, px)
    coils = [c for c in coils if not any(_inside(c.ring_m.mean(axis=0), m) for m in mouths)]
    boxes = [_rectangle_px(m, px) for m in mouths]
    shows = []
    for view, show in zip(seen.views, bare, strict=True):
        show = without(view, seen.fronts(studs), MASK_MARGIN_M / px) & show
        hide_hollows(view, show, boxes, (RIM_DEPTH_M, RIM_DEPTH_M + BOX_BACK_M), BOX_MARGIN_M / px)
        shows.append(show)
    wood = seen.barred(seen.fronts(studs, -WOOD_INSET_M))
    pieces = find_runs(views, ridged, shows, wood, px, seen.patch.top_m, face.stud_depth_m)
    return _joined(seen, pieces), coils


def _inside(spot_m: np.ndarray, mouth: Mouth) -> bool:
    """Whether a spot (x, y) lies in a box's mouth: the wires in a panel are no coil."""
    return abs(spot_m[0] - mouth.x_m) < mouth.width_m / 2 and abs(spot_m[1] - mouth.y_m) < mouth.height_m / 2


def _rectangle_px(mouth: Mouth, px_m: float) -> Rectangle:
    return (
        (mouth.x_m - mouth.width_m / 2) / px_m - 0.5, (mouth.y_m - mouth.height_m / 2) / px_m - 0.5,
        (mouth.x_m + mouth.width_m / 2) / px_m - 0.5, (mouth.y_m + mouth.height_m / 2) / px_m - 0.5,
    )  # fmt: skip


def _joined(seen: Seen, pieces: Sequence[Run]) -> list[Run]:
    sheets, px, top_m = seen.sheets(), seen.patch.px_m, seen.patch.top_m

    def hidden(a: np.ndarray, b: np.ndarray) -> bool:
        x, y = ((a + b) / 2)[0] / px, (top_m - ((a + b) / 2)[1]) / px
        return any(left <= x <= right and top <= y <= bottom for left, top, right, bottom in sheets)

    kinds = ["drain" if p.radius_m == DRAIN_M / 2 else p.sheath for p in pieces]
    chains = join([p.points_m for p in pieces], kinds, hidden)
    return [_chain([pieces[k] for k, _ in chain], [turn for _, turn in chain]) for chain in chains]


def _chain(parts: list[Run], turned: list[bool]) -> Run:
    points = [p.points_m[::-1] if turn else p.points_m for p, turn in zip(parts, turned, strict=True)]
    lengths = np.array([len(p) for p in points], float)
    sure = [p.sheath for p in parts if p.sheath != "unsure"]
    return Run(
        points_m=np.concatenate(points),
        sheath=sure[0] if sure else "unsure",
        strength=float((lengths * [p.strength for p in parts]).sum() / lengths.sum()),
        sigma_depth_m=max(p.sigma_depth_m for p in parts),
        radius_m=parts[0].radius_m,
    )


def end_of(
    point_m: np.ndarray, seen: Seen, studs: Sequence[Upright], mouths: Sequence[Mouth]
) -> tuple[str, int | None]:
    """What a run does at an end: words, and the number of the box it enters."""
    offset, height = float(point_m[0]), float(point_m[1])
    near = []
    for number, m in enumerate(mouths):
        beyond_x = max(abs(offset - m.x_m) - m.width_m / 2, 0)
        beyond_z = max(abs(height - seen.patch.top_m + m.y_m) - m.height_m / 2, 0)
        near.append((float(np.hypot(beyond_x, beyond_z)), number))
    if near and min(near)[0] < NEAR_BOX_M:
        return "into box", min(near)[1]
    if height > seen.face.height_m - TOP_PLATE_M:
        return "through the top plate", None
    if height < PLATE_M:
        return "through the sole plate", None
    if any(abs(offset - s.center_m) < s.width_m / 2 + 0.03 and s.bottom_m < height < s.top_m for s in studs):
        return "at a stud", None
    if _leaves_view(seen, offset, height):
        return "out of what was filmed", None
    return "open end", None


def _leaves_view(seen: Seen, offset_m: float, height_m: float) -> bool:
    px = seen.patch.px_m
    x, y = offset_m / px, (seen.patch.top_m - height_m) / px
    reach = RIM_FREE_M / px
    counts = []
    for dx, dy in ((0, 0), (reach, 0), (-reach, 0), (0, reach), (0, -reach)):
        counts.append(sum(_within(v, x + dx, y + dy) for v in seen.views))
    return min(counts) < 3


def _within(view: Rectified, x: float, y: float) -> bool:
    row, col = round(y) - view.row, round(x) - view.col
    inside = 0 <= row < view.within.shape[0] and 0 <= col < view.within.shape[1]
    return inside and bool(view.within[row, col])

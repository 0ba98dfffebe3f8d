"""What the pictures propose near a place and nobody has confirmed: to be mentioned, never counted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asbuilt.answers.reply import Reply
from asbuilt.answers.view import View
from asbuilt.record.proposal_row import Proposal
from asbuilt.units import format_length

SIGMAS = 1.96
UNCONFIRMED_M = 0.1  # this near to a hole a proposal is mentioned; our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Unconfirmed(Reply):
    """A proposal near a place: its kind, colour, and how far its nearest point is along the face [m]."""

    id: str
    kind: str
    sheath: str
    distance_m: float
    reach_m: float  # half its size, and its error at 95 %


def unconfirmed_near(
    view: View, face_id: str, offset_m: float, height_m: float | None, within_m: float
) -> tuple[Unconfirmed, ...]:
    """Proposals that nobody has decided on, within a distance of a place; nearest first.

    Parameters
    ----------
    height_m : float or None
        None: at any height.
    """
    found = []
    for p in view.undecided.get(face_id, ()):
        points = np.array(p.points_m)[:, :2]
        reach_m = reach_of(p)
        distance_m = _distance(points, offset_m, height_m)
        if distance_m - reach_m <= within_m:
            found.append(Unconfirmed(id=p.id, kind=p.kind, sheath=p.sheath, distance_m=distance_m, reach_m=reach_m))
    return tuple(sorted(found, key=lambda u: u.distance_m))


def reach_of(proposal: Proposal) -> float:
    """Half the size of what is proposed, and its error at 95 % [m]."""
    p = proposal
    return max(p.width_m or 0.0, p.height_m or 0.0, 2 * (p.radius_m or 0.0)) / 2 + SIGMAS * p.sigma_m


def _distance(points: np.ndarray, offset_m: float, height_m: float | None) -> float:
    if height_m is None:
        low, high = points[:, 0].min(), points[:, 0].max()
        return float(max(low - offset_m, offset_m - high, 0.0))
    place = np.array([offset_m, height_m])
    if len(points) == 1:
        return float(np.linalg.norm(points[0] - place))
    start, way = points[:-1], np.diff(points, axis=0)
    along = np.clip(((place - start) * way).sum(1) / np.maximum((way**2).sum(1), 1e-12), 0, 1)
    return float(np.linalg.norm(start + along[:, None] * way - place, axis=1).min())


def unconfirmed_words(near: Sequence[Unconfirmed], unit: str) -> list[str]:
    """One line for each, and that none of it was confirmed."""
    if not near:
        return []
    lines = ["The pictures also seem to show here, NOT CONFIRMED by anyone:"]
    for one in near:
        color = f", sheath looks {one.sheath}" if one.sheath not in ("", "unsure") else ""
        lines.append(f"  {one.kind}{color}, about {format_length(one.distance_m, unit)} from there along the wall")
    return lines

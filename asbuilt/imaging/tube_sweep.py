"""Find a tube again in other pictures: every depth it may have is one place on a line there.

Adds up, over the pictures, how much each depth looks like the tube (a band of its colour and
width that differs from both sides). The best depth counts only if no other comes near it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asbuilt.imaging.tubes import STEP_PX, Profile, Tube, sample

# Chosen on rendered rooms so that a depth is told rather too seldom than wrongly.
LEAST_CROSSING_PX_M = 35.0  # travel across the tube per metre of depth, for a picture to help
ENOUGH_CROSSING_PX_M = 70.0
LEAST_LIKENESS = 1.3
MOST_SECOND = 0.8
SECOND_APART_M = 0.012
LEAST_PICTURES = 3
COLOR_TOLERANCE = 3.0
COLOR_WEIGHT = np.array([0.25, 1.0, 1.0])
MAX_LIKENESS = 6.0
STRAYS_PX = 2.5
ALONG_PX = np.arange(-6.0, 6.1, 1.5)  # the points of a tube that are followed, from its middle


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """Where a piece of tube would lie in another picture at each depth.

    ``ends_px`` (T, J, 2): the tube's points at ``ALONG_PX`` from its middle, by depth, in the
    pixels of ``lab``, a part of that picture.
    """

    lab: np.ndarray
    ends_px: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A tube in one track: its pixel (2,) and unit direction (2,)."""

    xy_px: np.ndarray
    along: np.ndarray


def crossing_px_m(ends_px: np.ndarray, depths_m: np.ndarray) -> float:
    """How far the tube travels across itself per metre of depth."""
    middle = ends_px[len(ends_px) // 2]
    return float(abs((middle[-1] - middle[0]) @ _normal(ends_px)) / (depths_m[-1] - depths_m[0]))


def sweep(
    clicks: Sequence[tuple[Tube, Sequence[Track]]], depths_m: np.ndarray, usual_m: float, sigma_m: float
) -> list[list[Found | None]] | None:
    """Where a spot's tube shows in other pictures, at the one depth that they agree on.

    Parameters
    ----------
    clicks : sequence of (Tube, sequence of Track)
        The tube under each click of the spot, and where it would lie elsewhere.
    depths_m : ndarray of shape (J,)
        The depths tried [m], even steps.
    usual_m, sigma_m : float
        What is known of the depth already [m].

    Returns
    -------
    list of list of Found or None
        Per click and track, None where it does not show; None in all if no depth stands out.
    """
    total, weight_sum = np.zeros(len(depths_m)), 0.0
    looks = [[_look(tube, track) for track in tracks] for tube, tracks in clicks]
    for look, track in ((k, t) for row, (_, tracks) in zip(looks, clicks, strict=True)
                        for k, t in zip(row, tracks, strict=True)):  # fmt: skip
        weight = min(1.0, crossing_px_m(track.ends_px, depths_m) / ENOUGH_CROSSING_PX_M)
        total += weight * look.likeness
        weight_sum += weight
    if sum(len(row) for row in looks) < LEAST_PICTURES:
        return None
    score = total / weight_sum - 0.25 * ((depths_m - usual_m) / sigma_m) ** 2
    best = int(np.argmax(score))
    apart = np.abs(depths_m - depths_m[best]) > SECOND_APART_M
    second = score[apart].max() if apart.any() else 0.0
    if total[best] / weight_sum < LEAST_LIKENESS or second > MOST_SECOND * score[best]:
        return None
    found = [[look.found_at(best) for look in row] for row in looks]
    if sum(one is not None for row in found for one in row) < LEAST_PICTURES:
        return None
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    likeness: np.ndarray  # (J,)
    at_px: np.ndarray  # (J,) along the profile
    profile: Profile
    width_px: float
    origin_px: np.ndarray
    along_line: np.ndarray
    direction: np.ndarray

    def found_at(self, k: int) -> Found | None:
        """The tube's own middle near the k-th depth's place, if it is there."""
        near = self.at_px[k]
        tries = near + np.arange(-STRAYS_PX, STRAYS_PX + 0.1, STEP_PX)
        contrast, _ = self.profile.contrast(tries, self.width_px)
        if contrast.max() < LEAST_LIKENESS:
            return None
        middle = self.profile.middle_px(float(tries[int(np.argmax(contrast))]), self.width_px)
        if abs(middle - near) > STRAYS_PX:
            return None
        return Found(xy_px=self.origin_px + middle * self.along_line, along=self.direction)


def _look(tube: Tube, track: Track) -> _Look:
    ends = track.ends_px
    middle = ends[len(ends) // 2]
    center = middle.shape[0] // 2
    normal = _normal(ends)
    travel = middle[-1] - middle[0]
    along_line = travel / (travel @ normal)  # one step across the tube, along the line
    piece = ends[:, center] - middle[center]
    length = np.linalg.norm(piece[-1] - piece[0])
    width = tube.width_px * length / (ALONG_PX[-1] - ALONG_PX[0])
    at_px = (middle - middle[center]) @ normal
    reach = 1.65 * width + 4 + STRAYS_PX
    across = np.arange(at_px.min() - reach, at_px.max() + reach, STEP_PX)
    grid = middle[center] + piece[:, None, :] + across[None, :, None] * along_line
    profile = Profile(float(across[0]), sample(track.lab, grid))
    contrast, color = profile.contrast(at_px, width)
    differs = np.linalg.norm((color - tube.lab) * COLOR_WEIGHT, axis=1)
    likeness = np.minimum(contrast, MAX_LIKENESS) - 0.25 * np.maximum(differs - COLOR_TOLERANCE, 0)
    return _Look(
        likeness=np.maximum(likeness, 0), at_px=at_px, profile=profile, width_px=width,
        origin_px=middle[center], along_line=along_line, direction=piece[-1] / np.linalg.norm(piece[-1]),
    )  # fmt: skip


def _normal(ends_px: np.ndarray) -> np.ndarray:
    """Unit normal of the tube at the middle depth, shape (2,)."""
    center = ends_px.shape[1] // 2
    direction = ends_px[-1, center] - ends_px[0, center]
    direction = direction / np.linalg.norm(direction)
    return np.array([-direction[1], direction[0]])

"""Sheets whose taped places cannot be seen together with those of the sheets beside them.

A place that is feet off, as of two sheets written down for each other, keeps every picture of it
from being placed: no joint solution ever sees it. It is found beforehand, picture by picture.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from asbuilt.geometry.initial import DISAGREE
from asbuilt.geometry.resection import resect
from asbuilt.record import Marker
from asbuilt.steps.place_look import Looked
from asbuilt.steps.place_setup import Site, inside_test, is_taped, marker_corners_building_m

TRIED = 5  # pictures of the same sheets that are tried
MOSTLY = 0.2  # a stray agrees with others in at most this share of the pictures it disagrees in
TELLING = 0.7  # the next suspect disagrees in at most this share of the pictures the stray does
MENDED = 0.8  # share of the pictures of two sheets that must fit once their places are exchanged
MOST_PAIRED = 12  # suspects of whom every pair is tried

# A clip (or the stills) and sheets seen together in it -> the pictures. A sheet may have been moved between clips.
Together = dict[tuple[int, tuple[int, ...]], list[int]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Strays:
    """Indices of sheets that are to be left out: pairs written down for each other, and others with their clips."""

    swapped: tuple[tuple[int, int], ...] = ()
    others: tuple[tuple[int, int], ...] = ()  # sheet, clip

    def dropped(self, groups: Iterable[int]) -> dict[int, set[int]]:
        """Every sheet to be left out, with the clips it is left out of, of all ``groups``."""
        found = {k: set(groups) for pair in self.swapped for k in pair}
        for k, group in self.others:
            found.setdefault(k, set()).add(group)
        return found


def strays(looked: Looked, site: Site, groups: Sequence[int]) -> Strays:
    """The sheets that disagree with whatever they are seen with, while the others agree.

    Where nothing tells which of the sheets is wrong none is named.

    Parameters
    ----------
    groups : sequence of int
        Which clip, or the stills, a picture belongs to.
    """
    index = {m.id: k for k, m in enumerate(site.markers) if is_taped(m)}
    together: Together = {}
    for i, seen in enumerate(looked.markers):
        ids = tuple(sorted(index[m.id] for m in seen if m.id in index))
        if len(ids) > 1:
            together.setdefault((int(groups[i]), ids), []).append(i)
    agree = {key: _agree(looked, site, pictures, key[1]) for key, pictures in together.items()}
    swapped: list[tuple[int, int]] = []
    while (pair := _swap(looked, site, together, agree)) is not None:
        swapped.append(pair)
        together, agree = _less(looked, site, together, agree, {(g, k) for g, _ in together for k in pair})
    others: list[tuple[int, int]] = []
    while 2 * len(dict(others)) < len(index) and (found := _culprits(together, agree)):
        others += [(k, group) for group, k in sorted(found)]
        together, agree = _less(looked, site, together, agree, found)
    return Strays(swapped=tuple(swapped), others=tuple(others))


def _less(looked: Looked, site: Site, together: Together, agree: dict, gone) -> tuple[Together, dict]:
    """What is seen together without some sheets of some clips, and whether it agrees."""
    less: Together = {}
    for (group, ids), pictures in together.items():
        rest = tuple(k for k in ids if (group, k) not in gone)
        if len(rest) > 1:
            less.setdefault((group, rest), []).extend(pictures)
    return less, {key: agree[key] if key in agree else _agree(looked, site, less[key], key[1]) for key in less}


def _counts(together: Together, agree: dict) -> tuple[Counter, Counter]:
    """In how many pictures of a clip each sheet (clip, sheet) fits with the others there, and in how many not."""
    good, bad = Counter(), Counter()
    for (group, ids), pictures in together.items():
        for k in ids:
            (good if agree[group, ids] else bad)[group, k] += len(pictures)
    return good, bad


def _swap(looked: Looked, site: Site, together: Together, agree: dict) -> tuple[int, int] | None:
    """The two sheets whose pictures fit once their places are exchanged, if that tells one pair from all others."""
    good, bad = (_of_all_clips(counted) for counted in _counts(together, agree))
    suspects = sorted((k for k, n in bad.items() if good[k] <= MOSTLY * n), key=lambda k: -bad[k])[:MOST_PAIRED]
    mended: list[tuple[int, tuple[int, int]]] = []
    for a, b in combinations(sorted(suspects), 2):
        own = {key: pictures for key, pictures in together.items() if a in key[1] or b in key[1]}
        exchanged = _exchanged(site, a, b)
        total, fits = Counter(), Counter()
        for (_, ids), pictures in own.items():
            fit = _agree(looked, exchanged, pictures, ids)
            for k in {a, b} & set(ids):
                total[k] += len(pictures)
                fits[k] += fit * len(pictures)
        if all(fits[k] >= MENDED * total[k] for k in (a, b)):
            mended.append((sum(fits.values()), (a, b)))
    mended.sort(reverse=True)
    if not mended or (len(mended) > 1 and mended[1][0] == mended[0][0]):
        return None
    return mended[0][1]


def _of_all_clips(counted: Counter) -> Counter:
    total = Counter()
    for (_, k), n in counted.items():
        total[k] += n
    return total


def _exchanged(site: Site, a: int, b: int) -> Site:
    def at(marker: Marker, other: Marker) -> Marker:
        return replace(marker, face_id=other.face_id, offset_m=other.offset_m, height_m=other.height_m,
                       depth_m=other.depth_m)  # fmt: skip

    markers = list(site.markers)
    markers[a], markers[b] = at(markers[a], markers[b]), at(markers[b], markers[a])
    return replace(site, markers=markers)


def _culprits(together: Together, agree: dict) -> set[tuple[int, int]]:
    """The (clip, sheet) in most of the pictures that do not fit, if it hardly fits there and no other may be it.

    Two that are only ever wrong together: the one that is also wrong beside a sheet that fits
    elsewhere. Where nothing tells, and they fit together in another clip, one of them was
    moved between the clips, and both are named until a solution shows which.
    """
    good, bad = _counts(together, agree)
    suspects = sorted(((n, key) for key, n in bad.items() if good[key] <= MOSTLY * n), reverse=True)
    for n_first, (group, first) in suspects:
        wrong = [ids for (g, ids), fits in agree.items() if g == group and not fits]
        rivals = {k for n, (g, k) in suspects if g == group and k != first and n > TELLING * n_first}
        tied = {first, *(k for k in rivals for ids in wrong if k in ids and first in ids)}
        if len(tied) == 1:
            return {(group, first)}
        trusted = {k for g, k in good if g == group and good[g, k] > MOSTLY * bad[g, k]}
        accused = [k for k in tied if any(k in ids and trusted.issuperset(set(ids) - {k}) for ids in wrong)]
        if len(accused) == 1:
            return {(group, accused[0])}
        if any(fits and g != group and tied.issubset(ids) for (g, ids), fits in agree.items()):
            return {(group, k) for k in tied}
    return set()


def _agree(looked: Looked, site: Site, pictures: list[int], ids: tuple[int, ...]) -> bool:
    """Whether most of some pictures can be placed by these sheets together."""
    inside, fits = inside_test(site), []
    for i in pictures[:: max(1, len(pictures) // TRIED)][:TRIED]:
        seen = {m.id: m for m in looked.markers[i]}
        sheets = [seen[site.markers[k].id] for k in ids]
        points = np.concatenate([marker_corners_building_m(site, k) for k in ids])
        pixels = np.concatenate([m.corners_px for m in sheets])
        sigma = np.repeat([m.sigma_px for m in sheets], 4)
        spread = np.repeat([site.markers[k].sigma_m for k in ids], 4)
        lens = looked.lenses[looked.lens_ids[i]]
        pose = resect(lens, points, pixels, sigma, spread, inside)
        fits.append(bool(pose) and pose.used.all() and pose.residual_px <= DISAGREE * lens.focal_px)
    return bool(np.mean(fits) >= 0.5)

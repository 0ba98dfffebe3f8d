"""Ties between pictures that are not neighbours in a clip: stills, and stills to frames."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

FEATURES = 1600
LONG_SIDE_PX = 1200  # pictures are shrunk to this for describing features
RATIO = 0.75  # a match must be this much nearer than the second best (Lowe 2004, section 7.1)
EPIPOLAR_TOLERANCE_PX = 3.0
MIN_MATCHES = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Described:
    """Features of a picture: pixels at full size (N, 2), their scale [px] and descriptors (N, 128)."""

    xy_px: np.ndarray
    scale_px: np.ndarray
    descriptors: np.ndarray


def describe(gray: np.ndarray) -> Described:
    """SIFT features of a picture of shape (H, W), uint8."""
    shrink = min(1.0, LONG_SIDE_PX / max(gray.shape))
    size = (round(gray.shape[1] * shrink), round(gray.shape[0] * shrink))
    small = cv2.resize(gray, size, interpolation=cv2.INTER_AREA) if shrink < 1 else gray
    # Without precise upscaling OpenCV puts every feature a quarter of a pixel to the lower right.
    sift = cv2.SIFT_create(FEATURES, contrastThreshold=0.02, enable_precise_upscale=True)
    keypoints, descriptors = sift.detectAndCompute(small, None)
    if descriptors is None:
        return Described(xy_px=np.zeros((0, 2)), scale_px=np.zeros(0), descriptors=np.zeros((0, 128), np.uint8))
    factor = np.array([gray.shape[1] / size[0], gray.shape[0] / size[1]])
    xy = np.array([k.pt for k in keypoints])
    return Described(
        xy_px=(xy + 0.5) * factor - 0.5,
        scale_px=np.array([k.size for k in keypoints]) * factor[0],
        descriptors=np.clip(descriptors, 0, 255).astype(np.uint8),
    )


def match(a: Described, b: Described, lens_a, lens_b) -> np.ndarray:
    """Pairs of feature indices (M, 2) that match one to one and fit one camera motion."""
    if min(len(a.xy_px), len(b.xy_px)) < MIN_MATCHES:
        return np.zeros((0, 2), int)
    pairs = cv2.BFMatcher().knnMatch(a.descriptors.astype(np.float32), b.descriptors.astype(np.float32), 2)
    good = np.array([[p[0].queryIdx, p[0].trainIdx] for p in pairs if p[0].distance < RATIO * p[1].distance])
    if len(good) < MIN_MATCHES:
        return np.zeros((0, 2), int)
    _, first = np.unique(good[:, 1], return_index=True)
    good = good[first]
    xy_a, xy_b = lens_a.normalised(a.xy_px[good[:, 0]]), lens_b.normalised(b.xy_px[good[:, 1]])
    cv2.setRNGSeed(1)
    tolerance = EPIPOLAR_TOLERANCE_PX / min(lens_a.focal_px, lens_b.focal_px)
    essential, mask = cv2.findEssentialMat(xy_a, xy_b, np.eye(3), cv2.RANSAC, 0.999, tolerance, 1000)
    if essential is None or mask.sum() < MIN_MATCHES:
        return np.zeros((0, 2), int)
    return good[mask.ravel() > 0]


def join(pairs: dict[tuple[int, int], np.ndarray]) -> list[list[tuple[int, int]]]:
    """Chains of (picture, feature) that matches connect; a chain with two features in one picture is dropped.

    Parameters
    ----------
    pairs : dict
        (picture, picture) to an array (M, 2) of feature indices.
    """
    parent: dict[tuple[int, int], tuple[int, int]] = {}

    def root(node):
        while parent.setdefault(node, node) != node:
            parent[node] = parent[parent[node]]
            node = parent[node]
        return node

    for (first, second), matches in pairs.items():
        for k, m in matches:
            parent[root((first, int(k)))] = root((second, int(m)))
    chains: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for node in list(parent):
        chains.setdefault(root(node), []).append(node)
    return [sorted(c) for c in chains.values() if len({p for p, _ in c}) == len(c) >= 2]

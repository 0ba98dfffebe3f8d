"""Projection with its derivatives, many points at once."""

from __future__ import annotations

import numpy as np

LENS_SIZE = 7  # focal, cx, cy, k1, k2, p1, p2


def skew(vectors: np.ndarray) -> np.ndarray:
    """Cross-product matrices, (N, 3) to (N, 3, 3)."""
    x, y, z = vectors[:, 0], vectors[:, 1], vectors[:, 2]
    zero = np.zeros_like(x)
    return np.stack([zero, -z, y, z, zero, -x, -y, x, zero], axis=1).reshape(-1, 3, 3)


def exp_rotation(vectors: np.ndarray) -> np.ndarray:
    """Rotation matrices of rotation vectors, (N, 3) to (N, 3, 3); Rodrigues' formula."""
    angle = np.linalg.norm(vectors, axis=1)[:, None, None]
    cross = skew(vectors)
    a = np.sinc(angle / np.pi)
    b = 0.5 * np.sinc(angle / (2 * np.pi)) ** 2
    return np.eye(3) + a * cross + b * (cross @ cross)


def project_with_jacobian(points_camera_m: np.ndarray, lens: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pixels, and their derivatives by point and by lens.

    Parameters
    ----------
    points_camera_m : ndarray of shape (N, 3)
        In front of the camera [m].
    lens : ndarray of shape (N, 7)
        Per point: focal, cx, cy [px], k1, k2, p1, p2.

    Returns
    -------
    pixels : ndarray of shape (N, 2)
    by_point : ndarray of shape (N, 2, 3)
    by_lens : ndarray of shape (N, 2, 7)
    """
    focal, cx, cy, k1, k2, p1, p2 = lens.T
    z = points_camera_m[:, 2]
    x, y = points_camera_m[:, 0] / z, points_camera_m[:, 1] / z
    r2 = x * x + y * y
    radial = 1 + r2 * (k1 + r2 * k2)
    slope = k1 + 2 * k2 * r2  # d radial / d r2
    dx = x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x)
    dy = y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y
    dx_dx = radial + 2 * x * x * slope + 2 * p1 * y + 6 * p2 * x
    dx_dy = 2 * x * y * slope + 2 * p1 * x + 2 * p2 * y
    dy_dx = dx_dy
    dy_dy = radial + 2 * y * y * slope + 6 * p1 * y + 2 * p2 * x
    by_point = np.empty((len(z), 2, 3))
    by_point[:, 0, 0], by_point[:, 0, 1] = dx_dx, dx_dy
    by_point[:, 1, 0], by_point[:, 1, 1] = dy_dx, dy_dy
    by_point[:, :, 2] = -(by_point[:, :, 0] * x[:, None] + by_point[:, :, 1] * y[:, None])
    by_point *= (focal / z)[:, None, None]
    by_lens = np.zeros((len(z), 2, LENS_SIZE))
    by_lens[:, 0, 0], by_lens[:, 1, 0] = dx, dy
    by_lens[:, 0, 1] = by_lens[:, 1, 2] = 1
    by_lens[:, 0, 3], by_lens[:, 1, 3] = focal * x * r2, focal * y * r2
    by_lens[:, 0, 4], by_lens[:, 1, 4] = focal * x * r2**2, focal * y * r2**2
    by_lens[:, 0, 5], by_lens[:, 1, 5] = focal * 2 * x * y, focal * (r2 + 2 * y * y)
    by_lens[:, 0, 6], by_lens[:, 1, 6] = focal * (r2 + 2 * x * x), focal * 2 * x * y
    pixels = np.stack([focal * dx + cx, focal * dy + cy], axis=1)
    return pixels, by_point, by_lens

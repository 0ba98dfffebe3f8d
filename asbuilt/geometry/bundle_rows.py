"""Residual rows of a joint solution with their analytic derivatives.

Every residual is divided by its sigma. Each block returns its residuals, the triplets of
its rows in the global columns and, for tracks, the derivatives by the points.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.spatial.transform import Rotation

from asbuilt.geometry.bundle_problem import (
    CAMERA,
    FACE,
    LENS,
    MARKER,
    REFERENCE,
    SHEET_CORNERS,
    Joint,
    Problem,
    Unknowns,
)
from asbuilt.geometry.projection import LENS_SIZE, project_with_jacobian, skew

HELD_SIGMA = 1e-6  # radians and metres: small against everything, large against rounding


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Whitened residuals (n, k) grouped by observation, and their global derivatives.

    ``blocks`` pairs a first column per observation (n,) with derivatives (n, k, width);
    ``by_point`` is (n, k, 3) for tracks.
    """

    residual: np.ndarray
    blocks: tuple[tuple[np.ndarray, np.ndarray], ...]
    by_point: np.ndarray | None = None

    def matrix(self, columns: int, weight: np.ndarray) -> sparse.csr_matrix:
        """Rows as a sparse matrix, each observation's rows scaled by ``weight`` (n,)."""
        n, k = self.residual.shape
        data, rows, cols = [], [], []
        base = (np.arange(n)[:, None] * k + np.arange(k))[:, :, None]
        for first, derivative in self.blocks:
            width = derivative.shape[2]
            data.append((derivative * weight[:, None, None]).ravel())
            rows.append(np.broadcast_to(base, derivative.shape).ravel())
            cols.append(np.broadcast_to(first[:, None, None] + np.arange(width), derivative.shape).ravel())
        return sparse.csr_matrix(
            (np.concatenate(data), (np.concatenate(rows), np.concatenate(cols))), shape=(n * k, columns)
        )


def _through_camera(u: Unknowns, problem: Problem, camera_idx: np.ndarray, points_m: np.ndarray):
    """Pixels and derivatives by camera (6), lens (7) and building point (3)."""
    rotation = u.camera_rotation[camera_idx]
    turned = np.einsum("nij,nj->ni", rotation, points_m)
    in_camera = turned + u.camera_translation_m[camera_idx]
    in_camera[:, 2] = np.maximum(in_camera[:, 2], 0.05)  # a point behind the camera becomes a huge residual
    lens = u.lens[problem.camera_lens_idx[camera_idx]]
    pixels, by_camera_point, by_lens = project_with_jacobian(in_camera, lens[:, :LENS_SIZE])
    by_camera = np.concatenate([-by_camera_point @ skew(turned), by_camera_point], axis=2)
    return pixels, by_camera, by_lens, by_camera_point @ rotation


def track_rows(u: Unknowns, problem: Problem) -> Rows:
    """Feature tracks."""
    obs, s = problem.tracks, u.starts
    pixels, by_camera, by_lens, by_point = _through_camera(u, problem, obs.camera_idx, u.point_m[obs.thing_idx])
    scale = 1 / obs.sigma_px[:, None, None]
    lens_col = s[1] + LENS * problem.camera_lens_idx[obs.camera_idx]
    return Rows(
        residual=(pixels - obs.xy_px) / obs.sigma_px[:, None],
        blocks=((s[0] + CAMERA * obs.camera_idx, by_camera * scale), (lens_col, by_lens * scale)),
        by_point=by_point * scale,
    )


def _face_point(u: Unknowns, face_idx: np.ndarray, points_face_m: np.ndarray):
    """Building points and their derivatives by face (6) and by face point (3)."""
    rotation = u.face_rotation[face_idx]
    turned = np.einsum("nij,nj->ni", rotation, points_face_m)
    by_face = np.concatenate([-skew(turned), np.broadcast_to(np.eye(3), (len(turned), 3, 3))], axis=2)
    return turned + u.face_translation_m[face_idx], by_face, rotation


def reference_rows(u: Unknowns, problem: Problem) -> Rows:
    """Clicks on reference points."""
    obs, s = problem.clicks, u.starts
    face_idx = problem.reference_face_idx[obs.thing_idx]
    points, by_face, by_place = _face_point(u, face_idx, u.reference_place_m[obs.thing_idx])
    pixels, by_camera, by_lens, by_point = _through_camera(u, problem, obs.camera_idx, points)
    scale = 1 / obs.sigma_px[:, None, None]
    return Rows(
        residual=(pixels - obs.xy_px) / obs.sigma_px[:, None],
        blocks=(
            (s[0] + CAMERA * obs.camera_idx, by_camera * scale),
            (s[1] + LENS * problem.camera_lens_idx[obs.camera_idx], by_lens * scale),
            (s[2] + FACE * face_idx, by_point @ by_face * scale),
            (s[4] + REFERENCE * obs.thing_idx, by_point @ by_place * scale),
        ),
    )


def marker_rows(u: Unknowns, problem: Problem) -> Rows:
    """Corners of marker sheets, eight residuals per sheet seen.

    The edge shift moves every corner outwards along its diagonal: blur, sharpening and the
    tone curve make a black square look larger or smaller by a constant number of pixels.
    """
    obs, s = problem.corners, u.starts
    n = len(obs)
    marker = np.repeat(obs.thing_idx, 4)
    camera = np.repeat(obs.camera_idx, 4)
    corner = np.tile(SHEET_CORNERS, (n, 1)) * problem.marker_half_m[marker][:, None]
    shaped = np.einsum("nij,nj->ni", u.marker_rotation[marker], corner) * np.exp(u.marker_log_scale[marker])[:, None]
    face_idx = problem.marker_face_idx[marker]
    points, by_face, by_place = _face_point(u, face_idx, shaped + u.marker_place_m[marker])
    pixels, by_camera, by_lens, by_point = _through_camera(u, problem, camera, points)
    by_marker = by_place @ np.concatenate(
        [-skew(shaped), np.broadcast_to(np.eye(3), (4 * n, 3, 3)), shaped[:, :, None]], axis=2
    )
    quad = pixels.reshape(n, 4, 2)
    outward = quad - quad.mean(axis=1, keepdims=True)
    outward = np.sqrt(2) * outward / np.maximum(np.linalg.norm(outward, axis=2, keepdims=True), 1e-9)
    lens_idx = problem.camera_lens_idx[obs.camera_idx]
    quad = quad + outward * u.lens[lens_idx, 7][:, None, None]
    by_lens = np.concatenate([by_lens, outward.reshape(4 * n, 2, 1)], axis=2)

    def whiten(derivative: np.ndarray) -> np.ndarray:
        return derivative.reshape(n, 8, -1) / obs.sigma_px[:, None, None]

    return Rows(
        residual=(quad - obs.xy_px).reshape(n, 8) / obs.sigma_px[:, None],
        blocks=(
            (s[0] + CAMERA * obs.camera_idx, whiten(by_camera)),
            (s[1] + LENS * lens_idx, whiten(by_lens)),
            (s[2] + FACE * problem.marker_face_idx[obs.thing_idx], whiten(by_point @ by_face)),
            (s[3] + MARKER * obs.thing_idx, whiten(by_point @ by_marker)),
        ),
    )


def _diagonal(residual: np.ndarray, first: np.ndarray, sigma: np.ndarray) -> Rows:
    width = residual.shape[1]
    sigma = np.broadcast_to(sigma, residual.shape)
    derivative = np.zeros((len(residual), width, width))
    derivative[:, np.arange(width), np.arange(width)] = 1 / sigma
    return Rows(residual=residual / sigma, blocks=((first, derivative),))


def lens_prior_rows(u: Unknowns, problem: Problem) -> Rows:
    """What is known of the lenses beforehand."""
    first = u.starts[1] + LENS * np.arange(len(u.lens))
    return _diagonal(u.lens - problem.lens_prior, first, problem.lens_sigma)


def taped_marker_rows(u: Unknowns, problem: Problem) -> Rows:
    """Taped places of marker sheets (offset, depth, height)."""
    first = u.starts[3] + MARKER * np.arange(len(u.marker_place_m)) + 3
    return _diagonal(u.marker_place_m - problem.marker_prior_m, first, problem.marker_sigma_m)


def sheet_rows(u: Unknowns, problem: Problem) -> Rows:
    """Sheets hang nearly flat and level, and are printed nearly true."""
    n = len(u.marker_place_m)
    turn = Rotation.from_matrix(u.marker_rotation @ problem.marker_rotation_prior.transpose(0, 2, 1)).as_rotvec()
    derivative = np.zeros((n, 4, MARKER))
    sigma = np.array([*problem.sigma_sheet_rad, problem.sigma_log_scale])
    derivative[:, [0, 1, 2, 3], [0, 1, 2, 6]] = 1 / sigma
    residual = np.concatenate([turn.reshape(n, 3), u.marker_log_scale[:, None]], axis=1) / sigma
    return Rows(residual=residual, blocks=((u.starts[3] + MARKER * np.arange(n), derivative),))


def taped_reference_rows(u: Unknowns, problem: Problem) -> Rows:
    """Taped places of reference points."""
    first = u.starts[4] + REFERENCE * np.arange(len(u.reference_place_m))
    return _diagonal(u.reference_place_m - problem.reference_prior_m, first, problem.reference_sigma_m)


def joint_rows(u: Unknowns, problem: Problem) -> Rows:
    """Corners of the room: each right end meets the next left end."""
    joints = problem.joints
    residual, first, second = np.zeros((len(joints), 6)), np.zeros((len(joints), 6, 6)), np.zeros((len(joints), 6, 6))
    for row, joint in enumerate(joints):
        residual[row], first[row], second[row] = _joint_row(u, joint)
    idx = np.array([[j.face_idx, j.next_idx] for j in joints], dtype=int).reshape(-1, 2)
    return Rows(
        residual=residual,
        blocks=((u.starts[2] + FACE * idx[:, 0], first), (u.starts[2] + FACE * idx[:, 1], second)),
    )


def _joint_row(u: Unknowns, joint: Joint) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    a, b = u.face_rotation[joint.face_idx], u.face_rotation[joint.next_idx]
    end = a @ np.array([joint.length_m, 0, 0])
    gap = end + u.face_translation_m[joint.face_idx] - u.face_translation_m[joint.next_idx]
    turn = Rotation.from_rotvec([0, 0, -(np.pi - joint.corner_rad)]).as_matrix()
    twist = Rotation.from_matrix(a @ turn @ b.T).as_rotvec()
    weight = 1 / np.array([joint.sigma_lean_rad, joint.sigma_lean_rad, joint.sigma_turn_rad,
                           joint.sigma_length_m, joint.sigma_across_m, joint.sigma_across_m])  # fmt: skip
    residual = np.concatenate([a.T @ twist, a.T @ gap])
    by_first, by_second = np.zeros((6, 6)), np.zeros((6, 6))
    by_first[:3, :3], by_second[:3, :3] = a.T, -a.T
    by_first[3:, :3] = -a.T @ skew(end[None])[0]
    by_first[3:, 3:], by_second[3:, 3:] = a.T, -a.T
    # a.T itself turns with the first face; twist and gap are small, so that term is left out.
    return residual * weight, by_first * weight[:, None], by_second * weight[:, None]


def held_rows(u: Unknowns, problem: Problem) -> Rows:
    """The faces that fix the building frame stay where the plan has them."""
    idx = np.array([face_idx for face_idx, _, _ in problem.held_faces], dtype=int)
    residual = np.zeros((len(idx), FACE))
    for row, (face_idx, rotation, translation_m) in enumerate(problem.held_faces):
        residual[row, :3] = Rotation.from_matrix(u.face_rotation[face_idx] @ rotation.T).as_rotvec()
        residual[row, 3:] = u.face_translation_m[face_idx] - translation_m
    return _diagonal(residual, u.starts[2] + FACE * idx, np.array(HELD_SIGMA))

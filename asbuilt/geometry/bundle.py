"""One joint solution of cameras, lenses, faces, marker sheets, reference points and tracks.

Robust Levenberg-Marquardt on whitened residuals. Track points are eliminated by the Schur
complement (Triggs, McLauchlan, Hartley, Fitzgibbon, "Bundle adjustment - a modern
synthesis", 2000, section 6.1; doi:10.1007/3-540-44480-7_21), what is left is solved densely.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import linalg, sparse

from asbuilt.errors import FailedEstimate
from asbuilt.geometry import bundle_rows as rows_of
from asbuilt.geometry.bundle_problem import Problem, Unknowns
from asbuilt.geometry.bundle_rows import Rows

# Robust scales in sigmas (our choice): beyond these a residual loses weight as Cauchy's.
ROBUST = {"tracks": 2.5, "corners": 4.5, "clicks": 3.5, "taped markers": 4.0, "taped references": 4.0, "sheets": 4.0}


FIRST_DAMPING, LIGHT_DAMPING = 1e-6, 1e-6  # times the diagonal
# A camera that nothing sees any more stays where it was, with a sigma of 100 m and radians.
CAMERA_WEIGHT = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Normal:
    """Normal equations after eliminating the points: S step = g, and the way back to the points."""

    matrix: np.ndarray  # (D, D)
    gradient: np.ndarray  # (D,)
    point_inverse: np.ndarray  # (P, 3, 3)
    point_gradient: np.ndarray  # (P, 3)
    coupling: sparse.csr_matrix  # (D, 3P)
    diagonal: np.ndarray  # (D,) before elimination

    def point_step(self, step: np.ndarray) -> np.ndarray:
        """The points' step for a step of the rest, shape (P, 3)."""
        rest = self.point_gradient - (self.coupling.T @ step).reshape(-1, 3)
        return np.einsum("pij,pj->pi", self.point_inverse, rest)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bundle:
    """A joint solution: the unknowns, the joint covariance of all columns, and the residuals."""

    unknowns: Unknowns
    covariance: np.ndarray  # (D, D)
    residuals: dict  # block name -> whitened residuals (n, k)
    iterations: int
    cost: float


def blocks_of(u: Unknowns, problem: Problem) -> dict[str, Rows]:
    """Every residual block that has anything in it."""
    blocks = {"lens prior": rows_of.lens_prior_rows(u, problem)}
    if len(problem.tracks):
        blocks["tracks"] = rows_of.track_rows(u, problem)
    if len(problem.marker_face_idx):
        blocks["taped markers"] = rows_of.taped_marker_rows(u, problem)
        blocks["sheets"] = rows_of.sheet_rows(u, problem)
    if len(problem.corners):
        blocks["corners"] = rows_of.marker_rows(u, problem)
    if len(problem.reference_face_idx):
        blocks["taped references"] = rows_of.taped_reference_rows(u, problem)
    if len(problem.clicks):
        blocks["clicks"] = rows_of.reference_rows(u, problem)
    if problem.joints:
        blocks["joints"] = rows_of.joint_rows(u, problem)
    if problem.held_faces:
        blocks["held"] = rows_of.held_rows(u, problem)
    return blocks


def _robust(name: str, residual: np.ndarray, widen: float) -> tuple[np.ndarray, float]:
    """Square-root weights per observation, and the robust cost of a block."""
    scale = ROBUST.get(name)
    squared = np.sum(residual**2, axis=1)
    if scale is None:
        return np.ones(len(residual)), float(squared.sum())
    limit = (scale * widen) ** 2 * residual.shape[1]
    return 1 / np.sqrt(1 + squared / limit), float(limit * np.log1p(squared / limit).sum())


def _point_weight(u: Unknowns, problem: Problem) -> np.ndarray:
    return np.full(len(u.point_m), 1 / problem.point_sigma_m**2)


def cost_of(u: Unknowns, problem: Problem, widen: float = 1.0) -> float:
    """Robust cost of a state."""
    total = sum(_robust(name, block.residual, widen)[1] for name, block in blocks_of(u, problem).items())
    return total + float(np.sum(((u.point_m - problem.point_prior_m) / problem.point_sigma_m) ** 2))


def normal_equations(u: Unknowns, problem: Problem, damping: float = 0.0, widen: float = 1.0) -> Normal:
    """Build and reduce the normal equations at a state; ``damping`` times the diagonal is added."""
    columns, count = int(u.starts[-1]), len(u.point_m)
    matrix = np.zeros((columns, columns))
    gradient = np.zeros(columns)
    coupling = sparse.csr_matrix((columns, 3 * count))
    point_hessian = np.eye(3) * _point_weight(u, problem)[:, None, None]
    point_gradient = -(u.point_m - problem.point_prior_m) / problem.point_sigma_m**2
    for name, block in blocks_of(u, problem).items():
        weight, _ = _robust(name, block.residual, widen)
        jacobian = block.matrix(columns, weight)
        residual = (block.residual * weight[:, None]).ravel()
        matrix += (jacobian.T @ jacobian).toarray()
        gradient -= jacobian.T @ residual
        if block.by_point is not None:
            by_point = block.by_point * weight[:, None, None]
            coupling = jacobian.T @ _point_matrix(by_point, problem.tracks.thing_idx, count)
            _add_at(point_hessian, problem.tracks.thing_idx, np.einsum("nki,nkj->nij", by_point, by_point))
            pull = np.einsum("nki,nk->ni", by_point, residual.reshape(-1, by_point.shape[1]))
            _add_at(point_gradient, problem.tracks.thing_idx, -pull)
    cameras = np.arange(u.starts[0], u.starts[1])
    matrix[cameras, cameras] += CAMERA_WEIGHT
    diagonal = np.diag(matrix).copy()
    matrix[np.diag_indices(columns)] += damping * diagonal
    point_hessian += damping * point_hessian * np.eye(3)
    inverse = np.linalg.inv(point_hessian)
    if count:
        half = coupling @ _block_diagonal(np.linalg.cholesky(inverse))
        matrix -= (half @ half.T).toarray()
        gradient -= coupling @ np.einsum("pij,pj->pi", inverse, point_gradient).ravel()
    return Normal(matrix=matrix, gradient=gradient, point_inverse=inverse, point_gradient=point_gradient,
                  coupling=coupling, diagonal=diagonal)  # fmt: skip


def _add_at(total: np.ndarray, idx: np.ndarray, values: np.ndarray) -> None:
    flat = values.reshape(len(values), -1)
    for k in range(flat.shape[1]):
        total.reshape(len(total), -1)[:, k] += np.bincount(idx, flat[:, k], minlength=len(total))


def _point_matrix(by_point: np.ndarray, point_idx: np.ndarray, count: int) -> sparse.csr_matrix:
    n, k, _ = by_point.shape
    cols = np.broadcast_to(3 * point_idx[:, None, None] + np.arange(3), by_point.shape)
    return sparse.csr_matrix((by_point.ravel(), cols.ravel(), np.arange(0, 3 * n * k + 1, 3)), shape=(n * k, 3 * count))


def _block_diagonal(blocks: np.ndarray) -> sparse.bsr_matrix:
    n = len(blocks)
    return sparse.bsr_matrix((blocks, np.arange(n), np.arange(n + 1)), shape=(3 * n, 3 * n))


@dataclass(frozen=True, slots=True, kw_only=True)
class Minimum:
    """Where a minimisation ended."""

    unknowns: Unknowns
    cost: float
    iterations: int


def minimise(
    u: Unknowns, problem: Problem, max_iterations: int = 30, tolerance: float = 1e-5, widen: float = 1.0
) -> Minimum:
    """Minimise the robust cost from a start.

    Parameters
    ----------
    u : Unknowns
        Start.
    problem : Problem
        Observations and priors.
    max_iterations : int
        Steps tried at most.
    tolerance : float
        Relative fall of the cost at which to stop.
    widen : float
        Factor on the robust scales: large from a poor start, 1 at the end.
    """
    damping, cost, iterations = FIRST_DAMPING, cost_of(u, problem, widen), 0
    for iterations in range(1, max_iterations + 1):  # noqa: B007
        normal = normal_equations(u, problem, damping, widen)
        try:
            step = _solve_scaled(normal.matrix, normal.gradient)
            trial = u.moved(step, normal.point_step(step))
            trial_cost = cost_of(trial, problem, widen)
        except (linalg.LinAlgError, ValueError):
            trial_cost = np.inf
        if not trial_cost < cost:
            damping *= 8
            if damping > 1e8:
                break
            continue
        fall, cost, u = (cost - trial_cost) / max(cost, 1e-12), trial_cost, trial
        damping = max(damping / 6, 1e-9)
        # A step held short by damping says nothing about how far the minimum is.
        if fall < tolerance and damping < LIGHT_DAMPING:
            break
    return Minimum(unknowns=u, cost=cost, iterations=iterations)


def solve(u: Unknowns, problem: Problem, max_iterations: int = 30, tolerance: float = 1e-6) -> Bundle | FailedEstimate:
    """Minimise the robust cost and give the joint covariance; see :func:`minimise`."""
    found = minimise(u, problem, max_iterations, tolerance)
    normal = normal_equations(found.unknowns, problem)
    try:
        covariance = _solve_scaled(normal.matrix, np.eye(len(normal.matrix)))
    except (linalg.LinAlgError, ValueError):
        return FailedEstimate("what was seen does not fix every picture")
    residuals = {name: block.residual for name, block in blocks_of(found.unknowns, problem).items()}
    return Bundle(unknowns=found.unknowns, covariance=covariance, residuals=residuals,
                  iterations=found.iterations, cost=found.cost)  # fmt: skip


def _solve_scaled(matrix: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Cholesky solution with the unknowns scaled to unit diagonal: pixels, radians and metres differ widely."""
    scale = 1 / np.sqrt(np.diag(matrix))
    factor = linalg.cho_factor(matrix * scale[:, None] * scale)
    shape = (-1,) + (1,) * (right.ndim - 1)
    return scale.reshape(shape) * linalg.cho_solve(factor, scale.reshape(shape) * right)

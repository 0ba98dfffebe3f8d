"""What is known of some parameters after more was seen than their covariance was worked out from."""

from __future__ import annotations

import numpy as np

ROUNDS = 6
CAUCHY = 2.0  # residuals beyond so many sigmas count ever less
IMPROBABLE = 3.0  # sigmas beyond which an observation is not about what it is taken for


def most_likely(covariance: np.ndarray, design: np.ndarray, seen: np.ndarray, sigma: np.ndarray, again: np.ndarray):
    """Corrections of parameters, from small differences that are seen.

    What is seen pulls the parameters only as far as their own covariance lets it, and where
    nothing is seen they stay. What is farther from nothing than the covariance and its own error
    allow is left out, what fits badly counts less.

    Parameters
    ----------
    covariance : ndarray of shape (K, K)
        Of the parameters as they are.
    design : ndarray of shape (N, K)
        What each difference would be for a parameter that is off by one.
    seen, sigma : ndarray of shape (N,)
        The differences and the error of each by itself.
    again : ndarray of shape (N,)
        How many times over each is seen, counting all that share its error.

    Returns
    -------
    ndarray of shape (K,)
        To be added to the parameters.
    """
    if not len(seen):
        return np.zeros(len(covariance))
    root = _root(covariance)
    by_unit = design @ root
    before = np.sqrt((by_unit**2).sum(axis=1))
    likely = np.abs(seen) <= IMPROBABLE * np.hypot(before, sigma)
    weight = np.ones(len(seen))
    for _ in range(ROUNDS):
        counted = likely * weight / (sigma**2 * again)
        normal = by_unit.T @ (by_unit * counted[:, None]) + np.eye(root.shape[1])
        unit = np.linalg.solve(normal, by_unit.T @ (counted * seen))
        weight = 1 / (1 + ((seen - by_unit @ unit) / (CAUCHY * sigma)) ** 2)
    return root @ unit


def _root(covariance: np.ndarray) -> np.ndarray:
    """A matrix whose product with its own transpose is the covariance, which need not be regular."""
    sigma = np.sqrt(np.diag(covariance))
    safe = np.where(sigma > 0, sigma, 1.0)
    values, vectors = np.linalg.eigh(covariance / np.outer(safe, safe))
    return sigma[:, None] * vectors * np.sqrt(np.maximum(values, 0))

"""How far answers are from the truth, and whether their stated errors hold."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

IN_M = 0.0254
Z95 = 1.959964


@dataclass(frozen=True, slots=True, kw_only=True)
class Accuracy:
    """Errors of one quantity over many sightings."""

    count: int
    median_m: float
    p95_m: float
    worst_m: float
    bias_m: float
    inside_95: float | None  # share of truths within the stated 95 % interval
    chi2_mean: float | None  # mean of (error / sigma)^2: 1 where sigmas are right and errors normal

    def row(self, name: str) -> str:
        """One line of a table, in inches."""
        stated = "" if self.inside_95 is None else f"{100 * self.inside_95:6.1f} % inside  chi2 {self.chi2_mean:5.2f}"
        return (
            f"{name:<28}{self.count:>6}  median {self.median_m / IN_M:6.3f} in  95 % {self.p95_m / IN_M:6.3f} in  "
            f"worst {self.worst_m / IN_M:7.3f} in  bias {self.bias_m / IN_M:+6.3f} in  {stated}"
        )


def accuracy(errors_m: np.ndarray, sigmas_m: np.ndarray | None = None) -> Accuracy:
    """Summarise signed errors (N,) and, if given, their stated sigmas (N,).

    Raises
    ------
    ValueError
        With no errors at all: a summary of nothing would look like a pass.
    """
    errors = np.asarray(errors_m, dtype=float)
    if errors.ndim != 1 or not len(errors):
        raise ValueError(f"expected errors of shape (N,), N > 0, got {errors.shape}")
    inside = chi2 = None
    if sigmas_m is not None:
        ratio = errors / np.asarray(sigmas_m, dtype=float)
        inside, chi2 = float((np.abs(ratio) <= Z95).mean()), float((ratio**2).mean())
    size = np.abs(errors)
    return Accuracy(
        count=len(errors),
        median_m=float(np.median(size)),
        p95_m=float(np.percentile(size, 95)),
        worst_m=float(size.max()),
        bias_m=float(errors.mean()),
        inside_95=inside,
        chi2_mean=chi2,
    )


def inside_interval_spread(count: int, share: float = 0.95) -> float:
    """Standard deviation of an observed share of ``count`` independent intervals."""
    return float(np.sqrt(share * (1 - share) / count))


def by_axis(estimated_m: np.ndarray, true_m: np.ndarray, sigmas_m: np.ndarray | None = None) -> dict[str, Accuracy]:
    """Accuracy of offset, depth and height from face points (N, 3)."""
    errors = np.asarray(estimated_m, dtype=float) - np.asarray(true_m, dtype=float)
    names = ("offset", "depth", "height")
    return {
        name: accuracy(errors[:, k], None if sigmas_m is None else np.asarray(sigmas_m)[:, k])
        for k, name in enumerate(names)
    }


def table(results: Mapping[str, Accuracy]) -> str:
    """A printable table of named accuracies."""
    return "\n".join(result.row(name) for name, result in results.items())

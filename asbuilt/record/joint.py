"""The joint covariance of a solution: cameras, lenses and faces, stored whole."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asbuilt.record.store import Record
from asbuilt.record.types import Placement, Solution


def pack(covariance: np.ndarray) -> bytes:
    """Upper triangle as sigmas (float64) and correlations (float32), zlib."""
    sigma = np.sqrt(np.diag(covariance))
    safe = np.where(sigma > 0, sigma, 1.0)
    upper = np.triu_indices(len(sigma), 1)
    correlation = (covariance / np.outer(safe, safe))[upper].astype(np.float32)
    return zlib.compress(sigma.astype("<f8").tobytes() + correlation.astype("<f4").tobytes(), 1)


def unpack(blob: bytes, count: int) -> np.ndarray:
    """The covariance that ``pack`` stored, shape (count, count)."""
    raw = zlib.decompress(blob)
    sigma = np.frombuffer(raw, "<f8", count)
    correlation = np.eye(count)
    upper = np.triu_indices(count, 1)
    correlation[upper] = np.frombuffer(raw, "<f4", offset=8 * count)
    correlation = correlation + np.triu(correlation, 1).T
    return correlation * np.outer(sigma, sigma)


@dataclass(frozen=True, slots=True, kw_only=True)
class JointCovariance:
    """Covariance of one solution, addressed by picture, lens and face."""

    matrix: np.ndarray
    camera_column: dict[str, int]
    lens_column: dict[str, int]
    face_column: dict[str, int]

    def block(self, placements: Sequence[Placement], face_id: str) -> tuple[np.ndarray, list[int], list[int], int]:
        """The part that some pictures and a face need.

        Returns
        -------
        covariance : ndarray of shape (K, K)
        camera_slots, lens_slots : list of int
            First column per placement in it.
        face_slot : int
        """
        columns: list[int] = []

        def take(first: int, width: int) -> int:
            columns.extend(range(first, first + width))
            return len(columns) - width

        cameras = [take(self.camera_column[p.id], 6) for p in placements]
        lenses = {p.lens_id: None for p in placements}
        for lens_id in lenses:
            lenses[lens_id] = take(self.lens_column[lens_id], 7)
        face = take(self.face_column[face_id], 6)
        pick = np.ix_(columns, columns)
        return self.matrix[pick], cameras, [lenses[p.lens_id] for p in placements], face


def joint_covariances(record: Record) -> dict[str, JointCovariance]:
    """Every solution's joint covariance by solution id."""
    cameras: dict[str, dict[str, int]] = {}
    for placement in record.all(Placement, status="placed"):
        cameras.setdefault(placement.solution_id, {})[placement.id] = placement.params_idx
    return {
        s.id: JointCovariance(
            matrix=unpack(s.joint_covariance, s.param_count),
            camera_column=cameras.get(s.id, {}),
            lens_column=s.report["lens_column"],
            face_column=s.report["face_column"],
        )
        for s in record.all(Solution)
    }

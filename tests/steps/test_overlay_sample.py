"""The record over photos of the sample's finished walls, against the renderer's truth."""

from __future__ import annotations

import shutil

import numpy as np

from asbuilt.record import Record
from tests.benchmarks.overlay import INCH, measure
from tests.truth import truth


def test_hidden_places_lie_within_half_an_inch_and_inside_their_bands(placed_sample, tmp_path):
    """Cover plates marked by an unsteady hand; what the finished wall hides is known to the renderer."""
    folder = shutil.copytree(placed_sample.folder, tmp_path / "record")
    with Record.open(folder) as record:
        found, refused = measure(record, truth(), rounds=5)
    assert refused == 0
    assert len({(h.photo, h.place) for h in found}) >= 30
    assert all(h.drawn for h in found)
    off_m = np.array([h.off_m for h in found])
    assert np.mean(off_m <= INCH / 2) >= 0.95
    assert np.mean([h.inside for h in found]) >= 0.95

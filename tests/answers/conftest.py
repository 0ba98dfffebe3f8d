"""Records of the sample room's truth, shared by the tests of answers."""

from __future__ import annotations

import pytest

from asbuilt.steps import coverage
from tests.truth import truth_record


@pytest.fixture(scope="session")
def dense_record(tmp_path_factory):
    """Every thing where it truly is, stated to 1 mm, with coverage."""
    with truth_record(tmp_path_factory.mktemp("dense") / "r") as record:
        coverage.run(record)
        yield record


@pytest.fixture(scope="session")
def clicked_record(tmp_path_factory):
    """Only the clicked spots, with an error of 6 mm, with coverage."""
    with truth_record(tmp_path_factory.mktemp("clicked") / "r", places="clicked", sigma_m=0.006, seed=3) as record:
        coverage.run(record)
        yield record

"""The sample building as its own files make it, placed once for all tests that need it."""

from __future__ import annotations

from pathlib import Path

import pytest

from asbuilt.cli.demo import make_record, read_script

SAMPLE_MEDIA = Path(__file__).parents[2] / "sample_media"


@pytest.fixture(scope="session")
def placed_sample(tmp_path_factory):
    """A record made from the sample's media, plan and clicks; read it, do not write to it."""
    with make_record(str(tmp_path_factory.mktemp("sample") / "record"), read_script(SAMPLE_MEDIA)) as record:
        yield record

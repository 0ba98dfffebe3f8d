"""Small records of the sample building, made once and copied."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from PIL import Image

from asbuilt.record import Record
from asbuilt.record.plan import load_plan
from asbuilt.steps import intake

SAMPLE = Path(__file__).parents[2] / "sample_media"


@pytest.fixture(scope="session")
def small_record(tmp_path_factory) -> Path:
    """The plan and two photos, not placed yet."""
    folder = tmp_path_factory.mktemp("small") / "r"
    with Record.create(folder, "small") as record:
        load_plan(record, SAMPLE / "plan.toml")
        photos = [_smaller(SAMPLE / name, folder.parent / name) for name in ("open_01.jpg", "open_02.jpg")]
        intake.run(record, photos, intake.IntakeOptions(progress=False))
    return folder


def _smaller(source: Path, target: Path) -> Path:
    with Image.open(source) as image:
        image.reduce(2).save(target, quality=92, exif=image.getexif())
    return target


@pytest.fixture
def library(small_record, tmp_path) -> Path:
    """Three such records, one of them a folder deeper, and one whose database is broken."""
    root = tmp_path / "buildings"
    for name in ("a", "b", "north/c"):
        shutil.copytree(small_record, root / name)
    (root / "broken").mkdir()
    (root / "broken" / "record.db").write_bytes(b"this is no database" * 100)
    return root

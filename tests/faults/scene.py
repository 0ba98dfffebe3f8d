"""A small record and the stages of work on it, each as a function that a child process runs."""

from __future__ import annotations

import itertools
import re
import shutil
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from unittest.mock import patch

import numpy as np
from PIL import Image
from pillow_heif import register_heif_opener

from asbuilt.errors import AsbuiltError
from asbuilt.handover.package import HandoverOptions, hand_over
from asbuilt.handover.verify import verify
from asbuilt.record import Item, Media, Picture, Placement, Record, Sighting
from asbuilt.record import media as media_store
from asbuilt.record.elevation_row import Elevation
from asbuilt.record.elevations import overview_path
from asbuilt.record.plan import load_plan
from asbuilt.record.types import PLACED
from asbuilt.steps import coverage, elevation, intake, intake_video, locate, place
from asbuilt.web import create_app
from tests.clips import framed_wall, walk_along, write_clip

MEDIA = Path(__file__).parents[2] / "sample_media"
SIDE_PX = 960  # enough for the marker sheets, and quick
CLIP_FRAMES = 600
SLOW_S = 1.5  # how long copying a large clip takes
PHOTOS = ("open_01.jpg", "open_02.jpg")  # that can be placed without others
ELEVATION = elevation.ElevationOptions(scale_px_per_m=60.0, force=True)


class RefusedError(AsbuiltError, RuntimeError):
    """The viewer did not do what it was asked to."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """One kind of work.

    ``start`` is the folder of the record it begins with. ``run(folder, confirm)`` does it and
    says what is confirmed as it goes; ``lacks(folder, confirmed)`` says what is not there
    after it was run to its end.
    """

    name: str
    start: Path
    run: Callable[[Path, Callable[[str], None]], None]
    lacks: Callable[[Path, list[str]], Iterator[str]]


class Scene:
    """Records and files made once in a folder, to be copied for every trial."""

    def __init__(self, base: Path) -> None:
        self.base = base
        base.mkdir(parents=True, exist_ok=True)
        self.photos = list(_small_photos(base / "photos"))
        images = walk_along(framed_wall(3000, 400), CLIP_FRAMES, 2, 320, 180)
        self.clip = write_clip(base / "walk.mp4", images, np.arange(CLIP_FRAMES) / 30,
                               codec_options={"preset": "ultrafast", "g": "60"})  # fmt: skip
        self.planned, self.taken, self.placed = (base / name for name in ("planned", "taken", "placed"))
        with Record.create(self.planned, "House", author="scene") as record:
            load_plan(record, MEDIA / "plan.toml")
        shutil.copytree(self.planned, self.taken)
        with Record.open(self.taken) as record:
            intake.run(record, self.photos, intake.IntakeOptions(stage="open", progress=False))
        shutil.copytree(self.taken, self.placed)
        with Record.open(self.placed) as record:
            place.run(record)
            coverage.run(record)
            self.placed_ids = {p.id for p in record.all(Placement, status=PLACED)}

    def stages(self) -> dict[str, Stage]:
        """Every kind of work, by name."""
        kinds = (
            ("intake", self.planned, self.take_in, self.lacks_files),
            ("large clip", self.planned, self.take_large_in, self.lacks_files),
            ("placing", self.taken, self.place, self.lacks_placements),
            ("elevation", self.placed, self.straighten, self.lacks_elevation),
            ("tagging", self.placed, self.tag, self.lacks_tags),
            ("hand-over", self.placed, self.pack, self.lacks_package),
        )
        return {n: Stage(name=n, start=start, run=run, lacks=lacks) for n, start, run, lacks in kinds}

    def take_in(self, folder: Path, confirm: Callable[[str], None]) -> None:
        """Take photos and a clip in."""
        with Record.open(folder, author="trial") as record:
            intake.run(record, [*self.photos, self.clip], intake.IntakeOptions(stage="open", progress=False))

    def take_large_in(self, folder: Path, confirm: Callable[[str], None]) -> None:
        """The same with the clip as one that is looked at before it is copied, which takes its time."""
        copied = intake_video.store_original

        def copied_slowly(record: Record, source: Path, progress: Callable[[int], object]):
            def slowly(byte_count: int) -> None:
                time.sleep(SLOW_S * byte_count / self.clip.stat().st_size)
                progress(byte_count)

            return copied(record, source, slowly)

        with (
            patch.object(intake_video, "LENT_FROM_BYTES", 0),
            patch.object(intake_video, "store_original", copied_slowly),
            patch.object(media_store, "CHUNK_BYTES", self.clip.stat().st_size // 20),
        ):
            self.take_in(folder, confirm)

    def lacks_files(self, folder: Path, confirmed: list[str]) -> Iterator[str]:
        """Files that were not taken in whole, and frames that came twice or are too far apart."""
        with Record.open(folder) as record:
            media = record.all(Media)
            names = sorted(m.name for m in media)
            if names != sorted(p.name for p in [*self.photos, self.clip]):
                yield f"files: {names}"
            yield from (f"{m.name} is {m.state}" for m in media if m.state != "done")
            clip = [m.id for m in media if m.kind == "video"]
            times_s = sorted(p.pts_s for p in record.all(Picture, media_id=clip))
            if len(set(times_s)) != len(times_s) or len(times_s) < 4:
                yield f"{len(times_s)} frames, {len(set(times_s))} times"

    def place(self, folder: Path, confirm: Callable[[str], None]) -> None:
        """Place the pictures and locate what is sighted."""
        with Record.open(folder, author="trial") as record:
            place.run(record)
            locate.run(record)
            coverage.run(record)

    def lacks_placements(self, folder: Path, confirmed: list[str]) -> Iterator[str]:
        """Pictures that an undisturbed run places and this one did not."""
        with Record.open(folder) as record:
            lost = self.placed_ids - {p.id for p in record.all(Placement, status=PLACED)}
            yield from (f"{i} is not placed" for i in lost)

    def straighten(self, folder: Path, confirm: Callable[[str], None]) -> None:
        """Make an elevation picture."""
        with Record.open(folder, author="trial") as record:
            elevation.run(record, ELEVATION)

    def lacks_elevation(self, folder: Path, confirmed: list[str]) -> Iterator[str]:
        """Elevations without their picture."""
        with Record.open(folder) as record:
            rows = record.all(Elevation)
            if not rows:
                yield "no elevation"
            for row in rows:
                with Image.open(overview_path(record, row)) as image:
                    image.load()

    def tag(self, folder: Path, confirm: Callable[[str], None]) -> None:
        """Name things in pictures as the viewer's pages do; each answer of the viewer is confirmed."""
        client = create_app(folder, author="trial").test_client()
        token = re.search(r'name="csrf" content="([^"]+)"', client.get("/").text)[1]
        with Record.open(folder) as record:
            ids = sorted(self.placed_ids & {p.id for p in record.all(Picture)})
        for number in itertools.count():
            data = {"csrf_token": token, "kind": "device box", "label": f"box {number}",
                    "x_px": str(100 + number % 700), "y_px": "300"}  # fmt: skip
            answer = client.post(f"/pictures/{ids[number % len(ids)]}/sightings", data=data,
                                 headers={"Accept": "application/json"})  # fmt: skip
            if answer.status_code != 201:
                raise RefusedError(f"tagging was answered {answer.status_code}: {' '.join(answer.text.split())[:200]}")
            confirm(answer.json["item_id"])
            if number >= 40:
                return

    def lacks_tags(self, folder: Path, confirmed: list[str]) -> Iterator[str]:
        """Things that the viewer confirmed and that are not there, or half there."""
        with Record.open(folder) as record:
            sighted = {s.target_id for s in record.all(Sighting)}
            items = {i.id for i in record.all(Item)}
            history = {h["row_id"] for h in record.history(100_000) if h["table_name"] == "items"}
        yield from (f"{i} was confirmed and is not there" for i in confirmed if i not in items)
        yield from (f"{i} has no sighting" for i in items - sighted)
        yield from (f"{i} has no history" for i in items - history)

    def pack(self, folder: Path, confirm: Callable[[str], None]) -> None:
        """Make a package, a folder and a ZIP; each that is finished is confirmed."""
        options = HandoverOptions(without=frozenset({"binder", "drawings"}))
        with Record.open(folder, author="trial") as record:
            for target in (folder.with_name("package"), folder.with_name("package.zip")):
                if not target.exists():
                    hand_over(record, target, options)
                confirm(str(target))

    def lacks_package(self, folder: Path, confirmed: list[str]) -> Iterator[str]:
        """Packages that are not whole, and what a killed run left lying."""
        for name in ("package", "package.zip"):
            yield from (f.line() for f in verify(folder.with_name(name)).findings)
        yield from (f"{p.name} was left" for p in folder.parent.glob(".*"))


def _small_photos(folder: Path) -> Iterator[Path]:
    register_heif_opener()
    folder.mkdir(parents=True)
    for name in PHOTOS:
        with Image.open(MEDIA / name) as image:
            exif = image.info.get("exif", b"")
            image.thumbnail((SIDE_PX, SIDE_PX), Image.Resampling.LANCZOS)
            image.save(folder / name, quality=90, exif=exif)
        yield folder / name

"""Long inputs: memory, progress, first pictures, interruption and resume against length.

    python -m tests.benchmarks.long_inputs --minutes 1 3 9 --photos 100 400
    python -m tests.benchmarks.long_inputs --minutes 60 --photos 2000     # the full size: 22 GB, an hour of work
    python -m tests.benchmarks.long_inputs --minutes 5 20 --width 640 --photos  # memory against length alone

The clips are 4K, made by repeating the packets of the encoded sample walk; the photos are the
sample's with a differing comment in each. Each is taken in by ``asbuilt add`` in a process of its
own; the memory counted is the most that it and its children together hold at once, sampled
20 times a second (shared pages counted in each). Every clip is also taken in a second time, killed
(SIGKILL, whole process group) halfway and taken up again by ``asbuilt add RECORD``.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import psutil

from asbuilt.record import Media, Picture, Record
from asbuilt.record.pixels import picture_jpeg
from tests.benchmarks.intake import KINDS, ROOT, Kind, make_clip, plain_decoding
from tests.benchmarks.row import Row, as_markdown

FOUR_K_PX = 3840
ASBUILT = [sys.executable, "-c", "from asbuilt.cli import main; main()"]
FIRST_PICTURES_S = 10.0
# Flat: what is held in the last quarter of a run against its second one. Peaks of different runs
# differ by the frames that happen to be waiting, a dozen MiB each in 4K.
FLAT = 1.05


@dataclass(slots=True)
class Watched:
    """What was seen of a run of ``asbuilt add``."""

    wall_s: float = 0.0
    processor_s: float = 0.0
    held_mib: list[float] = field(default_factory=list)  # one value each sample
    first_picture_s: float | None = None
    spread_s: float | None = None  # pictures over 9 tenths of the clip
    steps: int = 0  # times that more pictures were found
    counts: list[int] = field(default_factory=list)

    @property
    def peak_mib(self) -> float:
        """The most that was held at once."""
        return max(self.held_mib)

    @property
    def late_share(self) -> float:
        """Memory held in the last quarter of the run, against the second quarter (medians)."""
        quarter = len(self.held_mib) // 4
        return float(np.median(self.held_mib[-quarter:]) / np.median(self.held_mib[quarter : 2 * quarter]))


def add(
    folder: Path, files: list[Path], until: Callable[[int], bool] | None = None, length_s: float = np.inf
) -> Watched:
    """Run ``asbuilt add`` and watch it; killed once ``until`` says so of the number of pictures."""
    seen, started = Watched(), time.monotonic()
    command = [*ASBUILT, "add", str(folder), *map(str, files)]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True)
    watched = psutil.Process(process.pid)
    with Record.open(folder) as record:
        while process.poll() is None:
            time.sleep(0.05)
            _sample(watched, seen)
            _look(record, seen, time.monotonic() - started, length_s)
            if until and seen.counts and until(seen.counts[-1]):
                os.killpg(process.pid, signal.SIGKILL)
                process.wait()
    seen.wall_s = time.monotonic() - started
    return seen


def _sample(watched: psutil.Process, seen: Watched) -> None:
    with contextlib.suppress(psutil.Error):
        family = [watched, *watched.children(recursive=True)]
        seen.held_mib.append(sum(p.memory_info().rss for p in family) / 2**20)
        times = [p.cpu_times() for p in family]
        seen.processor_s = max(seen.processor_s, sum(t.user + t.system for t in times))


def _look(record: Record, seen: Watched, now_s: float, length_s: float) -> None:
    count = record.db["pictures"].count
    if count == (seen.counts[-1] if seen.counts else 0):
        return
    seen.counts.append(count)
    seen.steps += 1
    if seen.first_picture_s is None:
        picture_jpeg(record, record.all(Picture)[0])  # usable: its pixels can be had
        seen.first_picture_s = now_s
    if seen.spread_s is None and (media := record.all(Media, kind="video")):
        seconds = [p.pts_s for p in record.all(Picture, media_id=media[0].id)]
        if max(seconds) - min(seconds) > 0.9 * length_s:
            seen.spread_s = now_s


def kept(folder: Path) -> set[str]:
    """Ids of the pictures in a record."""
    with Record.open(folder) as record:
        assert all(m.state == "done" for m in record.all(Media))
        return {p.id for p in record.all(Picture)}


def new_record(folder: Path) -> Path:
    """An empty record."""
    Record.create(folder, "Long").close()
    return folder


def video(folder: Path, kind: Kind, minutes: float) -> dict:
    """One length of clip: undisturbed, and killed halfway and taken up again."""
    clip = make_clip(folder / "clip.mp4", kind, 60 * minutes)
    plain = plain_decoding(clip)
    whole = add(new_record(folder / "whole"), [clip], length_s=60 * minutes)
    pictures = kept(folder / "whole")
    shutil.rmtree(folder / "whole")
    add(new_record(folder / "broken"), [clip], until=lambda count: count > len(pictures) / 2)
    resumed = add(folder / "broken", [])
    same = kept(folder / "broken") == pictures
    megabytes = clip.stat().st_size / 1e6
    shutil.rmtree(folder / "broken")
    clip.unlink()
    return {"kind": kind.name, "minutes": minutes, "megabytes": megabytes, "plain": plain, "whole": whole,
            "resumed": resumed, "same": same, "pictures": len(pictures)}  # fmt: skip


def kind_of(width_px: int) -> Kind:
    """4K as phones write it, or as much smaller as asked."""
    four_k = next(k for k in KINDS if k.size[0] == FOUR_K_PX)
    share = width_px / FOUR_K_PX
    if share == 1:
        return four_k
    size = (width_px, round(share * four_k.size[1] / 2) * 2)
    return replace(four_k, name=f"{size[0]}x{size[1]} H.264", size=size, bit_rate=round(four_k.bit_rate * share))


def make_photos(folder: Path, count: int) -> list[Path]:
    """The sample's JPEG photos over and over, each with another comment segment."""
    folder.mkdir()
    sources = [p.read_bytes() for p in sorted((ROOT / "sample_media").glob("open_*.jpg"))]
    made = []
    for n in range(count):
        data, note = sources[n % len(sources)], f"copy {n}".encode()
        segment = b"\xff\xfe" + (len(note) + 2).to_bytes(2, "big") + note
        made.append(folder / f"{n:05d}.jpg")
        made[-1].write_bytes(data[:2] + segment + data[2:])
    return made


def photos(folder: Path, count: int) -> dict:
    """So many photos: undisturbed, and killed halfway and named again."""
    files = make_photos(folder / "photos", count)
    whole = add(new_record(folder / "whole"), files)
    pictures = kept(folder / "whole")
    shutil.rmtree(folder / "whole")
    add(new_record(folder / "broken"), files, until=lambda n: n > count / 2)
    resumed = add(folder / "broken", files)
    same = kept(folder / "broken") == pictures and len(pictures) == count
    shutil.rmtree(folder / "broken")
    shutil.rmtree(folder / "photos")
    return {"count": count, "whole": whole, "resumed": resumed, "same": same}


def slope(sizes: list[float], peaks_mib: list[float]) -> float:
    """Growth of the peak with size, least squares [MiB per unit]."""
    return float(np.polyfit(sizes, peaks_mib, 1)[0]) if len(set(sizes)) > 1 else 0.0


def video_rows(found: list[dict]) -> list[Row]:
    """The figures of several lengths of clip."""
    table = []
    for f in found:
        name, whole, resumed = f"{f['minutes']:g} min of {f['kind']}, {f['megabytes']:.0f} MB", f["whole"], f["resumed"]
        ratio = whole.wall_s / f["plain"].wall_s
        table += [
            Row(what=f"{name}: intake", ratio=ratio, peer="plain decoding, wall", value=f"{whole.wall_s:.0f} s, "
                f"{f['pictures']} pictures", must="1.5 or less", holds=ratio <= 1.5),
            Row(what=f"{name}: intake", ratio=whole.processor_s / f["plain"].processor_s,
                peer="plain decoding, processor time", value=f"{whole.processor_s / whole.wall_s:.1f} cores busy"),
            Row(what=f"{name}: memory in the last quarter", ratio=whole.late_share, peer="the second quarter",
                value=f"peak {whole.peak_mib:.0f} MiB", must="under 1.05", holds=whole.late_share < FLAT),
            Row(what=f"{name}: first picture usable", must="within 10 s",
                value=f"{whole.first_picture_s:.1f} s, over the whole clip {whole.spread_s:.1f} s",
                holds=whole.first_picture_s <= FIRST_PICTURES_S),
            Row(what=f"{name}: progress", value=f"pictures became more {whole.steps} times, every "
                f"{whole.wall_s / whole.steps:.1f} s"),
            Row(what=f"{name}: killed halfway, taken up again", ratio=resumed.wall_s / whole.wall_s,
                peer="whole intake", value=f"{resumed.wall_s:.0f} s", must="the same pictures", holds=f["same"]),
        ]  # fmt: skip
    per_hour = 60 * slope([f["minutes"] for f in found], [f["whole"].peak_mib for f in found])
    lengths = " to ".join(f"{m:g}" for m in (found[0]["minutes"], found[-1]["minutes"]))
    return [*table, Row(what=f"peak memory, {lengths} min", value=f"{per_hour:+.0f} MiB an hour")]


def photo_rows(found: list[dict]) -> list[Row]:
    """The figures of several numbers of photos."""
    table = []
    for f in found:
        whole, resumed = f["whole"], f["resumed"]
        table += [
            Row(what=f"{f['count']} photos: intake", value=f"{f['count'] / whole.wall_s:.1f} a second, "
                f"{whole.processor_s / whole.wall_s:.1f} cores busy, peak {whole.peak_mib:.0f} MiB"),
            Row(what=f"{f['count']} photos: memory in the last quarter", ratio=whole.late_share,
                peer="the second quarter", must="under 1.05", holds=whole.late_share < FLAT),
            Row(what=f"{f['count']} photos: killed halfway, taken up again", ratio=resumed.wall_s / whole.wall_s,
                peer="whole intake", must="the same pictures", holds=f["same"]),
        ]  # fmt: skip
    per_thousand = 1000 * slope([f["count"] for f in found], [f["whole"].peak_mib for f in found])
    return [*table, Row(what="peak memory", value=f"{per_thousand:+.0f} MiB a thousand photos")]


def rows(quick: bool = False) -> list[Row]:
    """All figures, of short lengths: the command here takes longer ones."""
    return measure([0.1, 0.3], FOUR_K_PX, [10, 20]) if quick else measure([0.25, 0.75], FOUR_K_PX, [20, 60])


def measure(minutes: list[float], width_px: int, counts: list[int]) -> list[Row]:
    """The figures of clips of those lengths, and of so many photos."""
    with tempfile.TemporaryDirectory() as name:
        table = video_rows([video(Path(name), kind_of(width_px), m) for m in minutes]) if minutes else []
        return table + (photo_rows([photos(Path(name), n) for n in counts]) if counts else [])


def main() -> None:
    """Measure and print a Markdown table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=float, nargs="+", default=[1, 3, 9])
    parser.add_argument("--width", type=int, default=FOUR_K_PX, help="of the clips [px]")
    parser.add_argument("--photos", type=int, nargs="*", default=[100, 400])
    chosen = parser.parse_args()
    print(f"{os.cpu_count()} cores, load before {os.getloadavg()[0]:.1f}\n")
    print(as_markdown("Long inputs", measure(chosen.minutes, chosen.width, chosen.photos)))


if __name__ == "__main__":
    main()

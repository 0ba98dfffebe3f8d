"""Intake of video against plain decoding of the same file, and what it keeps of the sample walk.

    python -m tests.benchmarks.intake --seconds 60 --repeats 3

The clips are the sample walk, forth and back, at 30 frames a second and about the bit rates phones
write. Plain decoding is PyAV with all its threads and nothing else. Both are measured in turn in one
run; the least of the repeats counts. Copying the original into the record and writing the rows are
part of intake. Processor time is given beside, since another program on the machine disturbs it less.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import platform
import resource
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import islice
from pathlib import Path

import av
import cv2
import numpy as np

from asbuilt.record import Media, Picture, Record
from asbuilt.steps import intake

ROOT = Path(__file__).parents[2]
WALK = ROOT / "sample_media" / "walk.mp4"
TRUTH = ROOT / "tests" / "data" / "sample_truth.json"
RATE = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of clip to measure."""

    name: str
    size: tuple[int, int]
    codec: str
    bit_rate: int
    length_share: float = 1.0  # of the seconds asked for


KINDS = (
    Kind(name="1080p H.264", size=(1920, 1080), codec="libx264", bit_rate=17_000_000),
    Kind(name="1080p HEVC", size=(1920, 1080), codec="libx265", bit_rate=10_000_000, length_share=0.5),
    Kind(name="4K H.264", size=(3840, 2160), codec="libx264", bit_rate=48_000_000, length_share=0.5),
    Kind(name="4K HEVC", size=(3840, 2160), codec="libx265", bit_rate=24_000_000, length_share=0.25),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """Wall and processor time, and the most memory of the scanning process."""

    wall_s: float
    processor_s: float
    peak_mib: float = 0.0
    pictures: int = 0


def walk_frames() -> Iterator[np.ndarray]:
    """Frames of the sample walk, forth and back, BGR."""
    with av.open(str(WALK)) as container:
        packed = [cv2.imencode(".jpg", f.to_ndarray(format="bgr24"))[1] for f in container.decode(video=0)]
    for idx in [*range(len(packed)), *range(len(packed) - 2, 0, -1)]:
        yield cv2.imdecode(packed[idx], cv2.IMREAD_COLOR)


def make_clip(path: Path, kind: Kind, seconds: float) -> Path:
    """Write a clip of the walk; what is longer than the walk repeats its packets."""
    count = round(seconds * RATE)
    with av.open(str(path), "w") as container:
        stream = container.add_stream(kind.codec, rate=RATE, options=_encoder_options(kind))
        stream.width, stream.height = kind.size
        stream.pix_fmt, stream.bit_rate = "yuv420p", kind.bit_rate
        packets = encoded_walk(kind, min(count, walk_length()))
        for start in range(0, count, len(packets)):
            for packet in packets[: count - start]:
                container.mux(_later(packet, stream, start))
    return path


@cache
def walk_length() -> int:
    """Frames of the sample walk, forth and back."""
    with av.open(str(WALK)) as container:
        return 2 * container.streams.video[0].frames - 2


@cache
def encoded_walk(kind: Kind, frames: int) -> list[av.Packet]:
    """The packets of the walk, forth and back, no more than so many frames of it."""
    with av.open(io.BytesIO(), "w", format="mp4") as container:
        stream = container.add_stream(kind.codec, rate=RATE, options=_encoder_options(kind))
        stream.width, stream.height = kind.size
        stream.pix_fmt, stream.bit_rate = "yuv420p", kind.bit_rate
        packets = []
        for idx, image in enumerate(islice(walk_frames(), frames)):
            if kind.size != image.shape[1::-1]:
                image = cv2.resize(image, kind.size, interpolation=cv2.INTER_CUBIC)
            frame = av.VideoFrame.from_ndarray(image, format="bgr24")
            frame.pts, frame.time_base = idx, Fraction(1, RATE)
            packets += stream.encode(frame)
        return packets + stream.encode(None)


def _encoder_options(kind: Kind) -> dict:
    return {"preset": "veryfast"} | ({"x265-params": "log-level=none"} if kind.codec == "libx265" else {})


def _later(packet: av.Packet, stream: av.VideoStream, frames: int) -> av.Packet:
    shift = round(Fraction(frames, RATE) / packet.time_base)
    copy = av.Packet(bytes(packet))
    copy.stream, copy.time_base, copy.is_keyframe = stream, packet.time_base, packet.is_keyframe
    copy.pts, copy.dts, copy.duration = packet.pts + shift, packet.dts + shift, packet.duration
    return copy


def processor_s() -> float:
    """Processor time of this process and its finished children so far."""
    both = (resource.getrusage(resource.RUSAGE_SELF), resource.getrusage(resource.RUSAGE_CHILDREN))
    return sum(used.ru_utime + used.ru_stime for used in both)


def plain_decoding(path: Path) -> Timing:
    """Decode every frame and do nothing with it."""
    wall, processor = time.perf_counter(), processor_s()
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        stream.thread_type = "AUTO"
        for _ in container.decode(stream):
            pass
    return Timing(wall_s=time.perf_counter() - wall, processor_s=processor_s() - processor)


def taking_in(path: Path) -> Timing:
    """Take a clip into a new record."""
    with tempfile.TemporaryDirectory(dir=path.parent) as folder, Record.create(Path(folder) / "r", "B") as record:
        watch = PeakMemory()
        wall, processor = time.perf_counter(), processor_s()
        with watch:
            intake.run(record, [path], intake.IntakeOptions(progress=False))
        wall, processor = time.perf_counter() - wall, processor_s() - processor
        assert record.all(Media)[0].state == "done"
        count = len(record.all(Picture))
    return Timing(wall_s=wall, processor_s=processor, peak_mib=watch.peak_mib, pictures=count)


class PeakMemory:
    """The most resident memory that any child process reached."""

    def __init__(self) -> None:
        self.peak_mib = 0.0
        self.stopped = threading.Event()
        self.thread = threading.Thread(target=self._watch, daemon=True)

    def __enter__(self) -> None:
        self.thread.start()

    def __exit__(self, *exc) -> None:
        self.stopped.set()
        self.thread.join()

    def _watch(self) -> None:
        children = Path(f"/proc/{os.getpid()}/task/{os.getpid()}/children")
        while not self.stopped.wait(0.05):
            for pid in children.read_text().split():
                try:
                    status = Path(f"/proc/{pid}/status").read_text()
                except OSError:
                    continue
                peak_kib = next((int(line.split()[1]) for line in status.splitlines() if "VmHWM" in line), 0)
                self.peak_mib = max(self.peak_mib, peak_kib / 1024)


def least(timings: list[Timing]) -> Timing:
    """The undisturbed one of several runs."""
    return Timing(
        wall_s=min(t.wall_s for t in timings),
        processor_s=min(t.processor_s for t in timings),
        peak_mib=max(t.peak_mib for t in timings),
        pictures=timings[-1].pictures,
    )


def measure(kind: Kind, folder: Path, seconds: float, repeats: int) -> dict:
    """One row of the table."""
    length_s = seconds * kind.length_share
    clip = make_clip(folder / "clip.mp4", kind, length_s)
    plain, taken = [], []
    for _ in range(repeats):
        plain.append(plain_decoding(clip))
        taken.append(taking_in(clip))
    decoding, taking = least(plain), least(taken)
    return {
        "kind": kind.name,
        "length_s": length_s,
        "megabit_per_s": clip.stat().st_size * 8e-6 / length_s,
        "decoding_s_per_min": decoding.wall_s / length_s * 60,
        "intake_s_per_min": taking.wall_s / length_s * 60,
        "ratio": taking.wall_s / decoding.wall_s,
        "processor_ratio": taking.processor_s / decoding.processor_s,
        "peak_mib": taking.peak_mib,
        "pictures": taking.pictures,
    }


def memory_by_length(folder: Path, seconds: float) -> list[dict]:
    """Peak memory of the scanning process for a clip and one four times as long."""
    rows = []
    for times in (1, 4):
        clip = make_clip(folder / "clip.mp4", KINDS[0], seconds * times / 2)
        rows.append({"length_s": seconds * times / 2, "peak_mib": taking_in(clip).peak_mib})
    return rows


def against_truth() -> dict:
    """What intake makes of the sample walk, whose frames are known."""
    frames = json.loads(TRUTH.read_text())["video"]["frames"]
    times_s = np.array([f["time_s"] for f in frames])
    with tempfile.TemporaryDirectory() as folder, Record.create(Path(folder) / "r", "B") as record:
        report = intake.run(record, [WALK], intake.IntakeOptions(progress=False))
        pictures = record.all(Picture)
    kept = {int(np.argmin(np.abs(times_s - p.pts_s))): p for p in pictures}
    found = {
        reason: {i for d in report.dropped if d.reason == reason for i in np.flatnonzero(
            (times_s >= d.from_s - 1e-4) & (times_s <= d.to_s + 1e-4))}
        for reason in ("blurred", "off wall")
    }  # fmt: skip
    true = {flag: {i for i, f in enumerate(frames) if f["flags"][flag]} for flag in ("blurred", "dark", "off_wall")}
    return {
        "frames": len(frames),
        "kept": len(kept),
        "blurred_true": len(true["blurred"]),
        "blurred_dropped": len(true["blurred"] & (found["blurred"] | found["off wall"])),
        "off_wall_true": len(true["off_wall"]),
        "off_wall_dropped": len(true["off_wall"] & (found["blurred"] | found["off wall"])),
        "good_dropped": len((found["blurred"] | found["off wall"]) - true["blurred"] - true["off_wall"]),
        "bad_kept": len(set(kept) & (true["blurred"] | true["off_wall"])),
        "dark_kept": len(set(kept) & true["dark"]),
        "dark_flagged": sum("dark" in kept[i].flags for i in set(kept) & true["dark"]),
        "good_flagged_dark": sum("dark" in p.flags for i, p in kept.items() if i not in true["dark"]),
    }


def main() -> None:
    """Measure and print Markdown tables, or JSON."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=60.0, help="length of the 1080p H.264 clip")
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--only", help="only kinds whose name holds this")
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        kinds = [k for k in KINDS if not given.only or given.only in k.name]
        result = {
            "machine": f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, "
            f"PyAV {av.__version__}, load before {os.getloadavg()[0]:.1f}",
            "speed": [measure(kind, folder, given.seconds, given.repeats) for kind in kinds],
            "memory": memory_by_length(folder, given.seconds),
            "sample_walk": against_truth(),
        }
    print(json.dumps(result, indent=2) if given.json else as_markdown(result))


def as_markdown(result: dict) -> str:
    """The tables, ratios first."""
    lines = [result["machine"], ""]
    for title in ("speed", "memory"):
        rows = result[title]
        first = [n for n in rows[0] if "ratio" in n]
        names = [*first, *(n for n in rows[0] if n not in first)]
        lines += ["| " + " | ".join(names) + " |", "|" + " --- |" * len(names)]
        for row in rows:
            cells = [f"{row[n]:.2f}" if isinstance(row[n], float) else str(row[n]) for n in names]
            lines.append("| " + " | ".join(cells) + " |")
        lines.append("")
    lines += [f"{name}: {value}" for name, value in result["sample_walk"].items()]
    return "\n".join(lines)


if __name__ == "__main__":
    main()

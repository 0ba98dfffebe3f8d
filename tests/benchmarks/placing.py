"""Placing a walkthrough against pycolmap's incremental mapping of the same frames, in one run.

    python -m tests.benchmarks.placing [ROOM] [--patience 30] [--frames 0]

Both get the frames kept of the room's clip, or the first of them, and two cores. Time is wall clock from pixels
to poses; pycolmap is stopped after some times our own time (--patience), and the ratio is then a bound. Accuracy is
of camera centres against the truth: ours as placed by the sheets (after one rigid fit, scale kept), each
piece of pycolmap's after its own similarity fit, which hides its scale and bending.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import resource
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
from threadpoolctl import threadpool_limits

from asbuilt.record import Picture, Placement, Record
from asbuilt.record.pixels import iter_pictures
from asbuilt.record.plan import load_plan
from asbuilt.steps import intake, place
from tests.benchmarks.accuracy import SAMPLE, room_truth
from tests.benchmarks.row import Row, as_markdown
from tests.rooms.rendered import camera_center_errors_m, fitted_errors_m, true_camera_centers

CORES = 2
OVERLAP = 10
# In all benchmarks together; of all frames of the sample pycolmap takes over 20 times as long as we do.
PATIENCE, FRAMES = 5.0, 50
REACHED, PIECES = "reached.txt", "pieces.json"


def ours(room: Path, folder: Path, most: int | None) -> tuple[Record, float]:
    """The record of a room's clip (its first frames if ``most``), placed, and the seconds that placing took."""
    record = Record.create(folder, "room")
    load_plan(record, room / "plan.toml")
    intake.run(record, sorted(room.glob("walk*.mp4")), intake.IntakeOptions(stage="open"))
    for picture in sorted(record.all(Picture), key=lambda p: p.pts_s)[most:] if most else ():
        record.clear(Picture, id=picture.id)
    started = time.monotonic()
    place.run(record, place.PlaceOptions(quiet=True))
    return record, time.monotonic() - started


def write_images(record: Record, folder: Path) -> Path:
    """The pictures of a record as files for pycolmap."""
    folder.mkdir(parents=True)
    for picture, bgr in iter_pictures(record, record.all(Picture)):
        cv2.imwrite(str(folder / f"{picture.id}.jpg"), bgr, [cv2.IMWRITE_JPEG_QUALITY, 95])
    return folder


@dataclass(frozen=True, slots=True, kw_only=True)
class Peer:
    """What pycolmap came to: camera centres of its pieces by picture id, or how far it was when it was stopped."""

    seconds: float
    finished: bool
    reached: str
    pieces: list[dict[str, np.ndarray]] = field(default_factory=list)


def colmap(images: Path, folder: Path, most_s: float) -> Peer:
    """Map the images in a process of its own, which is stopped after ``most_s``."""
    reached, made = folder / REACHED, folder / PIECES
    process = multiprocessing.get_context("spawn").Process(target=map_images, args=(images, folder), daemon=True)
    process.start()
    while not reached.exists() and process.is_alive():
        time.sleep(0.05)  # starting the interpreter is not counted
    started = time.monotonic()
    process.join(most_s)
    seconds, finished = time.monotonic() - started, not process.is_alive()
    process.kill()
    process.join()
    if not finished:
        return Peer(seconds=seconds, finished=False, reached=reached.read_text("utf-8"))
    if not made.exists():
        raise RuntimeError(f"pycolmap ended with {process.exitcode} after: {reached.read_text('utf-8')}")
    pieces = [{i: np.array(c) for i, c in piece.items()} for piece in json.loads(made.read_text("utf-8"))]
    return Peer(seconds=seconds, finished=True, reached="finished", pieces=pieces)


def map_images(images: Path, folder: Path) -> None:
    """Extract, match and map; says in a file how far it is, and writes what it found to another."""
    import pycolmap

    def tell(text: str) -> None:
        (folder / REACHED).write_text(text, "utf-8")

    threadpool_limits(CORES)
    count, registered, database = len(list(images.iterdir())), 0, folder / "database.db"

    def one_more() -> None:
        nonlocal registered
        registered += 1
        tell(f"{registered} of {count} pictures registered")

    tell("features were being extracted")
    extraction, matching = pycolmap.FeatureExtractionOptions(), pycolmap.FeatureMatchingOptions()
    extraction.num_threads = matching.num_threads = CORES
    extraction.use_gpu = matching.use_gpu = False
    pycolmap.extract_features(
        database, images, camera_mode=pycolmap.CameraMode.SINGLE, extraction_options=extraction,
        reader_options=pycolmap.ImageReaderOptions(camera_model="OPENCV"), device=pycolmap.Device.cpu,
    )  # fmt: skip
    tell("features were being matched")
    pairing = pycolmap.SequentialPairingOptions(overlap=OVERLAP)
    pycolmap.match_sequential(
        database, matching_options=matching, pairing_options=pairing, device=pycolmap.Device.cpu
    )
    tell(f"0 of {count} pictures registered")
    options = pycolmap.IncrementalPipelineOptions(num_threads=CORES)
    pieces = pycolmap.incremental_mapping(
        database, images, folder / "models", options=options, next_image_callback=one_more
    )
    found = [
        {Path(i.name).stem: i.projection_center().tolist() for i in piece.images.values() if i.has_pose}
        for piece in pieces.values()
    ]
    (folder / PIECES).write_text(json.dumps(found), "utf-8")


def rows(
    quick: bool = False, room: Path = SAMPLE, patience: float = PATIENCE, most: int | None = FRAMES
) -> list[Row]:
    """Figures of both, and their ratios; pycolmap is stopped after ``patience`` times our own time."""
    truth = room_truth(room)
    with tempfile.TemporaryDirectory() as scratch, threadpool_limits(CORES):
        cv2.setNumThreads(CORES)
        record, our_s = ours(room, Path(scratch) / "record", most)
        peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        _, our_errors_m = camera_center_errors_m(record, truth)
        placed = len(record.all(Placement, status="placed"))
        frames = len(record.all(Picture))
        clip_s = max(p.pts_s for p in record.all(Picture))
        images = write_images(record, Path(scratch) / "images")
        peer = colmap(images, Path(scratch), most_s=(1 if quick else patience) * our_s)
        true = true_camera_centers(record, truth)
    return [
        _against(peer, our_s, f"placing {frames} frames of {clip_s:.0f} s: {placed} placed"),
        *_centers(peer, true, our_errors_m),
        Row(what="camera centres against the truth, ours", value=_spread(our_errors_m)),
        Row(what="peak memory of this process, with our placing", value=f"{peak_mb:.0f} MB", must="under 2048 MB",
            holds=peak_mb < 2048),
    ]  # fmt: skip


def _against(peer: Peer, our_s: float, what: str) -> Row:
    """Our time against the peer's; only a bound where it was stopped."""
    ratio = our_s / peer.seconds
    ours_took = f"{our_s:.0f} s"
    if peer.finished:
        return Row(what=what, ratio=ratio, peer="pycolmap's time", must="under 1", holds=ratio < 1,
                   value=f"{ours_took}; pycolmap {peer.seconds:.0f} s, {len(peer.pieces)} piece(s)")  # fmt: skip
    return Row(what=what, ratio=ratio, bound=True, peer="pycolmap's time", must="under 1", holds=ratio <= 1,
               value=f"{ours_took}; pycolmap was stopped after {peer.seconds:.0f} s: {peer.reached}")  # fmt: skip


def _centers(peer: Peer, true: dict[str, np.ndarray], our_errors_m: np.ndarray) -> list[Row]:
    """Camera centres of each of the peer's pieces against the truth."""
    table = []
    for piece in peer.pieces:
        ids = [i for i in piece if i in true]
        if len(ids) >= 4:
            told, want = (np.array([centers[i] for i in ids]) for centers in (piece, true))
            errors_m = fitted_errors_m(told, want, with_scale=True)
            ratio = float(np.median(our_errors_m) / np.median(errors_m))
            table.append(Row(what=f"camera centres against the truth, beside pycolmap's piece of {len(piece)}",
                             ratio=ratio, peer="pycolmap's median", value=_spread(errors_m)))  # fmt: skip
    return table


def _spread(errors_m: np.ndarray) -> str:
    return f"{1000 * np.median(errors_m):.1f} mm median, {1000 * np.percentile(errors_m, 95):.1f} mm at 95 %"


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("room", nargs="?", type=Path, default=SAMPLE)
    parser.add_argument("--patience", type=float, default=PATIENCE, help="times our own time  [default: %(default)s]")
    parser.add_argument("--frames", type=int, default=FRAMES, help="the first so many, 0: all  [default: %(default)s]")
    chosen = parser.parse_args()
    print(as_markdown("Placing", rows(room=chosen.room, patience=chosen.patience, most=chosen.frames)))


if __name__ == "__main__":
    main()

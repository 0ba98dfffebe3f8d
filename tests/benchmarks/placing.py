"""Placing a walkthrough against pycolmap's incremental mapping of the same frames, in one run.

    python -m tests.benchmarks.placing [ROOM]

Both get the frames kept of the room's clip and two cores. Time is wall clock from pixels to poses. Accuracy is
of camera centres against the truth: ours as placed by the sheets (after one rigid fit, scale kept), each
piece of pycolmap's after its own similarity fit, which hides its scale and bending.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np
from threadpoolctl import threadpool_limits

from asbuilt.record import Picture, Placement, Record
from asbuilt.record.pixels import iter_pictures
from asbuilt.record.plan import load_plan
from asbuilt.steps import intake, place
from tests.benchmarks.accuracy import SAMPLE, room_truth
from tests.benchmarks.row import Row
from tests.rooms.rendered import camera_center_errors_m, fitted_errors_m, true_camera_centers

CORES = 2
OVERLAP = 10


def ours(room: Path, folder: Path) -> tuple[Record, float]:
    """The record of a room's clip, placed, and the seconds that placing took."""
    record = Record.create(folder, "room")
    load_plan(record, room / "plan.toml")
    intake.run(record, sorted(room.glob("walk*.mp4")), intake.IntakeOptions(stage="open"))
    started = time.monotonic()
    place.run(record, place.PlaceOptions(quiet=True))
    return record, time.monotonic() - started


def colmap(record: Record, folder: Path) -> tuple[list[dict[str, np.ndarray]], float]:
    """pycolmap's pieces, camera centres by picture id, and the seconds it took."""
    import pycolmap

    images = folder / "images"
    images.mkdir(parents=True)
    for picture, bgr in iter_pictures(record, record.all(Picture)):
        cv2.imwrite(str(images / f"{picture.id}.jpg"), bgr, [cv2.IMWRITE_JPEG_QUALITY, 95])
    database = folder / "database.db"
    started = time.monotonic()
    extraction, matching = pycolmap.FeatureExtractionOptions(), pycolmap.FeatureMatchingOptions()
    extraction.num_threads = matching.num_threads = CORES
    extraction.use_gpu = matching.use_gpu = False
    pycolmap.extract_features(
        database, images, camera_mode=pycolmap.CameraMode.SINGLE, extraction_options=extraction,
        reader_options=pycolmap.ImageReaderOptions(camera_model="OPENCV"), device=pycolmap.Device.cpu,
    )  # fmt: skip
    pairing = pycolmap.SequentialPairingOptions(overlap=OVERLAP)
    pycolmap.match_sequential(
        database, matching_options=matching, pairing_options=pairing, device=pycolmap.Device.cpu
    )
    options = pycolmap.IncrementalPipelineOptions(num_threads=CORES)
    pieces = pycolmap.incremental_mapping(database, images, folder / "models", options=options)
    seconds = time.monotonic() - started
    return [
        {Path(i.name).stem: i.projection_center() for i in piece.images.values() if i.has_pose}
        for piece in pieces.values()
    ], seconds


def rows(quick: bool = False, room: Path = SAMPLE) -> list[Row]:
    """Figures of both, and their ratios."""
    truth = room_truth(room)
    with tempfile.TemporaryDirectory() as scratch, threadpool_limits(CORES):
        cv2.setNumThreads(CORES)
        record, our_s = ours(room, Path(scratch) / "record")
        peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        _, our_errors_m = camera_center_errors_m(record, truth)
        placed = len(record.all(Placement, status="placed"))
        frames = len(record.all(Picture))
        clip_s = truth["video"]["frames"][-1]["time_s"]
        table = [
            Row(what=f"placing {frames} frames of {clip_s:.0f} s: {placed} placed", value=f"{our_s:.0f} s"),
            Row(what="camera centres, ours", value=_spread(our_errors_m)),
            Row(what="peak memory of our run", value=f"{peak_mb:.0f} MB", must="under 2048 MB", holds=peak_mb < 2048),
        ]
        if quick:
            return table
        pieces, their_s = colmap(record, Path(scratch) / "colmap")
        true = true_camera_centers(record, truth)
    table.append(Row(what=f"pycolmap, {len(pieces)} piece(s)", ratio=our_s / their_s, peer="pycolmap's time",
                     value=f"{their_s:.0f} s", must="under 1", holds=our_s < their_s))  # fmt: skip
    for piece in pieces:
        ids = [i for i in piece if i in true]
        if len(ids) >= 4:
            told, want = (np.array([centers[i] for i in ids]) for centers in (piece, true))
            errors_m = fitted_errors_m(told, want, with_scale=True)
            ratio = float(np.median(our_errors_m) / np.median(errors_m))
            table.append(Row(what=f"camera centres, pycolmap's piece of {len(piece)}", ratio=ratio,
                             peer="pycolmap's median", value=_spread(errors_m)))  # fmt: skip
    return table


def _spread(errors_m: np.ndarray) -> str:
    return f"{1000 * np.median(errors_m):.1f} mm median, {1000 * np.percentile(errors_m, 95):.1f} mm at 95 %"


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("room", nargs="?", type=Path, default=SAMPLE)
    for row in rows(room=parser.parse_args().room):
        ratio = "" if row.ratio is None else f"{row.ratio:.2f} of {row.peer}"
        print(f"{row.what:<48} {row.value:<40} {ratio}")


if __name__ == "__main__":
    main()

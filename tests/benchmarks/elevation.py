"""The elevation of a face beside what OpenCV's Stitcher (SCANS mode) makes of the same pictures.

    python -m tests.benchmarks.elevation RECORD TRUTH.json [--face FACE ...]

RECORD is a placed record of a rendered room, TRUTH.json its truth. Both get the pictures that
the elevation was made of. The elevation is measured as it is. The stitched picture has no
scale, so it is first laid over the true marker sheets as well as a similarity can do it, and
again by a homography, which forgives it more than a user could.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

from asbuilt.record import Picture, Record
from asbuilt.record.elevation_row import Elevation
from asbuilt.record.elevations import elevation_of, read_elevation
from asbuilt.record.pixels import iter_pictures
from asbuilt.steps import elevation
from tests.elevation_truth import (
    INCH_M,
    place_errors_m,
    sheet_corners,
    sheets_of,
    stud_edges,
    vertical_bends_m,
    well_recorded,
)

SCALE_PX_PER_M = 20 / INCH_M
STITCHED_AT_PX_PER_M = 10 / INCH_M  # the stitched picture is laid flat at half that scale for measuring


def timed(work: Callable):
    """What ``work`` returns, and the wall and CPU seconds it took."""
    wall, cpu = time.perf_counter(), time.process_time()
    made = work()
    return made, {
        "wall_s": round(time.perf_counter() - wall, 1),
        "cpu_s": round(time.process_time() - cpu, 1),
        "peak_memory_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024,
    }


def straightness(image: np.ndarray, px_per_m: float, told: dict, face_id: str) -> dict:
    """Errors [in] of stud edges and sheet corners found in a picture that covers a face from its lower left corner."""
    wall = next(w for w in told["walls"] if w["id"] == face_id)
    edges = list(stud_edges(image, px_per_m, wall))
    found = {}
    if edges:
        errors = np.abs(np.concatenate([e.errors_m for e in edges])) / INCH_M
        bends = [e.bend_m / INCH_M for e in edges]
        found |= {"stud_edges": len(edges), "edge_error_p95_in": _round(np.percentile(errors, 95))}
        found |= {"edge_bend_median_in": _round(np.median(bends)), "edge_bend_worst_in": _round(max(bends))}
    true = sheets_of(told, face_id)
    corners = {k: c for k, c in sheet_corners(image).items() if k in true}
    if corners:
        off = [_on_face(c, px_per_m, image.shape[0]) - true[k] for k, c in corners.items()]
        distance = np.linalg.norm(np.concatenate(off), axis=1) / INCH_M
        found |= {"sheets": len(corners), "corner_error_worst_in": _round(distance.max())}
    return found


def _on_face(corners_px: np.ndarray, px_per_m: float, rows: int) -> np.ndarray:
    return np.stack([(corners_px[:, 0] + 0.5) / px_per_m, (rows - 0.5 - corners_px[:, 1]) / px_per_m], axis=1)


def stitched(record: Record, row: Elevation) -> tuple[np.ndarray | None, dict]:
    """The same pictures, stitched; None where the Stitcher gives up."""
    pictures = record.all(Picture, id=list(row.layers["picture_ids"]))
    images = [image for _, image in iter_pictures(record, pictures)]

    def work():
        status, made = cv2.Stitcher_create(cv2.Stitcher_SCANS).stitch(images)
        return made if status == cv2.Stitcher_OK else status

    made, took = timed(work)
    took["pictures"] = len(images)
    if isinstance(made, int):
        return None, took | {"gave_up": made}
    return made, took | {"size_px": list(made.shape[1::-1])}


def laid_flat(image: np.ndarray, told: dict, face_id: str, freely: bool) -> np.ndarray | None:
    """A stitched picture moved onto the true sheets by a similarity, or freely by a homography."""
    true, found = sheets_of(told, face_id), sheet_corners(image)
    known = [k for k in found if k in true]
    if len(known) < 2:
        return None
    wall = next(w for w in told["walls"] if w["id"] == face_id)
    rows, cols = (int(round(wall[k] * STITCHED_AT_PX_PER_M)) for k in ("height", "length"))
    face = np.concatenate([true[k] for k in known])
    target = np.stack([face[:, 0] * STITCHED_AT_PX_PER_M - 0.5, rows - 0.5 - face[:, 1] * STITCHED_AT_PX_PER_M], axis=1)
    source = np.concatenate([found[k] for k in known])
    if freely:
        matrix = cv2.findHomography(source, target)[0]
    else:
        matrix = np.vstack([cv2.estimateAffinePartial2D(source, target, ransacReprojThreshold=1e6)[0], [0, 0, 1]])
    return cv2.warpPerspective(image, matrix, (cols, rows))


def places(spots: np.ndarray) -> dict | None:
    """How far spots are shown from where they are, and how far verticals bend [in]."""
    if not len(spots):
        return None
    bends = vertical_bends_m(spots) / INCH_M
    found = {"error_p95_in": _round(np.percentile(np.abs(spots[:, 2:]), 95) / INCH_M)}
    return found | {"vertical_bend_worst_in": _round(bends.max()) if len(bends) else None}


def measure(record: Record, told: dict, face_id: str) -> dict:
    """Time and straightness of both on one face."""
    options = elevation.ElevationOptions(face_ids=(face_id,), scale_px_per_m=SCALE_PX_PER_M, force=True)
    report, ours = timed(lambda: elevation.run(record, options))
    row = elevation_of(record, face_id)
    spots = place_errors_m(record, row, told)
    well = spots[well_recorded(record, face_id, spots)]
    ours |= {
        "px_per_in": row.scale_px_per_m * INCH_M,
        "seen_share": _round(report.planes[0].seen_share),
        "well_share": _round(len(well) / len(spots)),
        "all": places(spots),
        "well recorded": places(well),
    }
    ours |= straightness(read_elevation(record, row), row.scale_px_per_m, told, face_id)
    image, theirs = stitched(record, row)
    for name, freely in (("as similarity", False), ("as homography", True)):
        flat = None if image is None else laid_flat(image, told, face_id, freely)
        theirs[name] = None if flat is None else straightness(flat, STITCHED_AT_PX_PER_M, told, face_id)
    ratios = {f"{clock}_ratio": _round(theirs[clock] / ours[clock]) for clock in ("wall_s", "cpu_s")}
    return {"face": face_id, "elevation": ours, "stitcher": theirs, "stitcher_over_elevation": ratios}


def _round(value: float) -> float:
    return round(float(value), 3)


HEAD = "| face | shown | CPU s | error 95 % | bend | Stitcher CPU s | error 95 % | bend | of edges | ratio |"


def line_of(found: dict) -> str:
    """One face as a line of a table; of both the edges of studs are measured alike, of ours each spot as well."""
    ours, theirs = found["elevation"], found["stitcher"]
    flat = theirs["as homography"] or {}
    well = ours["well recorded"] or {"error_p95_in": "-", "vertical_bend_worst_in": "-"}
    cells = [
        found["face"], f"{ours['seen_share']:.0%}, {ours['well_share']:.0%} of it well", ours["cpu_s"],
        f"{well['error_p95_in']} (edges {ours.get('edge_error_p95_in', '-')})",
        f"{well['vertical_bend_worst_in']} (edges {ours.get('edge_bend_median_in', '-')})",
        theirs["cpu_s"], flat.get("edge_error_p95_in", "no edge found"), flat.get("edge_bend_median_in", "-"),
        f"{flat.get('stud_edges', 0)} of {ours.get('stud_edges', 0)}", found["stitcher_over_elevation"]["cpu_s_ratio"],
    ]  # fmt: skip
    return "| " + " | ".join(map(str, cells)) + " |"


def main() -> None:
    """Print one line of JSON for each face, then a table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("record", type=Path)
    parser.add_argument("truth", type=Path)
    parser.add_argument("--face", action="append")
    chosen = parser.parse_args()
    told = json.loads(chosen.truth.read_text("utf-8"))
    with Record.open(chosen.record) as record:
        lines = [HEAD, "|" + " --- |" * (HEAD.count("|") - 1)]
        for face_id in chosen.face or [w["id"] for w in told["walls"]]:
            load = {"load_1min": round(os.getloadavg()[0], 1), "cores": os.cpu_count()}
            found = measure(record, told, face_id)
            print(json.dumps(found | load), flush=True)
            lines.append(line_of(found))
    print("\n".join(lines))


if __name__ == "__main__":
    main()

"""How true the record lies over photos of finished walls, against the renderer's truth.

    python -m tests.benchmarks.overlay [--record DIR] [--truth FILE] [--rounds 20]

The record is one made as a stranger's would be (by default the sample's, made on the spot by
``asbuilt demo``). In every photo of a finished wall the cover plates are marked with a hand's
error, and casing corners taped to 1/16 in; then every clicked place that the wall now hides is
looked up in the overlay. Told are: how far along the wall the drawn place lies from the true one,
and how often the stated 95 % band holds the truth.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from asbuilt.cli.demo import SAMPLE_MEDIA, make_record, read_script
from asbuilt.geometry.cameras import Camera, Lens
from asbuilt.geometry.frames import BUILDING, Rigid3, camera_frame
from asbuilt.record import Media, Picture, Position, Record, ReferencePoint, Sighting
from asbuilt.record.frames import building_from_faces
from asbuilt.sheets.fit import PhotoFit, fit_picture
from asbuilt.sheets.known import PLATE_ID, known_places

INCH = 0.0254
CLICK_PX, TAPE_M = 2.0, INCH / 16  # one standard deviation of a hand in a 3000 px photo, and of a tape
CHI_95 = 5.991  # chi-square with 2 degrees of freedom
TRUTH = Path(__file__).parents[1] / "data" / "sample_truth.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class Hidden:
    """One place in one photo: how far off it is drawn along the wall, and whether its band holds it."""

    photo: str
    place: str
    off_m: float
    inside: bool
    band_m: float
    drawn: bool


def measure(record: Record, truth: dict, rounds: int, seed: int = 7) -> tuple[list[Hidden], int]:
    """Every hidden place in every photo of a finished wall, ``rounds`` times, and how many fits were refused."""
    rng = np.random.default_rng(seed)
    names = {m.id: m.name for m in record.all(Media)}
    pictures = {names[p.media_id]: p for p in record.all(Picture, stage="covered")}
    found: list[Hidden] = []
    refused = 0
    for photo in truth["closed_photos"]:
        picture = pictures[photo["file"]]
        for _ in range(rounds):
            _mark(record, picture, photo, truth, rng)
            fit = fit_picture(record, picture)
            if not fit or not fit.fits:
                refused += 1
                continue
            found += _compare(record, fit, photo, truth)
    return found, refused


def _mark(record: Record, picture: Picture, photo: dict, truth: dict, rng: np.random.Generator) -> None:
    """Mark what is to be seen, as a hand does."""
    thing_of_box = {c["id"]: c["thing"] for c in truth["click_places"]}
    face_id = photo["aimed_wall"]
    plates = {k.point.id: k.point for k in known_places(record, face_id, "in", finished=True)}
    with record.transaction():
        for old in record.all(Sighting, target="reference", picture_id=picture.id):
            record.remove(Sighting, old.id)
        for cover in photo["covers_visible"]:
            point = plates.get(f"{PLATE_ID}{thing_of_box.get(cover['box'])}")
            if point is not None:
                record.put(point, _sighting(picture, point.id, cover, rng))
        for n, corner in enumerate(photo["reference_points"]):
            x, y, z = corner["p_wall"]
            off = rng.normal(0, TAPE_M, 2)
            point = ReferencePoint(
                id=f"casing-{picture.id}-{n}", face_id=face_id, label=corner["id"], offset_m=float(x + off[0]),
                height_m=max(float(z + off[1]), 0.0), depth_m=y, sigma_m=TAPE_M, sigma_depth_m=TAPE_M,
            )  # fmt: skip
            record.put(point, _sighting(picture, point.id, corner, rng))


def _sighting(picture: Picture, target: str, at: dict, rng: np.random.Generator) -> Sighting:
    x_px, y_px = (np.array([at["u"], at["v"]]) + rng.normal(0, CLICK_PX, 2)).tolist()
    return Sighting(id=f"{target}@{picture.id}", target="reference", target_id=target, picture_id=picture.id,
                    place=target, x_px=x_px, y_px=y_px, sigma_px=CLICK_PX)  # fmt: skip


def _compare(record: Record, fit: PhotoFit, photo: dict, truth: dict) -> list[Hidden]:
    camera = _true_camera(photo)
    wall = next(w for w in truth["walls"] if w["id"] == photo["aimed_wall"])
    axes = np.column_stack([wall["axis_x"], wall["axis_y"], wall["axis_z"]])
    origin = np.array(wall["origin"])
    pose = building_from_faces(record)[wall["id"]]
    covered = {p.place: p for p in record.all(Position, face_id=wall["id"], status="measured")}
    width_px, height_px = photo["displayed_size"]
    found = []
    for place in truth["click_places"]:
        position = covered.get(place["place"])
        if place["wall"] != wall["id"] or position is None:
            continue
        true_m = np.array(place["p_wall"])
        pixel = camera.project((origin + axes @ true_m)[None])[0]
        if not (np.isfinite(pixel).all() and 0 <= pixel[0] < width_px and 0 <= pixel[1] < height_px):
            continue
        point_m = np.array([position.offset_m, position.depth_m, position.height_m])
        order = np.ix_([0, 2, 1], [0, 2, 1])
        turned = pose.rotation @ np.array(position.covariance)[order] @ pose.rotation.T
        drawn, covariance = fit.project(pose.apply(point_m)[None], turned[None])
        ray = axes.T @ camera.rays_building(drawn)[0]
        eye = axes.T @ (camera.center_building_m - origin)
        at_m = eye + ray * (true_m[1] - eye[1]) / ray[1]
        miss_px = pixel - drawn[0]
        reach_px = float(np.sqrt(np.linalg.eigvalsh(covariance[0])[-1]))
        px_per_m = camera.lens.focal_px / float(np.linalg.norm(true_m - eye))
        found.append(
            Hidden(
                photo=photo["file"], place=place["place"], off_m=float(np.hypot(*(at_m - true_m)[[0, 2]])),
                inside=bool(miss_px @ np.linalg.solve(covariance[0], miss_px) <= CHI_95),
                band_m=2.4477 * reach_px / px_per_m, drawn=2.4477 * reach_px / px_per_m <= 0.10,
            )
        )  # fmt: skip
    return found


def _true_camera(photo: dict) -> Camera:
    lens, (width, height) = photo["intrinsics"], photo["displayed_size"]
    u, _, vt = np.linalg.svd(np.array(photo["R"]))
    pose = Rigid3(
        target=camera_frame("true"), source=BUILDING, rotation=u @ vt, translation_m=np.array(photo["t"], dtype=float)
    )
    return Camera(lens=Lens.from_params(width, height, (lens["fx"], lens["cx"], lens["cy"], *lens["dist"])),
                  camera_from_building=pose)  # fmt: skip


def told(found: list[Hidden], refused: int) -> str:
    """The figures in words."""
    if not found:
        return f"nothing to compare; refused fits: {refused}"
    lines = []
    for photo in [*dict.fromkeys(h.photo for h in found), "all photos"]:
        mine = [h for h in found if h.drawn and photo in (h.photo, "all photos")]
        sure = [h.off_m for h in mine if h.band_m <= INCH]
        off_in = np.array([h.off_m for h in mine]) / INCH
        held = np.mean([h.inside for h in mine])
        band_in = np.median([h.band_m for h in mine]) / INCH
        places = len({(h.photo, h.place) for h in mine})
        lines.append(
            f"{photo:14} {places:3d} hidden places: median {np.median(off_in):.2f} in, 95th percentile"
            f" {np.quantile(off_in, 0.95):.2f} in, within 1/2 in {np.mean(off_in <= 0.5):.1%};"
            f" band (median +/- {band_in:.2f} in) holds {held:.1%};"
            f" of those with a band up to +/- 1 in, within 1/2 in {np.mean(np.array(sure) <= INCH / 2):.1%}"
        )
    left_out = sorted({f"{h.photo}: {h.place}" for h in found if not h.drawn})
    lost = f"too uncertain to be drawn: {', '.join(left_out) or 'none'}"
    return "\n".join([*lines, f"refused fits: {refused}", lost])


def main() -> None:
    """Measure and print."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--record", type=Path, help="a record made from the truth's own media; it is marked")
    options.add_argument("--truth", type=Path, default=TRUTH)
    options.add_argument("--rounds", type=int, default=20)
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        if chosen.record is None:
            make_record(str(Path(folder) / "record"), read_script(SAMPLE_MEDIA)).close()
        with Record.open(chosen.record or Path(folder) / "record") as record:
            print(told(*measure(record, json.loads(chosen.truth.read_text("utf-8")), chosen.rounds)))


if __name__ == "__main__":
    main()

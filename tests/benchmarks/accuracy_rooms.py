"""Rendered rooms as records: with their sheets, with taped marks alone, one still at a time."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from asbuilt.record import Followed, Item, Marker, Media, Picture, Placement, Position, Record, ReferencePoint, Sighting
from asbuilt.record.pixels import ensure_frames
from asbuilt.record.plan import load_plan
from asbuilt.steps import intake, locate, place
from tests.benchmarks import accuracy
from tests.rooms.rendered import truth_by_picture

BOX_ERROR_M = 0.0032
SAMPLE_REFERENCES = Path(__file__).parents[1] / "data" / "sample_references.json"


def make_marked(room: Path, truth: dict, folder: Path) -> tuple[Record, str]:
    """The room as its plan and its media make it."""
    record = record_of(room, folder / "record", [*sorted(room.glob("walk*.mp4")), *sorted(room.glob("open_*"))])
    return record, placed(record)


def make_marks(room: Path, truth: dict, folder: Path) -> tuple[Record, str]:
    """No sheets: some taped marks a face, each clicked in a few pictures."""
    record = record_of(room, folder / "record", [*sorted(room.glob("walk*.mp4")), *sorted(room.glob("open_*"))])
    drop_sheets(record)
    marks = _spread_marks(references(room), accuracy.MARKS_PER_FACE)
    _click_marks(record, marks, np.random.default_rng(7))
    return record, placed(record)


def stills(room: Path, truth: dict, folder: Path) -> tuple[np.ndarray, np.ndarray]:
    """Each still on its own with six marks; spots at the usual depth of their kind: errors and sigmas (N, 3).

    The boxes are on record, within 1/8 in of where they are.
    """
    errors, sigmas = [], []
    for k, path in enumerate(sorted(room.glob("open_*"))):
        seen = [r for r in references(room) if any(s.get("file") == path.name for s in r["sightings"])]
        if len(seen) < 6:
            continue
        record = record_of(room, folder / f"still{k}", [path])
        drop_sheets(record)
        chosen = _spread_marks(seen, 6, by_face=False)
        _click_marks(record, chosen, np.random.default_rng(k), only=path.name)
        place.run(record, place.PlaceOptions(quiet=True))
        if record.all(Placement, status="placed"):
            put_boxes(record, truth, np.random.default_rng(k))
            before, _ = click_spots(record, truth, 1, accuracy.CLICK_PX, np.random.default_rng(k), look_again=False)
            error, sigma = spot_errors(before, truth)
            errors.append(error)
            sigmas.append(sigma)
    return np.concatenate(errors), np.concatenate(sigmas)


def put_boxes(record: Record, truth: dict, rng: np.random.Generator) -> None:
    """Put a room's boxes into the record, each off by about 1/8 in, without their circuits."""
    error = np.diag([BOX_ERROR_M**2] * 3).tolist()
    for box in truth["boxes"]:
        offset_m, height_m = rng.normal((box["x"], box["z"]), BOX_ERROR_M)
        kind = "panel" if box["kind"] == "panel" else "device box"
        record.put(Item(id=box["id"], kind=kind, label="", face_id=box["wall"], width_m=box["size"][0],
                        height_m=box["size"][1]))  # fmt: skip
        record.put(Position(id=f"{box['id']}/spot", item_id=box["id"], place="spot", order_idx=0, face_id=box["wall"],
                            offset_m=offset_m, height_m=height_m, depth_m=box["y_front"], covariance=error,
                            method="intersected", picture_count=1))  # fmt: skip


def record_of(room: Path, folder: Path, paths: list[Path]) -> Record:
    """A record of a room's plan and of some of its files."""
    record = Record.create(folder, "room")
    load_plan(record, room / "plan.toml")
    intake.run(record, paths, intake.IntakeOptions(stage="open"))
    return record


def placed(record: Record) -> str:
    """Place the pictures; what came of it in words."""
    report = place.run(record, place.PlaceOptions(quiet=True))
    return f"{report.placed} of {len(record.all(Picture))} pictures placed; {'; '.join(report.notes)}"


def drop_sheets(record: Record) -> None:
    """Take the marker sheets out of a record."""
    for marker in record.all(Marker):
        record.remove(Marker, marker.id)


def references(room: Path) -> list[dict]:
    """The known places of a room folder, with where pictures show them."""
    path = room / "references.json"
    return json.loads((path if path.exists() else SAMPLE_REFERENCES).read_text())["references"]


def _spread_marks(marks: list[dict], count: int, by_face: bool = True) -> list[dict]:
    """Marks far from each other: the next is always the one farthest from those taken."""
    groups: dict[str, list[dict]] = {}
    for mark in marks:
        if mark["sightings"]:
            groups.setdefault(mark["face"] if by_face else "", []).append(mark)
    taken = []
    for group in groups.values():
        places = np.array([[m["offset_m"], m["height_m"]] for m in group])
        order = [int(np.argmin(places.sum(axis=1)))]
        while len(order) < min(count, len(group)):
            far = np.linalg.norm(places[:, None] - places[order], axis=2).min(axis=1)
            order.append(int(np.argmax(far)))
        taken += [group[k] for k in order]
    return taken


def _click_marks(record: Record, marks: list[dict], rng: np.random.Generator, only: str | None = None) -> None:
    """Mark rows and clicks on them, 1.5 px off, in two frames a face (or in one still alone)."""
    media = {m.name: m for m in record.all(Media)}
    stills = {record.get(Media, p.media_id).name: p for p in record.all(Picture, kind="photo")}
    frames = {} if only else _two_frames(marks)
    rows, clicks = [], []
    for mark in marks:
        rows.append(ReferencePoint(id=mark["id"], face_id=mark["face"], label=mark["label"],
                                   offset_m=mark["offset_m"], height_m=mark["height_m"]))  # fmt: skip
        for k, s in enumerate(mark["sightings"]):
            if only is not None and s.get("file") == only:
                picture = stills[only]
            elif only is None and s.get("time_s") in frames[mark["face"]]:
                picture = ensure_frames(record, media[s["video"]], [s["time_s"]])[0]
            else:
                continue
            u, v = np.array([s["u"], s["v"]]) + rng.normal(0, accuracy.CLICK_PX, 2)
            clicks.append(Sighting(id=f"{mark['id']}-{k}", target="reference", target_id=mark["id"],
                                   picture_id=picture.id, x_px=float(u), y_px=float(v)))  # fmt: skip
    record.put(*rows)
    record.put(*clicks)


def _two_frames(marks: list[dict]) -> dict[str, list[float]]:
    """The times of the two frames of each face that show most of the marks."""
    shown: dict[str, Counter] = {}
    for mark in marks:
        times = shown.setdefault(mark["face"], Counter())
        times.update(s["time_s"] for s in mark["sightings"] if "time_s" in s)
    return {face: [t for t, _ in times.most_common(2)] for face, times in shown.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """A spot as located, and how many pictures it was clicked in."""

    position: Position
    truth_id: str
    clicked: int


def click_spots(
    record: Record, truth: dict, count: int, noise_px: float, rng: np.random.Generator, look_again: bool = True
) -> tuple[list[Spot], list[Spot]]:
    """Spots on runs, clicked in ``count`` pictures (0 all, negative spread evenly), located before and after."""
    before = record.all(Sighting, target="item")
    for cls, rows in ((Followed, record.all(Followed)), (Sighting, before),
                      (Position, record.all(Position, item_id={b.target_id for b in before}))):  # fmt: skip
        for row in rows:
            record.remove(cls, row.id)
    kinds = _kinds(truth)
    spots = {p["id"]: p for p in truth["label_points"] if p["run"] in kinds}
    views = _views(record, truth)
    items, sightings, clicked = [], [], {}
    for spot_id, seen in sorted(views.items()):
        if spot_id not in spots or len(seen) < max(abs(count), 1) or (count == 0 and len(seen) < 3):
            continue
        name = f"{spot_id}+{count}".replace("+-", "+s")
        items.append(Item(id=name, kind=kinds[spots[spot_id]["run"]], label="", face_id=spots[spot_id]["wall"]))
        chosen = _choose(len(seen), count, rng)
        clicked[name] = (spot_id, len(chosen))
        for k, j in enumerate(chosen):
            picture_id, u, v = seen[j]
            du, dv = rng.normal(0, noise_px, 2)
            sightings.append(Sighting(id=f"{name}-{k}", target_id=name, picture_id=picture_id, place="spot",
                                      x_px=u + du, y_px=v + dv, sigma_px=noise_px))  # fmt: skip
    record.put(*items)
    record.put(*sightings)
    runs = []
    for again in (False, True) if look_again else (False,):
        locate.run(record, list(clicked), look_again=again)
        runs.append([
            Spot(position=p, truth_id=clicked[p.item_id][0], clicked=clicked[p.item_id][1])
            for p in record.all(Position)
            if p.item_id in clicked and p.status != "refused"
        ])  # fmt: skip
    return runs[0], runs[-1]


def _choose(seen: int, count: int, rng: np.random.Generator) -> np.ndarray:
    if count == 0:
        return np.arange(seen)
    if count < 0:
        return np.unique(np.linspace(0, seen - 1, -count).round().astype(int))
    return rng.choice(seen, count, replace=False)


def _kinds(truth: dict) -> dict[str, str]:
    """The kind of each run that is a tube; ducts and coils are other things."""
    named = {}
    for run in truth["runs"]:
        if run.get("route") == "coil":
            continue
        kind = str(run.get("kind", run["id"])).lower()
        for word, name in (("gas", "gas pipe"), ("drain", "drain"), ("conduit", "conduit"), ("pipe", "pipe"),
                           ("pex", "pipe"), ("cable", "cable")):  # fmt: skip
            if word in kind:
                named[run["id"]] = name
                break
    return named


def _views(record: Record, truth: dict) -> dict[str, list[tuple[str, float, float]]]:
    """Where the truth shows each spot in placed pictures, in the order of the pictures."""
    placed = {p.id for p in record.all(Placement, status="placed")}
    views: dict[str, list] = {}
    for picture_id, seen in truth_by_picture(record, truth).items():
        for spot in seen["label_points_visible"] if picture_id in placed else ():
            views.setdefault(spot["id"], []).append((picture_id, spot["u"], spot["v"]))
    return views


def spot_errors(found: list[Spot], truth: dict, again: bool = False) -> tuple[np.ndarray, np.ndarray]:
    """Errors and sigmas (N, 3) of offset, height and depth; only those found in more pictures if ``again``."""
    places = {p["id"]: p["p_wall"] for p in truth["label_points"]}
    kept = [s for s in found if not again or s.position.picture_count > s.clicked]
    true = np.array([[places[s.truth_id][k] for k in (0, 2, 1)] for s in kept]).reshape(-1, 3)
    told = np.array([[s.position.offset_m, s.position.height_m, s.position.depth_m] for s in kept]).reshape(-1, 3)
    sigma = np.array([np.sqrt(np.diag(np.array(s.position.covariance))) for s in kept]).reshape(-1, 3)
    return told - true, sigma

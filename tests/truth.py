"""A record of the sample room filled from its known truth, for tests and benchmarks only.

The package never reads the truth: tests that need a record whose every position, pose and
size is known build one here. Positions may be blurred by a stated error so that what is
answered about errors can be checked.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from asbuilt.geometry.frames import BUILDING, Rigid3, camera_frame
from asbuilt.record.frames import quat_xyzw
from asbuilt.record.joint import pack
from asbuilt.record.kinds import kind_named
from asbuilt.record.store import Record
from asbuilt.record.types import (
    NOT_PLACED,
    PLACED,
    Circuit,
    Covering,
    Face,
    Item,
    Marker,
    Media,
    Opening,
    Panel,
    Picture,
    Placement,
    Position,
    Room,
    Sighting,
    Solution,
    Stud,
)

TRUTH_PATH = Path(__file__).parent / "data" / "sample_truth.json"
OPEN_DAY, COVER_DAY, CLOSED_DAY = "2026-03-14", "2026-04-20", "2026-06-02"
ROOM_ID = "studio"
INCH = 0.0254


@dataclass(frozen=True, slots=True, kw_only=True)
class TruthOptions:
    """What the record made from the truth holds.

    ``sigma_m`` blurs and states the error of every position (0: exact, stated as 1 mm).
    ``places`` is "dense" (runs as they truly lie, a vertex at least every
    ``run_spacing_m``) or "clicked" (only the spots that were clicked).
    """

    sigma_m: float = 0.0
    seed: int = 0
    places: str = "dense"
    run_spacing_m: float = 0.30
    frame_step: int = 6
    known_studs: bool = True
    covered: bool = True
    pictures: bool = True
    media_folder: Path | None = None  # where the real media lie, when pixels are wanted


@cache
def truth() -> dict:
    """The sample room's truth, as stored."""
    return json.loads(TRUTH_PATH.read_text("utf-8"))


def truth_record(folder: str | Path, **options) -> Record:
    """A new record of the sample room; ``options`` are the fields of TruthOptions."""
    chosen = TruthOptions(**options)
    record = Record.create(folder, "Quarry Lane Pottery", unit="in", author="truth")
    with record.transaction():
        record.put(*_building(chosen))
        if chosen.pictures:
            record.put(*_pictures(record, chosen))
        record.put(*_things(chosen))
        if chosen.pictures:
            record.put(*_sightings(record))
    return record


def _building(options: TruthOptions) -> list:
    walls, first = truth()["walls"], truth()["walls"][0]
    room = Room(id=ROOM_ID, name="Studio", origin_x_m=first["origin"][0], origin_y_m=first["origin"][1])
    panel = Panel(id="main", name="main panel", face_id="garden", amps=100, volts=240)
    rows: list = [room]
    for order, wall in enumerate(walls):
        rows += _face(wall, order, options)
    rows += [panel, *_circuits(), *_markers()]
    return rows


def _face(wall: dict, order: int, options: TruthOptions) -> list:
    face = Face(
        id=wall["id"], room_id=ROOM_ID, title=wall["name"], order_idx=order, length_m=wall["length"],
        height_m=wall["height"], stud_depth_m=wall["stud_depth"], stud_width_m=wall["stud_width"],
        spacing_m=wall["nominal_oc"], layout_from=wall["layout_from"],
        exterior=wall["id"] != "partition", open_behind=wall["id"] == "partition",
        cover_up_date=COVER_DAY if options.covered else None,
    )  # fmt: skip
    board = Covering(id=f"{face.id}-board", face_id=face.id, material="gypsum board",
                     thickness_m=-truth()["finished_face_y"],
                     date=COVER_DAY if options.covered else None)  # fmt: skip
    openings = [
        Opening(id=o["id"], face_id=face.id, kind=o["kind"], left_m=o["x0"], right_m=o["x1"],
                bottom_m=o["z0"], top_m=o["z1"])
        for o in wall["openings"]
    ]  # fmt: skip
    studs = [
        Stud(id=s["id"], face_id=face.id, center_m=s["x"], sigma_m=INCH / 16, width_m=wall["stud_width"],
             bottom_m=s["z0"], top_m=s["z1"], source="taped")
        for s in wall["studs"]
        if options.known_studs and s["kind"] != "nailer"
    ]  # fmt: skip
    return [face, board, *openings, *studs]


def _circuits() -> list[Circuit]:
    return [
        Circuit(id=c["number"], panel_id="main", number=c["number"], name=c["name"], amps=c["amps"],
                volts=c["volts"], poles=1 + c["number"].count("+"), cable=c["cable"],
                state="spare" if c["name"] == "spare" else "roughed in")
        for c in truth()["circuits"]
    ]  # fmt: skip


def _markers() -> list[Marker]:
    return [
        Marker(id=m["id"], face_id=m["wall"], size_m=m["size"], offset_m=m["x"], height_m=m["z"], depth_m=m["y"])
        for m in truth()["markers"]
    ]


def _media(record: Record, name: str, kind: str, size_px, taken_at: str, folder: Path | None) -> Media:
    content = f"invented {name}".encode() if folder is None else (folder / name).read_bytes()
    sha = hashlib.sha256(content).hexdigest()
    path = f"media/{sha}{Path(name).suffix}"
    (record.folder / path).write_bytes(content)
    return Media(id=sha, name=name, kind=kind, byte_count=len(content), path=path, taken_at=taken_at,
                 width_px=size_px[0], height_px=size_px[1], state="done")  # fmt: skip


def _pictures(record: Record, options: TruthOptions) -> list:
    rows: list = []
    for stage, day, key in (("open", OPEN_DAY, "photos"), ("covered", CLOSED_DAY, "closed_photos")):
        for order, photo in enumerate(truth()[key]):
            taken = f"{day}T10:{order:02d}:00+00:00"
            media = _media(record, photo["file"], "photo", photo["displayed_size"], taken, options.media_folder)
            picture = _picture(Path(photo["file"]).stem, media, photo, stage, face_id=photo["aimed_wall"])
            rows += [media, picture, _placement(picture, photo, photo["intrinsics"])]
    video = truth()["video"]
    media = _media(record, video["file"], "video", video["displayed_size"], f"{OPEN_DAY}T11:00:00+00:00",
                   options.media_folder)  # fmt: skip
    rows.append(media)
    for frame in video["frames"][:: options.frame_step]:
        rows += _frame(media, frame, video["intrinsics"])
    return rows


def _frame(media: Media, frame: dict, lens: dict) -> list:
    flags = tuple(name.replace("_", " ") for name, is_on in frame["flags"].items() if is_on)
    looks_at = frame["looks_at"] or {}
    picture = _picture(f"walk-{frame['index']:04d}", media, frame, "open", face_id=looks_at.get("wall"),
                       pts_s=frame["time_s"], flags=flags)  # fmt: skip
    if flags:
        return [picture, Placement(id=picture.id, status=NOT_PLACED, reason=f"the frame is {', '.join(flags)}")]
    return [picture, _placement(picture, frame, lens)]


def _picture(picture_id, media, source, stage, face_id, pts_s=None, flags=()) -> Picture:
    return Picture(
        id=picture_id, media_id=media.id, kind="photo" if pts_s is None else "frame", pts_s=pts_s,
        width_px=media.width_px, height_px=media.height_px, taken_at=media.taken_at, room_id=ROOM_ID,
        face_id=face_id, filed_by="hand" if face_id else "", stage=stage,
        sharpness=float(np.clip(1.2 - source.get("blur_px", 0) / 10, 0, 1)),
        light=source.get("mean_grey", 115.0) / 255, flags=flags,
    )  # fmt: skip


def _placement(picture: Picture, source: dict, lens: dict) -> Placement:
    pose = Rigid3(target=camera_frame(picture.id), source=BUILDING, rotation=_rotation(source["R"]),
                  translation_m=np.array(source["t"]))  # fmt: skip
    covariance = np.diag([0.0004**2] * 3 + [0.001**2] * 3)  # as joint solutions have it relative to the face
    return Placement(
        id=picture.id, status=PLACED, quat_xyzw=quat_xyzw(pose.rotation),
        translation_m=tuple(source["t"]), covariance=tuple(map(tuple, covariance.tolist())),
        lens=(lens["fx"], lens["cx"], lens["cy"], *lens["dist"]), lens_id="truth", method="truth",
    )  # fmt: skip


def _rotation(rows) -> np.ndarray:
    """The stored rotation has nine decimals; make it exactly orthonormal."""
    u, _, vt = np.linalg.svd(np.array(rows))
    return u @ vt


def _things(options: TruthOptions) -> list:
    rng = np.random.default_rng(options.seed)
    rows: list = []
    for item, places in _true_items(options):
        rows.append(item)
        rows += [_position(item, order, place, point, options, rng) for order, (place, point) in enumerate(places)]
    return rows


def _position(item, order, place, point, options, rng) -> Position:
    sigma = options.sigma_m
    offset, depth, height = np.asarray(point, dtype=float) + rng.normal(0, 1, 3) * sigma
    stated = max(sigma, 0.001) ** 2
    return Position(
        id=f"{item.id}:{place}", item_id=item.id, place=place, order_idx=order, face_id=item.face_id,
        offset_m=offset, height_m=height, depth_m=depth,
        covariance=tuple(tuple(stated * (i == j) for j in range(3)) for i in range(3)),
        method="intersected", picture_count=2, parallax_rad=0.3,
    )  # fmt: skip


def _true_items(options: TruthOptions):
    if options.places == "clicked":
        yield from _clicked_items()
        return
    for box in truth()["boxes"]:
        yield _box_item(box), [(box["id"], (box["x"], box["y_front"], box["z"]))]
    for plate in truth()["nail_plates"]:
        item = Item(id=plate["id"], kind="nail plate", label="nail plate", face_id=plate["wall"],
                    width_m=plate["size"][0], height_m=plate["size"][1])  # fmt: skip
        yield item, [(plate["id"], (plate["x"], plate["y_front"], plate["z"]))]
    for run in truth()["runs"]:
        line = np.array(run["polyline"])
        if run.get("route") == "coil":
            yield _coil_item(run), [(f"{run['id']}-coil", run["centre"])]
            line = line[: _index_at_length(line, run["total_length"] - run["coil_length"]) + 1]
        yield _run_item(run), _named(run["id"], simplified(line, 0.003, options.run_spacing_m))


def _clicked_items():
    by_thing: dict[str, list[dict]] = {}
    for place in truth()["click_places"]:
        by_thing.setdefault(place["thing"], []).append(place)
    known = {x["id"]: x for key in ("boxes", "runs") for x in truth()[key]}
    for places in by_thing.values():
        source, kind = known[places[0]["id"]], places[0]["kind"]
        if kind in ("box", "panel"):
            item = _box_item(source)
        elif kind == "coil":
            item = _coil_item(source)
        elif kind == "conduit end":
            item = Item(id=f"{source['id']}-end", kind=kind, label=source["label"], face_id=source["wall"])
        else:
            item = _run_item(source)
        yield item, [(p["place"], p["p_wall"]) for p in places]


def _box_item(box: dict) -> Item:
    kind = "panel" if box["kind"] == "panel" else "device box"
    return Item(id=box["id"], kind=kind, label=box["label"], face_id=box["wall"], circuit_id=box["circuit"],
                width_m=box["size"][0], height_m=box["size"][1], gangs=box["gangs"] or None)  # fmt: skip


def _coil_item(run: dict) -> Item:
    return Item(id=f"{run['id']}-coil", kind="coil", label=run["label"], face_id=run["wall"],
                circuit_id=run["circuit"], cable=run["gauge"], width_m=2 * run["coil_radius"],
                height_m=2 * run["coil_radius"])  # fmt: skip


def _run_item(run: dict) -> Item:
    return Item(id=run["id"], kind=kind_named(run["kind"]).name, label=run["label"], face_id=run["wall"],
                circuit_id=run["circuit"], cable=run.get("gauge", ""), radius_m=run["diameter"] / 2,
                comes_from=run["from_"], goes_to=run["to"])  # fmt: skip


def _named(item_id: str, points: np.ndarray) -> list:
    return [(f"{item_id}@{i:03d}", point) for i, point in enumerate(points)]


def _index_at_length(line: np.ndarray, length_m: float) -> int:
    run_m = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    return int(np.searchsorted(run_m, length_m))


def simplified(line: np.ndarray, tolerance_m: float, spacing_m: float) -> np.ndarray:
    """A polyline's vertices such that it is never missed by more than ``tolerance_m``.

    No two neighbours are farther apart than ``spacing_m`` along the line.
    """
    keep = {0, len(line) - 1}
    stack = [(0, len(line) - 1)]
    while stack:
        first, last = stack.pop()
        if last - first < 2:
            continue
        chord = line[last] - line[first]
        steps = np.clip((line[first : last + 1] - line[first]) @ chord / max(chord @ chord, 1e-12), 0, 1)
        miss = np.linalg.norm(line[first : last + 1] - (line[first] + steps[:, None] * chord), axis=1)
        worst = first + int(miss.argmax())
        length = np.linalg.norm(np.diff(line[first : last + 1], axis=0), axis=1).sum()
        if miss.max() <= tolerance_m:
            if length <= spacing_m:
                continue
            worst = (first + last) // 2
        keep.add(worst)
        stack += [(first, worst), (worst, last)]
    return line[sorted(keep)]


def _sightings(record: Record) -> list[Sighting]:
    """Boxes as the rendered pictures show them, where the item is in the record."""
    kept = {p.id for p in record.all(Placement, status=PLACED)}
    boxes = {i.id for i in record.all(Item)}
    frames = [(f"walk-{f['index']:04d}", f) for f in truth()["video"]["frames"]]
    sources = [(Path(p["file"]).stem, p) for p in truth()["photos"]] + frames
    places = {p.item_id: p.place for p in record.all(Position)}
    return [
        Sighting(id=f"{picture_id}:{box['id']}", target_id=box["id"], picture_id=picture_id,
                 place=places[box["id"]], x_px=box["u"], y_px=box["v"])
        for picture_id, source in sources
        if picture_id in kept
        for box in source["boxes_visible"]
        if box["id"] in boxes
    ]  # fmt: skip


def solve(record: Record) -> None:
    """Give the true placements a solution, so that what is tagged can be located."""
    placed = record.all(Placement, status=PLACED)
    faces = {f.id: 7 + 6 * n for n, f in enumerate(record.all(Face))}
    first = 7 + 6 * len(faces)
    sigma = np.concatenate([[1.0, 0.5, 0.5, 1e-4, 1e-4, 1e-4, 1e-4], np.full(6 * len(faces), 0.0005)])
    cameras = [np.sqrt(np.diag(p.covariance)) for p in placed]
    covariance = np.diag(np.concatenate([sigma, *cameras]) ** 2)
    report = {"lens_column": {"truth": 0}, "face_column": faces}
    record.put(
        Solution(
            id="truth",
            created_at="2026-03-14T12:00:00+00:00",
            report=report,
            joint_covariance=pack(covariance),
            param_count=len(covariance),
        )
    )
    record.put(*(replace(p, solution_id="truth", params_idx=first + 6 * n) for n, p in enumerate(placed)))

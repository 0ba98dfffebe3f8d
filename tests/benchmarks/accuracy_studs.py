"""A rendered room placed by its studs: two known places a wall, each marked in two pictures, no sheets."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from asbuilt.record import Face, Media, Picture, Record, ReferencePoint, Sighting
from asbuilt.record.pixels import ensure_frames, iter_pictures
from asbuilt.steps import lattice_marks
from asbuilt.steps.lattice import lattice_in
from tests.benchmarks import accuracy
from tests.benchmarks.accuracy_rooms import drop_sheets, placed, record_of, references

SHARES = (0.22, 0.78)  # of a wall's length, where a place is marked
MARKS_TRIED, PICTURES_TRIED, PICTURES_MARKED = 6, 10, 2
EYE_M = 1.3


def make_studs(room: Path, truth: dict, folder: Path) -> tuple[Record, str]:
    """The room placed by what ``asbuilt lattice --keep`` keeps; pictures in which it refuses are passed over."""
    record = record_of(room, folder / "record", [*sorted(room.glob("walk*.mp4")), *sorted(room.glob("open_*"))])
    drop_sheets(record)
    rng, known = np.random.default_rng(7), [r for r in references(room) if r["sightings"]]
    for face in record.all(Face):
        for share in SHARES:
            own = [r for r in known if r["face"] == face.id]
            own.sort(key=lambda r: np.hypot(r["offset_m"] - share * face.length_m, 0.4 * (r["height_m"] - EYE_M)))
            next((r for r in own[:MARKS_TRIED] if _marked(record, r, rng)), None)
    report = lattice_marks.run(record, lattice_marks.MarksOptions(keep=True))
    used = sum(not p.reason for p in report.pictures)
    return record, f"studs counted in {used} of {len(report.pictures)} pictures; {placed(record)}"


def _marked(record: Record, mark: dict, rng: np.random.Generator) -> int:
    """Mark a known place in pictures that show studs; in how many."""
    media, count, seen = {m.name: m for m in record.all(Media)}, 0, mark["sightings"]
    stills = {record.get(Media, p.media_id).name: p for p in record.all(Picture, kind="photo")}
    for k in np.unique(np.linspace(0, len(seen) - 1, PICTURES_TRIED).astype(int)):
        s = seen[k]
        picture = stills.get(s["file"]) if "file" in s else ensure_frames(record, media[s["video"]], [s["time_s"]])[0]
        if picture is None or count == PICTURES_MARKED or not _shows_studs(record, picture):
            continue
        if not record.find(ReferencePoint, mark["id"]):
            record.put(ReferencePoint(id=mark["id"], face_id=mark["face"], label=mark["label"],
                                      offset_m=mark["offset_m"], height_m=mark["height_m"]))  # fmt: skip
        u, v = np.array([s["u"], s["v"]]) + rng.normal(0, accuracy.CLICK_PX, 2)
        record.put(Sighting(id=f"{mark['id']}-{k}", target="reference", target_id=mark["id"], picture_id=picture.id,
                            x_px=float(u), y_px=float(v)))  # fmt: skip
        count += 1
    return count


def _shows_studs(record: Record, picture: Picture) -> bool:
    ((_, image),) = iter_pictures(record, [picture])
    found = lattice_in(record, picture, image, record.all(Face))
    return bool(found) and lattice_marks.is_firm(found.lattice)

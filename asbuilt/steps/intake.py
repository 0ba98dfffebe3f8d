"""Take photos and videos into the record; each file that cannot be used gives one line.

A file counts once its rows are committed. A run that is stopped, killed or cut off leaves
whole files and whole batches behind; the next one goes on from there.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from tqdm import tqdm

from asbuilt.errors import MediaError, RecordError
from asbuilt.record.media import clear_stale_incoming, known_media, plain_name, store_original
from asbuilt.record.store import Record, now
from asbuilt.record.types import COPYING, DAMAGED, HALTED, SCANNING, Media
from asbuilt.record.unfinished import not_looked_at
from asbuilt.record.video import container_format
from asbuilt.steps.filing import COVERED, unfiled_ids
from asbuilt.steps.intake_photos import add_photos
from asbuilt.steps.intake_video import begin_video, finish_video
from asbuilt.steps.scanner import Scanner

UNFINISHED = (COPYING, SCANNING, HALTED)


@dataclass(frozen=True, slots=True, kw_only=True)
class IntakeOptions:
    """``stage`` is open or covered for all files; None tells by the dates."""

    stage: str | None = None
    progress: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class FileOutcome:
    """What became of one file: added, known (already there), halted (partway, to be gone on with) or refused."""

    name: str
    outcome: str
    picture_count: int = 0
    stage: str = ""
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class DroppedStretch:
    """Part of a clip of which no frame was kept, and why."""

    name: str
    from_s: float
    to_s: float
    frame_count: int
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class IntakeReport:
    """What a run took in."""

    files: tuple[FileOutcome, ...]
    dropped: tuple[DroppedStretch, ...]
    not_looked_at: tuple[str, ...]  # of the whole record: clips and stretches, each with what to do
    unfiled_ids: tuple[str, ...]

    @property
    def refused(self) -> tuple[FileOutcome, ...]:
        """Files that could not be used."""
        return tuple(f for f in self.files if f.outcome == "refused")

    def to_json(self) -> dict:
        """Plain values."""
        return asdict(self)

    def lines(self) -> list[str]:
        """The report in words, a line for each thing to know."""
        told = [_file_line(f) for f in self.files]
        told += [
            f"{d.name}: {d.from_s:.1f} s to {d.to_s:.1f} s not kept: {d.reason} ({d.frame_count} frames)"
            for d in self.dropped
        ]
        own = {f"{f.name}: {f.text}" for f in self.files}
        told += [line for line in self.not_looked_at if line not in own]
        if self.unfiled_ids:
            told.append(
                f"{len(self.unfiled_ids)} pictures are not filed under a face yet; placing files those that show a "
                "marker sheet, the others: asbuilt file RECORD PICTURE --face NAME"
            )
        return told


def run(record: Record, paths: Iterable[str | Path], options: IntakeOptions | None = None) -> IntakeReport:
    """Take files in, and finish clips that an earlier run had to leave.

    Raises
    ------
    RecordError
        If the record cannot be written. Trouble with a file is in the report instead.
    """
    options, started = options or IntakeOptions(), now()
    try:
        clear_stale_incoming(record)
        outcomes = _take_in(record, [Path(p) for p in paths], options)
    except sqlite3.Error as error:
        raise RecordError(f"cannot write the record in {record.folder}: {error}") from error
    names = {outcome.name for outcome in outcomes if outcome.outcome in ("added", "halted")}
    report = IntakeReport(
        files=tuple(outcomes),
        dropped=tuple(d for d in dropped_stretches(record) if d.name in names),
        not_looked_at=tuple(not_looked_at(record)),
        unfiled_ids=tuple(unfiled_ids(record)),
    )
    record.add_step_report("intake", started, report.to_json())
    return report


def dropped_stretches(record: Record) -> list[DroppedStretch]:
    """Every stretch of every clip that was looked at and not kept."""
    return [
        DroppedStretch(name=media.name, **{key: d[key] for key in ("from_s", "to_s", "frame_count", "reason")})
        for media in record.all(Media, kind="video")
        for d in media.meta.get("dropped", ())
        if d["reason"] != DAMAGED
    ]


def _take_in(record: Record, paths: list[Path], options: IntakeOptions) -> list[FileOutcome]:
    outcomes: dict[Path, FileOutcome] = {}
    photos, videos = _sorted_out(record, paths, outcomes)
    for path, result in add_photos(record, photos, options.stage, options.progress):
        outcomes[path] = _outcome(plain_name(path), result, record)
    left = {media.id for media in record.all(Media, state=UNFINISHED)}
    with Scanner() as scanner:
        # First pictures of all of them, then the long work.
        begun = {path: _begun(record, scanner, path, options) for path in videos}
        for path, media in begun.items():
            outcomes[path] = _finished(record, scanner, plain_name(path), media, options)
        left -= {media.id for media in begun.values() if isinstance(media, Media)}
        rest = [media for media in record.all(Media, state=UNFINISHED) if media.id in left]
        resumed = [_finished(record, scanner, media.name, media, options) for media in rest]
    return [outcomes[path] for path in dict.fromkeys(paths)] + resumed


def _sorted_out(record: Record, paths: list[Path], outcomes: dict) -> tuple[list[Path], list[Path]]:
    photos, videos = [], []
    for path in tqdm(dict.fromkeys(paths), desc="looking", unit="file", disable=None, leave=False, delay=1):
        try:
            if path.is_dir():
                raise MediaError("is a folder, not a photo or video; name the files in it")
            if path.exists() and not path.is_file():
                raise MediaError("is a device or a pipe, not a photo or video")
            known = known_media(record, path)
            if known is not None and not (record.folder / known.path).is_file():
                record.put(replace(known, path=store_original(record, path).path))
                text = "already in the record; its original was missing there and is back"
                outcomes[path] = FileOutcome(name=plain_name(path), outcome="known", text=text)
            elif known is not None and known.state not in UNFINISHED:
                outcomes[path] = FileOutcome(name=plain_name(path), outcome="known", text="already in the record")
            else:
                (photos if container_format(path) is None else videos).append(path)
        except MediaError as error:
            outcomes[path] = FileOutcome(name=plain_name(path), outcome="refused", text=f"{plain_name(path)} {error}")
        except OSError as error:
            text = f"{plain_name(path)} cannot be read: {error.strerror or error}"
            outcomes[path] = FileOutcome(name=plain_name(path), outcome="refused", text=text)
    return photos, videos


def _begun(record: Record, scanner: Scanner, path: Path, options: IntakeOptions) -> Media | MediaError:
    try:
        return known_media(record, path) or begin_video(record, scanner, path, options.stage)
    except MediaError as error:
        return error
    except OSError as error:
        return MediaError(f"{plain_name(path)} cannot be read: {error.strerror or error}")


def _finished(
    record: Record, scanner: Scanner, name: str, media: Media | MediaError, options: IntakeOptions
) -> FileOutcome:
    if isinstance(media, MediaError):
        return _outcome(name, media, record)
    try:
        return _outcome(name, finish_video(record, scanner, media, options.progress), record)
    except MediaError as error:
        lent = _outcome(name, media, record) if media.state == COPYING else None
        return replace(lent, text=str(error)) if lent and lent.picture_count else _outcome(name, error, record)


def _outcome(name: str, result: Media | MediaError, record: Record) -> FileOutcome:
    if isinstance(result, MediaError):
        return FileOutcome(name=name, outcome="refused", text=str(result))
    # Of an hour's walk there are thousands: they are counted where they lie.
    first = next(iter(record.db.query("SELECT stage FROM pictures WHERE media_id = ? LIMIT 1", [result.id])), None)
    text = result.meta.get("trouble", "")
    is_halted = result.state in (HALTED, COPYING)
    if result.state == HALTED:
        text = f"halted at {result.meta['halted']['at_s']:.1f} s"
    elif first is None and result.meta.get("left_out"):
        return FileOutcome(name=name, outcome="refused", text=f"{name}: nothing of it could be looked at")
    return FileOutcome(
        name=name,
        outcome="halted" if is_halted else "added",
        picture_count=record.db["pictures"].count_where("media_id = ?", [result.id]),
        stage=first["stage"] if first else "",
        text=text,
    )


def _file_line(outcome: FileOutcome) -> str:
    if outcome.outcome == "refused":
        return f"not used: {outcome.text}"
    if outcome.outcome == "known":
        return f"{outcome.name}: {outcome.text}"
    kept = f"{outcome.picture_count} pictures" if outcome.picture_count != 1 else "1 picture"
    walls = "finished" if outcome.stage == COVERED else "open"
    return f"{outcome.name}: {kept} of the {walls} walls" + (f"; {outcome.text}" if outcome.text else "")

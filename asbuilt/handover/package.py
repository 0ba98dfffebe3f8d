"""Making a package of a record: everything in it, in forms that need no program of ours."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from asbuilt import __version__
from asbuilt.handover import words
from asbuilt.handover.annotations import annotation_page
from asbuilt.handover.bag import BagWriter, new_bag
from asbuilt.handover.bagcheck import OUTSIDE
from asbuilt.handover.binder import PAPERS, Binder, binder_pdf
from asbuilt.handover.card import card_of, card_pdf
from asbuilt.handover.columns import json_schema
from asbuilt.handover.drawings import drawings
from asbuilt.handover.errors import PackageError
from asbuilt.handover.ifc import ifc_model
from asbuilt.handover.opendata import csv_tables, fingerprint, json_chunks, tables_readme
from asbuilt.handover.pictures import Shown
from asbuilt.handover.share import ShareOptions, make_shared
from asbuilt.handover.viewer_pages import add_viewer
from asbuilt.record import Media, Picture, Record, now
from asbuilt.record.snapshot import copy_database, open_copy
from asbuilt.record.store import DATABASE_NAME
from asbuilt.record.types import COPYING, Elevation

RECORD = "record/"
IFC_NAME = "building.ifc"
LEFT_OUT_NAME = "left-out.txt"
JSON_NAME, SCHEMA_NAME, ANNOTATIONS_NAME = "record.json", "record.schema.json", "sightings.annotations.json"


PARTS = ("tables", "viewer", "binder", "drawings", "originals")


@dataclass(frozen=True, slots=True, kw_only=True)
class HandoverOptions:
    """``without`` names parts of ``PARTS`` to leave away; with ``share`` it is not the owner's full copy.

    Without originals it is a small package: its pictures are the reduced ones of the viewer and the binder.

    ``kept_at`` tells the panel card where the package will lie, ``sign`` makes the signature,
    ``ifc`` adds the building model.
    """

    without: frozenset[str] = frozenset()
    share: ShareOptions | None = None
    kept_at: str = ""
    sign: Callable[[bytes], bytes] | None = None
    ifc: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class HandoverReport:
    """What a package holds; ``missing`` are originals that were not in the record's folder.

    ``faults`` are pictures that could not be shown, each with the reason; ``left_out`` says
    in words what a shared copy lacks.
    """

    path: str
    file_count: int
    byte_count: int
    fingerprint: str
    missing: tuple[str, ...]
    faults: tuple[str, ...]
    left_out: tuple[str, ...]


def hand_over(
    record: Record,
    target: str | Path,
    options: HandoverOptions = HandoverOptions(),
    progress: Callable[[int], object] = lambda byte_count: None,
) -> HandoverReport:
    """Make a package of a record as it stands at one moment, while others read and write it.

    Parameters
    ----------
    target : path
        A new folder, or a name ending in .zip.
    progress : callable
        Told the bytes of every file that is in the package.

    Raises
    ------
    PackageError
        If something is there already, or it cannot be written.
    RecordError
        If the record cannot be read.
    """
    without_originals = "originals" in options.without
    if without_originals and options.share is not None:
        raise PackageError("a shared copy holds no originals as it is; to share no picture: --no-pictures")
    bag = new_bag(target, progress)
    try:
        with tempfile.TemporaryDirectory(prefix="asbuilt-") as scratch:
            database, folder, left_out = _source(record, Path(scratch), options)
            with open_copy(database, folder) as copy:
                missing = () if without_originals else tuple(_originals(bag, copy))
                _add_record(bag, copy, database)
                mark = fingerprint(copy)
                faults = _parts(bag, copy, options, mark, left_out)
                bag.finish(bag_info(copy, mark, without_originals), options.sign)
    except OSError as error:
        bag.abandon()
        raise PackageError(f"cannot write the package {target}: {error.strerror or error}") from error
    except BaseException:
        bag.abandon()
        raise
    return HandoverReport(path=str(target), file_count=len(bag.sizes), byte_count=sum(bag.sizes.values()),
                          fingerprint=mark, missing=missing, faults=faults, left_out=left_out)  # fmt: skip


def _source(record: Record, scratch: Path, options: HandoverOptions) -> tuple[Path, Path, tuple[str, ...]]:
    """The database of one moment and the folder of its files, and what is left out of them."""
    database = scratch / DATABASE_NAME
    copy_database(record, database)
    if options.share is None:
        return database, record.folder, ()
    folder = scratch / "shared"
    folder.mkdir()
    with open_copy(database, record.folder) as copy:
        shared = make_shared(copy, folder, options.share)
    return shared.database, shared.folder, shared.left_out


def _originals(bag: BagWriter, record: Record) -> Iterator[str]:
    """Put the originals into the bag; yields the names of those that are not there."""
    for media in record.all(Media):
        path = record.folder / media.path
        if media.state == COPYING:
            yield f"{media.name} (still being copied into the record)"
        elif path.is_file() and not OUTSIDE.search(media.path):
            bag.add_file(RECORD + media.path, path)
        else:
            yield media.name


def _add_record(bag: BagWriter, record: Record, database: Path) -> None:
    """Put the record itself into the bag, with the elevation pictures worked out from it."""
    for name in elevation_files(record):
        bag.add_file(RECORD + name, record.folder / name)
    bag.add_file(RECORD + DATABASE_NAME, database)


def _parts(
    bag: BagWriter, record: Record, options: HandoverOptions, mark: str, left_out: tuple[str, ...]
) -> tuple[str, ...]:
    """Put in what makes the record readable without its program; what could not be put in."""
    chosen = [part for part in PARTS if part not in options.without] + (["ifc"] if options.ifc else [])
    bag.add_bytes("README.txt", words.readme(record.building.name, chosen, bool(left_out)).encode())
    if left_out:
        bag.add_bytes(LEFT_OUT_NAME, words.left_out(left_out).encode())
    shown = Shown(record)
    add_json(bag, record)
    if "tables" in chosen:
        add_tables(bag, record)
    if "viewer" in chosen:
        add_viewer(bag, record, shown, left_out)
    if "binder" in chosen:
        for paper in PAPERS:
            binder = Binder(record=record, paper=paper, printed_on=now()[:10], mark=mark, left_out=left_out)
            bag.add_bytes(f"papers/binder-{paper}.pdf", binder_pdf(binder, shown))
        card = card_of(record, mark, options.kept_at)
        for name, paper in (("", "card"), ("-a5", "a5")):
            bag.add_bytes(f"papers/panel-card{name}.pdf", card_pdf(card, now()[:10], paper))
    if "drawings" in chosen:
        for name, data in drawings(record):
            bag.add_bytes(f"drawings/{name}", data)
    if options.ifc:
        bag.add_bytes(f"drawings/{IFC_NAME}", ifc_model(record))
    return tuple(dict.fromkeys(shown.faults))


def elevation_files(record: Record) -> Iterator[str]:
    """Files of the elevation pictures, relative to the record."""
    for folder in dict.fromkeys(e.folder for e in record.all(Elevation)):
        for path in sorted((record.folder / folder).rglob("*")):
            if path.is_file():
                yield path.relative_to(record.folder).as_posix()


def add_json(bag: BagWriter, record: Record) -> None:
    """The JSON of everything with its schema, and the sightings."""
    bag.add_stream(JSON_NAME, json_chunks(record))
    bag.add_bytes(SCHEMA_NAME, _json(json_schema()))
    bag.add_bytes(ANNOTATIONS_NAME, _json(annotation_page(record, RECORD)))


def add_tables(bag: BagWriter, record: Record) -> None:
    """A CSV file for each table, and what they mean."""
    for table, chunks in csv_tables(record):
        bag.add_stream(f"tables/{table}.csv", chunks)
    bag.add_bytes("tables/README.txt", tables_readme().encode())


def _json(value) -> bytes:
    return (json.dumps(value, ensure_ascii=False, indent=1) + "\n").encode()


def bag_info(record: Record, mark: str, without_originals: bool = False) -> Iterable[tuple[str, str]]:
    """What bag-info.txt says: the reserved labels, then those of the Dublin Core, then our own."""
    name = record.building.name
    about = f"Measured record of what is inside the walls of {name}, made before they were covered"
    days = sorted(p.taken_at[:10] for p in record.all(Picture) if p.taken_at)
    first = record.db.execute("SELECT author FROM history ORDER BY id LIMIT 1").fetchone()
    return (
        ("External-Description", about),
        ("External-Identifier", mark),
        ("Bagging-Date", now()[:10]),
        ("Bag-Software-Agent", f"asbuilt {__version__}"),
        ("Title", name),
        ("Creator", first[0] if first else ""),
        ("Subject", "building record; concealed electrical, plumbing and framing work"),
        ("Description", about),
        ("Date", " to ".join(dict.fromkeys([days[0], days[-1]])) if days else ""),
        ("Type", "Dataset"),
        ("Format", "SQLite, JSON, CSV, PDF, HTML, JPEG and the originals as they were taken"),
        ("Identifier", f"sha256:{mark}"),
        ("Language", "en"),
        (words.ORIGINALS, words.NOT_HERE if without_originals else ""),
    )

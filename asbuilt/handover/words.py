"""The words that go with a package: what it is, what each file is for, what to beware of."""

from __future__ import annotations

from collections.abc import Sequence

README = """\
{name}
{rule}

This folder holds the record of what is inside the walls of this building: photos and video
taken before the walls were covered, and what was measured in them. It is made to be read
without the program that wrote it.

WHAT IS HERE
{contents}
IF SOMETHING IS DAMAGED
  Every file's SHA-512 is listed in manifest-sha512.txt, one folder up (BagIt, RFC 8493).
  "asbuilt verify FOLDER" names what is damaged; so does any BagIt program, and so does
  "sha512sum -c manifest-sha512.txt". One damaged file does not spoil the others: the
  database, the JSON and the tables hold the same facts.

BEFORE YOU DRILL OR CUT
  This is a record to look with, not leave to drill. What is not in it may still be there:
  a place that no picture shows is NOT RECORDED, which is not the same as empty. Walls may
  have been opened and changed since. Switch off, prove dead with a contact tester, drill
  shallow first and look. Local rules and licensed trades come first.
"""

# Path, what it is, and the part of a package that it belongs to; None: always there.
CONTENTS = (
    ("viewer/index.html", "START HERE: double-click it; walls, answers and pictures in any browser, offline", "viewer"),
    ("viewer/phone.html", "the same in one file, with smaller pictures: copy this one to a phone", "viewer"),
    ("papers/binder-letter.pdf", "the paper binder, to print at 100 % and keep (A4: binder-a4.pdf)", "binder"),
    ("papers/panel-card.pdf", "a card for the panel door, with a code of plain text (A5: panel-card-a5.pdf)", "binder"),
    ("drawings/", "every wall as a drawing for CAD programs (DXF), layers by discipline; building-3d.dxf", "drawings"),
    ("drawings/building.ifc", "the building model (IFC4) for programs of architects and builders", "ifc"),
    ("record/", "the record itself: record.db (SQLite) and, in media/, the photos and videos as taken", None),
    ("record.json", "all its facts in one JSON file; record.schema.json describes it", None),
    ("tables/", "the same facts as tables for any spreadsheet; tables/README.txt explains them", "tables"),
    ("sightings.annotations.json", "what was marked where in which picture (W3C Web Annotations)", None),
)


SMALL = {"record/": "the record itself: record.db (SQLite); the photos and videos as taken are NOT in this package"}
SHARED = {"record/": "a part of the record: record.db (SQLite) and, in media/, its pictures, written anew"}
ORIGINALS, NOT_HERE = "Originals", "not in this package"  # a line of bag-info.txt
LEFT_OUT = ("left-out.txt", "what this copy lacks; the owner's own copy has it")


def readme(name: str, parts: Sequence[str], is_shared: bool = False) -> str:
    """The text of README.txt for a package with those parts."""
    shown = [(path, text) for path, text, part in CONTENTS if part is None or part in parts]
    if "originals" not in parts:
        shown = [(path, SMALL.get(path, text)) for path, text in shown]
    elif is_shared:
        shown = [LEFT_OUT, *((path, SHARED.get(path, text)) for path, text in shown)]
    width = max(len(path) for path, _ in shown)
    contents = "".join(f"  {path.ljust(width)}  {text}\n" for path, text in shown)
    return README.format(name=name, rule="=" * len(name), contents=contents)


def left_out(lines: Sequence[str]) -> str:
    """The text of left-out.txt."""
    return "LEFT OUT OF THIS COPY\n\n" + "".join(f"- {line}\n" for line in lines)

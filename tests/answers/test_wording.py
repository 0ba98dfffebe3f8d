"""What no text of the program may say, and what must never read alike."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from asbuilt.answers import drill_wording, wording

ROOT = Path(__file__).resolve().parents[2]
# Words that promise. "safe" as a word of its own in any form; the rest as people say it.
PROMISES = re.compile(r"\b(un)?safe(ly|r|st)?\b|\bclear to (drill|cut)\b|\ball clear\b|\bno risk\b", re.IGNORECASE)


def _shown_strings(path: Path):
    """String literals of a module that are not docstrings and not keywords of calls to libraries."""
    tree = ast.parse(path.read_text("utf-8"))
    docs = set()
    for node in ast.walk(tree):
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)):
            first = node.body[0] if node.body else None
            if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant):
                # A command's docstring is its help, which is shown.
                if "cli" not in path.parts:
                    docs.add(id(first.value))
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
            yield node.lineno, node.value


def test_no_message_of_the_package_promises_anything():
    found = []
    for folder in ("asbuilt", "web"):
        for path in (ROOT / folder).rglob("*.py"):
            found += [(path.name, line, text) for line, text in _shown_strings(path) if PROMISES.search(text)]
    assert not found


def test_no_template_script_or_sheet_promises_anything():
    found = []
    for path in ROOT.glob("web/**/*"):
        if path.suffix in (".html", ".js", ".txt", ".svg"):
            text = re.sub(r"\{[{%].*?[%}]\}", "", path.read_text("utf-8"), flags=re.DOTALL)  # template code
            found += [(path.name, m.group()) for m in PROMISES.finditer(text)]
    assert not found


def test_the_scan_finds_what_it_must(tmp_path):
    bad = tmp_path / "bad.py"
    bad.write_text('"""A safe docstring is not shown."""\nTEXT = "It is safe here"\nMORE = "clear to drill"\n')
    assert [line for line, text in _shown_strings(bad) if PROMISES.search(text)] == [2, 3]


def test_not_recorded_and_nothing_recorded_do_not_read_alike():
    nothing = wording.nothing_recorded("2026-03-14", "2026-03-14")
    unknown = wording.not_recorded(wording.NO_PICTURE)
    assert nothing.startswith("Nothing recorded here") and "does not prove" in nothing
    assert unknown.startswith("Not recorded") and "unknown" in unknown
    assert wording.NOTHING not in unknown.lower() and wording.UNKNOWN not in nothing.lower()


@pytest.mark.parametrize(
    ("chance", "words"),
    [(0.0, "next to 0 %"), (0.004, "less than 1 %"), (0.256, "about 26 %"), (0.995, "more than 99 %"),
     (1.0, "more than 99 %")],
)  # fmt: skip
def test_chances_are_never_put_as_certain(chance, words):
    assert drill_wording.percent(chance) == words


@pytest.mark.parametrize(
    ("bottom", "top", "words"),
    [(0.0, 2.7, "floor to top"), (1.524, 2.7, "above 5 ft 0 in"), (0.0, 1.2192, "below 4 ft 0 in"),
     (0.6096, 1.2192, "2 ft 0 in to 4 ft 0 in up")],
)  # fmt: skip
def test_stretches_of_height_are_said_as_people_say_them(bottom, top, words):
    assert wording.stretch_of_height(bottom, top, 2.75, "in") == words
    flat = wording.stretch_of_height(bottom, top, 2.75, "in", flat=True)
    assert flat.endswith(" across") or flat == "from edge to edge"


def test_depths_always_say_from_which_face():
    assert "finished face" in wording.depth(0.05, 0.0127, 0.002, "in")
    assert "stud face" in wording.depth(0.05, 0.0, 0.002, "in")
    assert "proud of the finished face" in wording.depth(-0.03, 0.0127, 0.002, "in")


def test_what_was_taped_is_not_said_to_come_from_pictures():
    assert wording.measured("taped", 0, "") == "taped"
    assert wording.measured("intersected", 1, "2026-03-14") == "intersected from 1 picture, seen 2026-03-14"
    assert wording.measured("intersected", 3, "") == "intersected from 3 pictures"

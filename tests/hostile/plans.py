"""Made plan files: broken TOML, wrong types, impossible sizes, names that are traps."""

from __future__ import annotations

import json
import tempfile
from collections import Counter
from pathlib import Path

from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from asbuilt.errors import AsbuiltError
from asbuilt.handover.verify import verify
from asbuilt.record import Record
from asbuilt.record.plan import export_plan, load_plan
from asbuilt.record.plan_keys import TABLES
from asbuilt.record.rows import to_row
from asbuilt.record.types import TYPES

SAMPLE = Path(__file__).parents[2] / "sample_media" / "plan.toml"
LINES = SAMPLE.read_text("utf-8").splitlines()
TRAPS = (
    "", " ", "../../etc/passwd", "a/b", "\u202eabc", "x" * 5000, "<script>alert(1)</script>", "'; DROP TABLE items;",
    "1e999", "9" * 400 + " ft", "-6 ft", "0", "1/0 in", "6' 13\"", "NaN", "inf", "street", "\U0001f525", "1+1",
    "a\u0000b", "2x999999999", "1 ft 2 ft 3 ft",
)  # fmt: skip
WORDS = st.sampled_from(TRAPS) | st.text(max_size=30)
PLAIN = st.integers(-(10**25), 10**25) | st.floats() | st.booleans() | st.dates().map(str)
LISTS = st.lists(PLAIN, max_size=3)
VALUES = WORDS.map(json.dumps) | PLAIN.map(lambda v: str(v).lower()) | LISTS.map(json.dumps)
KEYS = st.sampled_from(sorted({k.name for t in TABLES for k in t.keys})) | st.text("abcdefgh_", min_size=1, max_size=9)
HEADS = st.sampled_from([f"[[{t.name}]]" for t in TABLES] + ["[building]", "[[a.b]]", "[", "[[face]] [[face]]"])


@st.composite
def plans(draw: st.DrawFn) -> bytes:
    """The sample's plan with a few things done to it, or something that is hardly a plan."""
    if draw(st.integers(0, 9)) == 0:
        return draw(st.binary(max_size=300) | st.text(max_size=300).map(lambda t: t.encode("utf-8", "replace")))
    lines = list(LINES)
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(lines) - 1))
        what = draw(st.sampled_from(("value", "drop", "repeat", "line", "head", "move")))
        if what == "value" and "=" in lines[at]:
            lines[at] = lines[at].split("=")[0] + "= " + draw(VALUES)
        elif what == "drop":
            del lines[at : at + draw(st.integers(1, 12))]
        elif what == "repeat":
            lines[at:at] = lines[at : at + draw(st.integers(1, 12))]
        elif what == "move":
            lines.append(lines.pop(at))
        else:
            lines.insert(at, f"{draw(KEYS)} = {draw(VALUES)}" if what == "line" else draw(HEADS))
        if not lines:
            lines = ["[building]"]
    return "\n".join(lines).encode("utf-8", "replace")


def load_made_plans(count: int, number: int) -> tuple[Counter, list[str]]:
    """Load made plans: each is taken whole and comes back the same, or is refused in one line and changes nothing."""
    counts, failures = Counter(), []

    @seed(number)
    @settings(max_examples=count, database=None, deadline=None, phases=[Phase.generate],
              suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(plans())
    def run(data: bytes) -> None:
        counts["tried"] += 1
        with tempfile.TemporaryDirectory() as scratch:
            try:
                counts[_loaded(Path(scratch), data)] += 1
            except Exception as error:
                failures.append(f"{type(error).__name__}: {str(error)[:300]} of plan {data[-400:]!r}")

    run()
    return counts, failures


def _loaded(folder: Path, data: bytes) -> str:
    path = folder / "plan.toml"
    path.write_bytes(data)
    with Record.create(folder / "house", "House") as record:
        before = _rows(record)
        try:
            load_plan(record, path)
        except AsbuiltError as error:
            words = str(error)
            assert "\n" not in words and len(words) < 600, f"too many words: {words[:300]}"
            assert words.startswith("plan.toml"), f"does not name the file: {words[:300]}"
            assert _rows(record) == before, "a refused plan changed the record"
            return "refused"
        again = folder / "again.toml"
        again.write_text(export_plan(record), "utf-8")
        with Record.create(folder / "second", "House") as second:
            load_plan(second, again)
            assert _rows(second) == _rows(record), "what was exported loads as something else"
        assert not verify(folder / "house").faults
        return "taken"


def _rows(record: Record) -> dict:
    return {cls.__name__: sorted((to_row(row) for row in record.all(cls)), key=lambda row: row["id"]) for cls in TYPES}

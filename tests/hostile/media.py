"""Mutated pictures and clips through the scanning process that intake uses."""

from __future__ import annotations

import random
import time
from collections import Counter
from pathlib import Path

from tqdm import tqdm

from asbuilt.errors import MediaError
from asbuilt.record import Media, Picture, Record
from asbuilt.record.pixels import read_picture
from asbuilt.steps import intake
from asbuilt.steps.scanner import Scanner
from tests.hostile.mutate import mutated, seeds

PATIENCE_S = 20.0
PIECE = 500  # files to a look into the record


def look_at_mutants(folder: Path, count: int, seed: int) -> tuple[Counter, list[str]]:
    """Decode mutated files one after another; outcomes by kind, and what must not be.

    Each is looked at whole, and a clip that can be looked at is scanned to its end. A decoder
    that dies or hangs is a refusal too: it is a process of its own, with limits.
    """
    wholes = [(path, path.read_bytes()) for path in seeds(folder / "whole")]
    others = [data for _, data in wholes]
    counts, failures = Counter(), []
    with Scanner(patience_s=PATIENCE_S) as scanner:
        for number in tqdm(range(count), desc="mutants", unit="file", disable=None):
            dice = random.Random(f"{seed}/{number}")
            source, whole = wholes[number % len(wholes)]
            path = folder / f"mutant{source.suffix}"
            path.write_bytes(mutated(whole, others, dice))
            started = time.monotonic()
            outcome = _decoded(scanner, path)
            seconds = time.monotonic() - started
            counts[f"{source.suffix[1:]} {outcome}"] += 1
            counts["tried"] += 1
            if seconds > PATIENCE_S + 10:
                failures.append(f"number {number} took {seconds:.0f} s")
    return counts, failures


def _decoded(scanner: Scanner, path: Path) -> str:
    try:
        found = scanner.look(path, path.name)
        if found["kind"] == "video":
            for _ in scanner.scan(path, path.name, found["facts"]["meta"]["start_s"], None):
                pass
    except MediaError as error:
        words = str(error)
        if "\n" in words or len(words) > 400:
            return "refused in too many words"
        if "brought its decoder down" in words:
            return "brought its decoder down"
        return "kept its decoder too long" if "kept its decoder busy" in words else "refused"
    return "decoded"


def take_mutants_in(folder: Path, count: int, seed: int) -> tuple[Counter, list[str]]:
    """Mutated files through intake into a record: each has its outcome, every row its pixels."""
    wholes = [(path, path.read_bytes()) for path in seeds(folder / "whole")]
    others = [data for _, data in wholes]
    paths = []
    (folder / "mutants").mkdir()
    for number in range(count):
        source, whole = wholes[number % len(wholes)]
        path = folder / "mutants" / f"m{number:05d}{source.suffix}"
        path.write_bytes(mutated(whole, others, random.Random(f"{seed}/in/{number}")))
        paths.append(path)
    failures = []
    with Record.create(folder / "house", "House") as record:
        report = intake.run(record, [*paths, *(p for p, _ in wholes)], intake.IntakeOptions(progress=False))
        outcomes = {f.name: f for f in report.files}
        failures += [f"{p.name} has no outcome" for p in paths if p.name not in outcomes]
        failures += [f"{p.name}: {outcomes[p.name].text}" for p, _ in wholes if outcomes[p.name].outcome != "added"]
        for picture in record.all(Picture):
            try:
                shape = read_picture(record, picture).shape[:2]
            except MediaError:
                shape = None
            if shape != (picture.height_px, picture.width_px):
                name = record.get(Media, picture.media_id).name
                failures.append(f"{name}: a kept picture of it reads as {shape}")
    return Counter(f.outcome for f in report.files), failures

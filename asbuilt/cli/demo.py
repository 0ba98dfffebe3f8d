"""asbuilt demo: the whole job on the sample building."""

from __future__ import annotations

import time
import tomllib
from dataclasses import dataclass
from pathlib import Path

import click

from asbuilt.cli.shared import author
from asbuilt.errors import RecordError
from asbuilt.units import parse_length

SAMPLE_MEDIA = Path(__file__).parents[2] / "sample_media"
SCRIPT = "demo.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class Script:
    """What a demo folder asks for."""

    folder: Path
    open_files: list[Path]
    covered_files: list[Path]
    plan: Path
    sightings: Path
    wiring: Path | None  # what belongs to what, noted once the things were marked
    questions: list[dict]


def read_script(folder: Path) -> Script:
    """The demo that a folder describes.

    Raises
    ------
    RecordError
        If the folder holds none.
    """
    path = folder / SCRIPT
    if not path.is_file():
        raise RecordError(f"{folder} holds no {SCRIPT}; run the demo from a checkout, or name the folder with --media")
    told = tomllib.loads(path.read_text("utf-8"))
    return Script(
        folder=folder,
        open_files=[f for pattern in told["open"] for f in sorted(folder.glob(pattern))],
        covered_files=[f for pattern in told["covered"] for f in sorted(folder.glob(pattern))],
        plan=folder / told["plan"],
        sightings=folder / told["sightings"],
        wiring=folder / told["wiring"] if "wiring" in told else None,
        questions=told["question"],
    )


@click.command("demo")
@click.argument("record", metavar="RECORD", type=click.Path(), default="demo")
@click.option(
    "--media", type=click.Path(file_okay=False, path_type=Path), default=SAMPLE_MEDIA, help="The sample's files."
)
def command(record: str, media: Path) -> None:
    """Make a record of the sample building in RECORD (a new folder), and ask it three questions.

    The files are taken in as a stranger's would be: plan, video and photos, placing by the
    marker sheets, then what a person clicked. Nothing else is known to it.

    \b
    Examples:
      asbuilt demo
      asbuilt demo /tmp/demo
    """
    from asbuilt.answers.behind import behind
    from asbuilt.answers.text import behind_text

    started = time.monotonic()
    script = read_script(media)
    with make_record(record, script) as opened:
        for question in script.questions:
            click.echo()
            click.secho(f"asbuilt behind {record} {_words(question)}", bold=True)
            height = question.get("height")
            answer = behind(
                opened, question["face"], parse_length(question["offset"]),
                height_m=None if height is None else parse_length(height),
            )  # fmt: skip
            click.echo(behind_text(answer))
    click.echo(f"\nDone in {time.monotonic() - started:.0f} s. See it in a browser:  asbuilt serve {record}")
    click.echo(f"With true-scale pictures of the walls (a minute or two more):  asbuilt elevation {record} --depth")


def make_record(folder: str, script: Script):
    """A new record from a script's files: plan, intake, sightings, placing, locating, coverage."""
    from asbuilt.record import Record
    from asbuilt.record.clicks import load_clicks
    from asbuilt.record.plan import load_plan
    from asbuilt.steps import coverage, intake, locate, place
    from asbuilt.steps.place_error import face_errors
    from asbuilt.steps.place_text import located_text, placed_text

    record = Record.create(folder, script.folder.name, author=author())
    click.echo(f"plan: {script.plan.name}")
    load_plan(record, script.plan)
    for files, stage in ((script.open_files, "open"), (script.covered_files, "covered")):
        for line in intake.run(record, files, intake.IntakeOptions(stage=stage)).lines():
            click.echo(line)
    load_clicks(record, script.sightings)
    placed = place.run(record)
    located = locate.run(record, look_again=True, progress=True)
    click.echo(placed_text(placed, face_errors(record), record.building.unit))
    click.echo(located_text(located))
    if script.wiring is not None:
        load_plan(record, script.wiring)
        click.echo(f"wiring: {script.wiring.name}")
    coverage.run(record)
    return record


def _words(question: dict) -> str:
    words = f'{question["face"]} "{question["offset"]}"'
    return words + (f' --height "{question["height"]}"' if "height" in question else "")

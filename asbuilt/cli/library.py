"""asbuilt library: many records at once."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from asbuilt.cli.shared import author, json_option, print_json, print_table

if TYPE_CHECKING:
    from asbuilt.library.entry import Entry
    from asbuilt.library.task import Job

folder_argument = click.argument("folder", metavar="FOLDER", type=click.Path(path_type=Path))


def spread_options(function):
    """Options on where a batch is worked on."""
    for option in (
        click.option("--jobs", type=click.IntRange(min=1), help="Records worked on at once.  [default: one a core]"),
        click.option("--scheduler", metavar="ADDRESS", help="Work on the machines of this Dask scheduler instead."),
        click.option("--retries", type=click.IntRange(min=0), default=2, show_default=True,
                     help="Further tries where the storage fails or the worker is lost."),
        json_option,
    ):  # fmt: skip
        function = option(function)
    return function


@click.group(
    epilog="""\b
Examples:
  asbuilt library list buildings
  asbuilt library search buildings "50 A circuit for a range"
  asbuilt library add buildings incoming
  asbuilt library place buildings
"""
)
def command() -> None:
    """List, search and work through many records: all that lie below one folder.

    What was read of each record is kept in FOLDER/library.db, so that only changed records are
    read again. That file can be deleted at any time.
    """


@command.command("list")
@folder_argument
@click.option("--state", help="Only records in this state, as the list calls it: placed, not placed...")
@click.option("--gaps", "only_gaps", is_flag=True, help="Only records with parts of walls to photograph again.")
@json_option
def list_records(folder: Path, state: str | None, only_gaps: bool, as_json: bool) -> None:
    """List the records below FOLDER: state, walls, pictures placed, gaps and size.

    A gap is a part of a wall that no placed picture shows well. A dash means that this was not
    worked out yet: not that there is none.

    \b
    Examples:
      asbuilt library list buildings
      asbuilt library list buildings --state "not placed"
      asbuilt library list buildings --gaps --json
    """
    from asbuilt.library.entry import STATES
    from asbuilt.library.shelf import entries

    if state is not None and state not in STATES:
        raise click.ClickException(f"--state {state!r} is not one of: {', '.join(STATES)}")
    found = [e for e in entries(folder) if state in (None, e.state) and (e.gaps or not only_gaps)]
    if as_json:
        print_json([e.to_json() for e in found])
        return
    print_table([_row(e) for e in found], nothing=f"no such record below {folder}")
    click.echo(f"\n{len(found)} records, {_size(sum(e.byte_count for e in found))}") if found else None
    for entry in found:
        if entry.trouble:
            click.echo(f"{entry.folder}: {entry.trouble}", err=True)


def _row(entry: Entry) -> dict[str, str]:
    if entry.trouble:
        return {"record": entry.folder, "building": "", "state": entry.state} | dict.fromkeys(
            ("walls", "pictures", "placed", "things", "gaps", "size"), "-"
        )
    return {
        "record": entry.folder,
        "building": entry.name,
        "state": entry.state,
        "walls": str(entry.faces),
        "pictures": str(entry.pictures),
        "placed": str(entry.placed),
        "things": str(entry.items),
        "gaps": "-" if entry.gaps is None else str(entry.gaps),
        "size": _size(entry.byte_count),
    }


def _size(byte_count: int) -> str:
    value, unit = byte_count / 1e6, "MB"
    if value >= 1000:
        value, unit = value / 1000, "GB"
    return f"{value:.1f} {unit}" if value < 100 else f"{value:,.0f} {unit}"


@command.command("search")
@folder_argument
@click.argument("words", nargs=-1)
@click.option("--circuit", metavar="WORDS", help="A circuit by its number, name or load.")
@click.option("--amps", type=float, help="Of a circuit with this rating.")
@click.option("--kind", help="A thing of this kind: device box, cable, conduit, gas pipe...")
@json_option
def search_records(
    folder: Path, words: tuple[str, ...], circuit: str | None, amps: float | None, kind: str | None, as_json: bool
) -> None:
    """Find the records below FOLDER that hold a circuit or a thing, and say which.

    All that is asked must be true of one circuit or one thing. Words are compared with numbers,
    names, labels, kinds, loads and walls; each need only be the beginning of one. "50 A" means a
    rating, "circuit" that a circuit is meant. A record that is not found may still have it in its
    walls: only what was marked can be found.

    \b
    Examples:
      asbuilt library search buildings "50 A circuit for a range"
      asbuilt library search buildings --circuit range --amps 50
      asbuilt library search buildings --kind "gas pipe" --json
    """
    from asbuilt.library.shelf import search

    answer = search(folder, " ".join(words), circuit=circuit, amps=amps, kind=kind)
    if as_json:
        print_json(answer.to_json())
    else:
        for record in answer.found:
            click.secho(f"{record.folder}: {record.name}", bold=True)
            for thing in record.things:
                click.echo(f"  {thing}")
        click.echo(f"{len(answer.found)} of {answer.looked_in} records have it marked: {answer.asked}")
        if len(answer.found) < answer.looked_in:
            click.echo("In the others it was not marked; that does not tell that it is not there.")
    for entry in answer.not_read:
        click.echo(f"not looked into: {entry.folder}: {entry.trouble}", err=True)
    if answer.not_read:
        raise click.exceptions.Exit(1)


@command.command("add")
@folder_argument
@click.argument("source", metavar="FROM", type=click.Path(path_type=Path))
@click.option("--stage", type=click.Choice(("open", "covered")), help="What the files show.  [default: by the dates]")
@spread_options
def add_batch(folder: Path, source: Path, stage: str | None, **spread) -> None:
    """Take in what lies in FROM, a folder for each building, into the records of the same names.

    FROM/mill/walk.mp4 goes into the record FOLDER/mill, which is made where there is none. A
    plan.toml beside it is read when the record has no walls yet, a clicks.json when it has no
    things yet. Files that a record has already are passed over, so the same line can be run again
    after it was stopped. A record that fails is listed, and the others go on.

    \b
    Examples:
      asbuilt library add buildings incoming
      asbuilt library add /shared/buildings /shared/incoming --scheduler tcp://10.0.0.5:8786
    """
    from asbuilt.library.incoming import add_jobs

    _work_through(add_jobs(folder, source, author=author(), stage=stage), **spread)


@command.command("place")
@folder_argument
@click.argument("names", metavar="[RECORD]...", nargs=-1)
@click.option("--again", is_flag=True, help="Also records in which nothing changed since.")
@spread_options
def place_batch(folder: Path, names: tuple[str, ...], again: bool, **spread) -> None:
    """Place, locate and work out coverage in all records below FOLDER, or in those named.

    A record in which nothing changed since is passed over, so the same line can be run again after
    it was stopped. A record that fails is listed, and the others go on. With --scheduler the
    records must lie on storage that every machine sees under the same path.

    \b
    Examples:
      asbuilt library place buildings
      asbuilt library place buildings mill north/lot-12 --jobs 4
      asbuilt library place /shared/buildings --scheduler tcp://10.0.0.5:8786 --json
    """
    from asbuilt.library.incoming import place_jobs

    _work_through(place_jobs(folder, names, author=author(), again=again), **spread)


def _work_through(batch: list[Job], jobs: int | None, scheduler: str | None, retries: int, as_json: bool) -> None:
    from dataclasses import asdict

    from tqdm import tqdm

    from asbuilt.library.spread import Spread, run
    from asbuilt.library.task import FAILED

    outcomes = []
    with tqdm(total=len(batch), unit="record", disable=None) as bar:
        for outcome in run(batch, Spread(jobs=jobs, scheduler=scheduler, retries=retries)):
            outcomes.append(outcome)
            bar.update()
            if not as_json:
                with bar.external_write_mode():
                    click.echo(f"{outcome.name}: {outcome.outcome}{f' ({outcome.text})' if outcome.text else ''}")
    failed = [o for o in outcomes if o.outcome == FAILED]
    if as_json:
        print_json([asdict(o) for o in sorted(outcomes, key=lambda o: o.name)])
    else:
        click.echo(f"{len(outcomes)} records, {len(failed)} failed" if outcomes else "no records there")
    if failed:
        raise click.exceptions.Exit(1)

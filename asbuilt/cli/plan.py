"""asbuilt plan: a whole building from one file, and back."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

import click

from asbuilt.cli.shared import open_record, record_argument
from asbuilt.errors import RecordError

if TYPE_CHECKING:
    from asbuilt.record.plan import PlanReport


@click.group(
    epilog="""\b
Examples:
  asbuilt plan load house plan.toml
  asbuilt plan export house plan.toml
"""
)
def command() -> None:
    """Describe the building by one TOML plan file."""


@command.command("load")
@record_argument
@click.argument("plan", type=click.Path())
@click.option("--remove-missing", is_flag=True, help="Also take out what the plan does not name.")
def load(record: str, plan: str, remove_missing: bool) -> None:
    """Bring RECORD in step with the file PLAN; all of it or nothing.

    \b
    Examples:
      asbuilt plan load house plan.toml
      asbuilt plan load house plan.toml --remove-missing
    """
    from asbuilt.record.plan import load_plan

    with open_record(record) as opened:
        _tell(load_plan(opened, plan, remove_missing=remove_missing))


def _tell(report: PlanReport) -> None:
    if report.added:
        counts = Counter(name.split()[0] for name in report.added)
        click.echo("added: " + ", ".join(f"{table} {count}" for table, count in counts.items()))
    for verb, names in (("changed", report.changed), ("removed", report.removed)):
        if names:
            click.echo(f"{verb}: {', '.join(names)}")
    if report.same_count:
        click.echo(f"already so: {report.same_count}")
    if report.not_in_plan:
        click.echo(f"kept, though the plan does not name it: {', '.join(report.not_in_plan)}")
    for note in report.notes:
        click.echo(f"look again: {note}")


@command.command("export")
@record_argument
@click.argument("plan", type=click.Path(), required=False)
@click.option("--overwrite", is_flag=True, help="Replace PLAN if it is there.")
def export(record: str, plan: str | None, overwrite: bool) -> None:
    """Write the described building of RECORD to the file PLAN, or to the screen.

    \b
    Examples:
      asbuilt plan export house
      asbuilt plan export house plan.toml --overwrite
    """
    from asbuilt.record.plan import export_plan

    with open_record(record) as opened:
        text = export_plan(opened)
    if plan is None:
        click.echo(text, nl=False)
        return
    if Path(plan).exists() and not overwrite:
        raise RecordError(f"{plan} is there already; choose another name or add --overwrite")
    Path(plan).write_text(text, "utf-8")
    click.echo(f"wrote {plan}")

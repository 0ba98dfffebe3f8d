"""Groups of commands that describe a building part by part: add, change, list, remove.

One group for each table of a plan file; its options are the keys of that table, and what it
adds passes the same checks. The table is only looked up when a command of the group runs,
so that ``asbuilt --help`` stays quick.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from asbuilt.cli.shared import json_option, open_record, print_json, print_table, record_argument

if TYPE_CHECKING:
    from asbuilt.record.plan_table import Key, Table


class Describe(click.Group):
    """``add``, ``change``, ``list`` and ``remove`` for one table of a plan.

    Parameters
    ----------
    name : str
        The table.
    named_by : str
        The key that ``add`` takes as its second argument; empty where rows name themselves.
    example : str
        An example of the words that follow ``asbuilt NAME add RECORD``.
    changed : str
        An example of the words that follow ``asbuilt NAME change RECORD``, the id first.
    """

    def __init__(self, name: str, *, help: str, named_by: str, example: str, changed: str) -> None:
        self.table_name, self.named_by = name, named_by
        row_id = changed.split()[0]
        self.verbs: dict[str, tuple[Callable[[Table], click.Command], str]] = {
            "add": (self._add, example),
            "change": (self._change, changed),
            "list": (self._list, ""),
            "remove": (self._remove, row_id),
        }
        epilog = "\b\nExamples:\n" + "\n".join(
            f"  asbuilt {name} {verb} house {words}".rstrip() for verb, (_, words) in self.verbs.items()
        )
        super().__init__(name, help=help, epilog=epilog)

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The four verbs."""
        return list(self.verbs)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        """The command of a verb, with the options of the table."""
        from asbuilt.record.plan_keys import TABLE

        if name not in self.verbs:
            return None
        build, words = self.verbs[name]
        command = build(TABLE[self.table_name])
        command.epilog = f"\b\nExamples:\n  asbuilt {self.table_name} {name} house {words}".rstrip()
        return command

    def _add(self, table: Table) -> click.Command:
        @click.command("add", help=f"Add a {table.name} to RECORD.")
        @record_argument
        def add(record: str, **raw: str | None) -> None:
            from asbuilt.record.plan_rows import add_row

            with open_record(record) as opened:
                row = add_row(opened, table, _said(raw))
            click.echo(f"added {table.name} {row.id}")

        if self.named_by:
            add.params.append(click.Argument([self.named_by]))
        add.params += [_option(key, key.required) for key in table.keys if key.name != self.named_by]
        return add

    def _change(self, table: Table) -> click.Command:
        @click.command("change", help=f"Change what the options say of a {table.name}; the rest stays.")
        @record_argument
        @click.argument("row_id", metavar="ID")
        def change(record: str, row_id: str, **raw: str | None) -> None:
            from asbuilt.record.plan_rows import change_row

            with open_record(record) as opened:
                row = change_row(opened, table, _id(table, row_id), _said(raw))
            click.echo(f"changed {table.name} {row.id}")

        change.params += [_option(key, False) for key in table.keys if key.name != "id"]
        return change

    def _list(self, table: Table) -> click.Command:
        @click.command("list", help=f"List every {table.name} of RECORD.")
        @record_argument
        @json_option
        def list_(record: str, as_json: bool) -> None:
            from asbuilt.record.plan import spoken_rows
            from asbuilt.record.rows import to_row

            with open_record(record) as opened:
                if as_json:
                    print_json([to_row(row) for row in opened.all(table.cls)])
                else:
                    print_table(spoken_rows(opened, table), nothing=f"no {table.name} yet")

        return list_

    def _remove(self, table: Table) -> click.Command:
        @click.command("remove", help=f"Take a {table.name} out of RECORD; its history stays.")
        @record_argument
        @click.argument("row_id", metavar="ID")
        def remove(record: str, row_id: str) -> None:
            from asbuilt.record.plan_rows import remove_row

            with open_record(record) as opened:
                remove_row(opened, table, _id(table, row_id))
            click.echo(f"removed {table.name} {row_id}")

        return remove


def _option(key: Key, required: bool) -> click.Option:
    return click.Option(
        [f"--{key.name.replace('_', '-')}", key.name],
        metavar=key.kind.name.upper() if " " not in key.kind.name else "VALUE",
        help=key.help[0].upper() + key.help[1:] + ".",
        required=required,
    )


def _said(raw: dict[str, str | None]) -> dict[str, Any]:
    return {name: value for name, value in raw.items() if value is not None}


def _id(table: Table, text: str) -> Any:
    """An id as the table has it: a number for markers."""
    kinds = [key.kind for key in table.keys if key.name == "id"]
    return kinds[0].read(text, "in") if kinds else text

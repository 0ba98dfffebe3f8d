"""The command line: arguments only; the work is done by the packages below."""

from __future__ import annotations

import importlib
import inspect
import os
import sqlite3
import sys

import click

from asbuilt import __version__
from asbuilt.errors import AsbuiltError

# One module asbuilt.cli.NAME each, with a click command called ``command``; in the order of the job.
COMMANDS = (
    "new", "plan", "room", "face", "opening", "covering", "stud", "marker", "reference", "panel", "circuit",
    "item", "taped", "box", "device", "cable", "feed", "control", "hole", "test", "rule",
    "demo", "markers", "add", "pictures", "file", "sightings", "place",
    "elevation", "propose", "lattice", "coverage", "checks", "readiness", "behind", "drill", "fixing", "overlay",
    "find", "pole", "event", "serve", "circuits", "schedule", "feeds", "dead", "cables", "load", "drop", "trimout",
    "items", "history", "library", "handover", "card", "open", "verify", "backup", "key", "merge",
)  # fmt: skip


class Main(click.Group):
    """A group that loads a command's module only when it is asked for, and fails in one line."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names of the commands in the order of the job."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        """The command of that name, from its own module."""
        if name not in COMMANDS:
            return None
        return _examples_last(importlib.import_module(f"asbuilt.cli.{name.replace('-', '_')}").command)

    def main(self, *args, standalone_mode: bool = True, **extra):
        """Run; an expected failure is one line on stderr and exit code 1, Ctrl-C is no traceback."""
        if not standalone_mode:
            return super().main(*args, standalone_mode=False, **extra)
        try:
            result = super().main(*args, standalone_mode=False, **extra)
        except BrokenPipeError:  # the reader, say ``head``, has what it wanted
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            sys.exit(1)
        except (KeyboardInterrupt, click.Abort):
            _fail("stopped; what was finished is kept", code=130)
        except click.exceptions.NoArgsIsHelpError as error:
            click.echo(error.format_message())
            sys.exit(0)
        except click.UsageError as error:
            _fail(f"{error.format_message()}{_where_to_look(error)}")
        except click.ClickException as error:
            _fail(error.format_message())
        except AsbuiltError as error:
            _fail(str(error))
        except sqlite3.Error as error:
            _fail(f"the record could not be read or written ({error}); nothing of this step was kept")
        except OSError as error:
            _fail(f"{error.strerror or error}{f': {error.filename}' if error.filename else ''}")
        sys.exit(result if isinstance(result, int) else 0)


def _examples_last(command: click.Command) -> click.Command:
    """Move the examples of a help text behind its options, where they are looked for."""
    text, mark, examples = inspect.cleandoc(command.help or "").partition("\b\nExamples:")
    if mark:
        command.help, command.epilog = text.rstrip(), mark + examples
    for subcommand in getattr(command, "commands", {}).values():
        _examples_last(subcommand)
    return command


def _where_to_look(error: click.UsageError) -> str:
    return f" (see: {error.ctx.command_path} --help)" if error.ctx else ""


def _fail(text: str, code: int = 1) -> None:
    click.echo(f"asbuilt: {' '.join(text.split())}", err=True)
    sys.exit(code)


@click.group(
    cls=Main,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="""\b
Examples:
  asbuilt new house --name "Our house" --unit in
  asbuilt plan load house plan.toml
  asbuilt items house
""",
)
@click.version_option(__version__, prog_name="asbuilt")
def main() -> None:
    """A measured record of what is inside the walls.

    A record is a folder for one building. Make one before the walls are covered, add the
    photos and videos, and ask it later what was recorded behind a place on a wall. It is
    evidence for where to look; it does not replace testing, local rules or a licensed person.

    Changes are noted under the name in ASBUILT_AUTHOR, or else the name you are logged in with.
    """

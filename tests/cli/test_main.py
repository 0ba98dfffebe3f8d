"""The command line as a whole: one line on failure, quick help, examples at the end."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time

import click
import pytest
from click.testing import CliRunner

from asbuilt import __version__
from asbuilt.cli import COMMANDS, Main, main
from asbuilt.errors import RecordError


def _all_commands():
    found = []

    def walk(command: click.Command, words: tuple[str, ...]) -> None:
        if not isinstance(command, click.Group):
            found.append((words, command))
            return
        context = click.Context(command)
        for name in command.list_commands(context):
            walk(command.get_command(context, name), (*words, name))

    for name in COMMANDS:
        walk(main.get_command(click.Context(main), name), (name,))
    return found


@pytest.mark.parametrize("words", [words for words, _ in _all_commands()], ids=" ".join)
def test_every_commands_help_ends_in_examples(words):
    result = CliRunner().invoke(main, [*words, "--help"])
    assert result.exit_code == 0, result.output
    tail = result.output[result.output.index("Examples:") :]
    assert f"asbuilt {' '.join(words)}" in tail
    assert "Options:" not in tail


def test_version_is_the_packages():
    assert __version__ in CliRunner().invoke(main, ["--version"]).output


def test_help_does_not_load_the_heavy_libraries():
    code = (
        "import sys, asbuilt.cli\n"
        "asbuilt.cli.main(['--help'], standalone_mode=False)\n"
        "print(sorted({'numpy', 'cv2', 'av', 'flask', 'scipy', 'sqlite_utils'} & set(sys.modules)))\n"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.rstrip().endswith("[]")


def _failing(error: BaseException) -> Main:
    @click.group(cls=Main)
    def group() -> None:
        pass

    @click.command()
    def command() -> None:
        raise error

    group.list_commands = lambda ctx: ["go"]
    group.get_command = lambda ctx, name: command
    return group


@pytest.mark.parametrize(
    ("error", "code", "line"),
    [
        (RecordError("house is not a record\nat all"), 1, "asbuilt: house is not a record at all"),
        (PermissionError(13, "Permission denied", "plan.toml"), 1, "asbuilt: Permission denied: plan.toml"),
        (sqlite3.OperationalError("disk is full"), 1, "(disk is full)"),
        (KeyboardInterrupt(), 130, "asbuilt: stopped; what was finished is kept"),
    ],
)
def test_an_expected_failure_is_one_line_on_stderr(error, code, line):
    result = CliRunner().invoke(_failing(error), ["go"])
    assert result.exit_code == code
    assert result.stdout == ""
    assert line in result.stderr
    assert len(result.stderr.strip().splitlines()) == 1


def test_a_fault_of_the_program_is_not_hidden():
    result = CliRunner().invoke(_failing(ZeroDivisionError("a bug")), ["go"])
    assert isinstance(result.exception, ZeroDivisionError)


@pytest.mark.parametrize("words", [["no-such"], ["new"], ["new", "x", "--unit", "furlong"], ["--nope"]])
def test_a_mistyped_command_is_one_line_and_exit_code_1(words):
    result = CliRunner().invoke(main, words)
    assert result.exit_code == 1
    assert len(result.stderr.splitlines()) == 1
    assert "--help" in result.stderr


def test_no_command_shows_the_help():
    result = CliRunner().invoke(main, [])
    assert result.exit_code == 0
    assert "Commands:" in result.output


def test_ctrl_c_leaves_no_traceback(tmp_path):
    code = (
        "import time, click, asbuilt.cli as cli\n"
        "@click.command()\n"
        "def command():\n"
        "    print('ready', flush=True)\n"
        "    time.sleep(60)\n"
        "cli.Main.get_command = lambda self, ctx, name: command\n"
        "cli.main(['go'])\n"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=tmp_path
    )
    assert process.stdout.readline().strip() == "ready"
    time.sleep(0.1)
    os.kill(process.pid, signal.SIGINT)
    _, stderr = process.communicate(timeout=20)
    assert process.returncode == 130
    assert "Traceback" not in stderr and "stopped" in stderr


def test_a_reader_that_stops_early_is_no_error(tmp_path):
    code = (
        "import click, asbuilt.cli as cli\n"
        "@click.command()\n"
        "def command():\n"
        "    for _ in range(100000): click.echo('a long line of output')\n"
        "cli.Main.get_command = lambda self, ctx, name: command\n"
        "cli.main(['go'])\n"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=tmp_path
    )
    process.stdout.readline()
    process.stdout.close()
    assert process.stderr.read() == ""
    process.wait(timeout=20)

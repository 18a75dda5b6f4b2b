"""The command line: exit codes, one-line errors, and that help imports nothing heavy."""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import types

import pytest

from liveview import __version__, cli
from liveview.errors import InputUnreadable, OutputFailed

HEAVY = ["numpy", "scipy", "cv2", "av", "PyQt6", "pyqtgraph", "pint", "sounddevice", "pydantic"]


def command_that(action) -> types.SimpleNamespace:
    """A command module whose ``run`` does ``action``."""

    def add_parser(subparsers) -> None:
        subparsers.add_parser("check")

    return types.SimpleNamespace(add_parser=add_parser, run=action)


def run_with(monkeypatch: pytest.MonkeyPatch, action) -> int:
    monkeypatch.setattr(cli, "_command_module", lambda name: command_that(action))
    return cli.main(["check"])


def test_overview_lists_every_command_and_exits_0(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as end:
        cli.main(["--help"])
    assert end.value.code == 0
    text = capsys.readouterr().out
    assert all(name in text for name in cli.COMMANDS)


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        cli.main(["--version"])
    assert capsys.readouterr().out.strip() == f"liveview {__version__}"


@pytest.mark.parametrize("name", list(cli.COMMANDS))
def test_each_command_has_its_parser_under_its_name(name: str) -> None:
    parser = cli.build_parser(name)
    (action,) = [a for a in parser._actions if isinstance(a, argparse._SubParsersAction)]
    assert action.choices[name].format_help().startswith(f"usage: liveview {name}")
    assert sorted(action.choices) == sorted(cli.COMMANDS)


@pytest.mark.parametrize(
    "arguments", [["--help"], *([name, "--help"] for name in cli.COMMANDS)], ids=" ".join
)
def test_help_imports_nothing_heavy(arguments: list[str]) -> None:
    code = (
        "import sys\nfrom liveview.cli import main\n"
        f"try: main({arguments!r})\nexcept SystemExit: pass\n"
        f"print(sorted(set({HEAVY!r}) & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"


@pytest.mark.parametrize(
    "arguments", [["polish"], ["--colour"], ["process"], ["check", "--nonsense"]], ids=" ".join
)
def test_wrong_arguments_are_one_line_and_exit_2(
    arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(arguments) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("liveview: ")
    assert "--help'" in err
    assert err.count("\n") == 1


@pytest.mark.parametrize("error", [InputUnreadable, OutputFailed])
def test_errors_become_one_line_and_their_exit_code(
    error, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fail(args: argparse.Namespace) -> int:
        raise error("no such thing", "here", "look\nelsewhere")

    assert run_with(monkeypatch, fail) == error.exit_code
    assert capsys.readouterr().err == "liveview: here: no such thing; look elsewhere\n"


def test_ctrl_c_is_130(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    def interrupted(args: argparse.Namespace) -> int:
        raise KeyboardInterrupt

    assert run_with(monkeypatch, interrupted) == 130
    assert "Traceback" not in capsys.readouterr().err


def test_the_commands_own_code_is_passed_on(monkeypatch: pytest.MonkeyPatch) -> None:
    assert run_with(monkeypatch, lambda args: 7) == 7


@pytest.mark.skipif(os.name != "posix", reason="pipes close differently elsewhere")
def test_reader_that_goes_away_is_no_traceback() -> None:
    code = (
        "import argparse, sys, types\nfrom liveview import cli\n"
        "def run(args):\n    for _ in range(100000): print('line')\n    return 0\n"
        "cli._command_module = lambda name: types.SimpleNamespace(\n"
        "    add_parser=lambda s: s.add_parser('check'), run=run)\n"
        "sys.exit(cli.main(['check']))"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        process.stdout.readline()
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait(timeout=30) == 141


def test_a_value_that_looks_like_a_command_is_a_value() -> None:
    assert cli._chosen_command(["--source", "list", "process"]) == "process"
    assert cli._chosen_command(["--source", "list"]) is None

"""The command line: reads the arguments, starts the window or one of the commands.

Only the module of the command that was asked for is imported, so that ``liveview --help`` answers
at once. A command module offers ``add_parser(subparsers)`` and ``run(args) -> int``.

Exit codes: 0 done, 1 something went wrong inside, 2 bad arguments or settings, 3 input cannot be
read, 4 output cannot be written, 130 ended by Ctrl-C, 141 the reader of our output went away.
"""

from __future__ import annotations

import argparse
import gc
import importlib
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NoReturn, cast

from liveview import __version__
from liveview.errors import BadRequest, LiveviewError

COMMANDS: dict[str, tuple[str, str]] = {
    "list": ("liveview.commands.listing", "cameras and microphones that answer"),
    "plan": (
        "liveview.commands.plan",
        "distances, sizes, sensitivity, range and exposure for a rig, before building it",
    ),
    "process": (
        "liveview.commands.process",
        "a recording through the same chain as the window, without the window",
    ),
    "export": (
        "liveview.commands.export",
        "an event as slow clip, still, contact sheet or contrast stack",
    ),
    "simulate": (
        "liveview.commands.simulate",
        "a simulated recording with its truth beside it",
    ),
    "check": (
        "liveview.commands.check",
        "what works on this machine, each line with a remedy",
    ),
}
"""Command name: module and the line shown in the overview."""

WINDOW_OPTIONS = ("--source", "--setup", "--show", "--key-card")
"""Options of the window; what follows one of them is no command."""

INTERRUPTED = 130
READER_GONE = 141


class Parser(argparse.ArgumentParser):
    """Reports wrong arguments as one line, like every other error of the program."""

    def error(self, message: str) -> NoReturn:
        """Raise BadRequest instead of printing the usage."""
        raise BadRequest(message, self.prog, f"see '{self.prog} --help'")


def build_parser(chosen: str | None = None) -> Parser:
    """The parser; only the module of the ``chosen`` command is imported.

    Parameters
    ----------
    chosen : str, optional
        Name of a command. The others are listed with their one line of help only.
    """
    parser = Parser(
        prog="liveview",
        description="Realtime camera-feed schlieren viewer with live enhancement. "
        "Without a command it opens the window.",
        epilog="'liveview COMMAND --help' tells more about a command.",
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"liveview {__version__}")
    parser.add_argument(
        "--source",
        metavar="ADDRESS",
        help="what the window opens: camera:N, camera:NAME, simulated, simulated:SCENE, a "
        "recording, a folder of images, or an http(s):// or rtsp:// address",
    )
    parser.add_argument(
        "--setup", metavar="FILE.toml", type=Path, help="settings of the rig for the window"
    )
    parser.add_argument(
        "--show",
        metavar="NAME|FILE.toml",
        help="a prepared demonstration: opens its source and goes on the audience's screen at once",
    )
    parser.add_argument(
        "--key-card",
        metavar="FILE.pdf",
        type=Path,
        help="write all keys of the window, or of the show, on one page and open nothing",
    )
    subparsers = parser.add_subparsers(dest="command", metavar="COMMAND", parser_class=Parser)
    for name, (module, line) in COMMANDS.items():
        if name == chosen:
            _command_module(module).add_parser(subparsers)
        else:
            subparsers.add_parser(name, help=line, add_help=False)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run the program and return its exit code; errors become one line on standard error."""
    arguments = list(sys.argv[1:] if argv is None else argv)
    try:
        code = _run(arguments)
        sys.stdout.flush()
        return code
    except LiveviewError as error:
        print(f"liveview: {error}", file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        print("liveview: ended by the keyboard", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        # Python flushes standard output once more at exit; that must not complain again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return READER_GONE


def _run(arguments: list[str]) -> int:
    chosen = _chosen_command(arguments)
    args = build_parser(chosen).parse_args(arguments)
    if args.command is None and args.key_card is not None:
        return _print_keys(args)
    if args.command is None:
        # All that is loaded now stays: to look for garbage in it takes a tenth of the start.
        gc.disable()
        try:
            from liveview.app import run_window

            return run_window(source=args.source, setup=args.setup, show=args.show)
        finally:
            gc.enable()
    module = _command_module(COMMANDS[args.command][0])
    return cast(int, module.run(args))


def _print_keys(args: argparse.Namespace) -> int:
    from liveview.gui.print_keys import print_keys
    from liveview.settings import Settings, load_settings
    from liveview.shows import load_show

    settings = Settings() if args.setup is None else load_settings(args.setup)
    print_keys(args.key_card, settings if args.show is None else load_show(args.show))
    return 0


def _chosen_command(arguments: Sequence[str]) -> str | None:
    """The first argument that is a command's name and not the value of a window option."""
    before = ""
    for argument in arguments:
        if argument in COMMANDS and before not in WINDOW_OPTIONS:
            return argument
        before = argument
    return None


def _command_module(name: str) -> Any:
    return importlib.import_module(name)

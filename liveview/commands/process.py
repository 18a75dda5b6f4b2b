"""``liveview process``: a recording through the same chain as the window, without the window."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

_DESCRIPTION = """
Read a recording, take the calibration from it, and write into DIR:

  report.json    what the recording is, where the disc, blade and noise stand, the sensitivity
                 histogram, every spark caught, and warnings
  frames.csv     one line of readings for each frame
  contrast.npy   with --contrast: signed contrast, float32 (frames, height, width)
  picture.mkv    with --picture: the enhanced picture, FFV1
  events/        a folder for each spark with the seconds before and after it

RECORDING is a video file, a folder or pattern of images, a multi-page TIFF, an event folder, or an
http(s):// or rtsp:// address (read to its end, for --seconds, or until Ctrl-C).
"""

_EPILOG = """
stretches are seconds from the first frame, A:B, :B or A: (time_s of frames and events is the
recording's own clock, which need not begin at 0); instead of a stretch, --dark, --open and
--reference take a picture (or a recording) of the same size. Lengths and times take a unit
("114 mm", "25 us"); a bare number is in SI units. What cannot be known is null or empty.

Report, table, contrast and picture of an earlier run in DIR are replaced; its events are set aside
under another name, or removed with --overwrite.

exit codes: 0 done, 2 bad arguments or settings, 3 input cannot be read, 4 output cannot be written,
130 ended by Ctrl-C (what was read until then is written)
"""


def add_parser(subparsers: Any) -> None:
    """Add ``process`` and its options."""
    parser = subparsers.add_parser(
        "process",
        help="a recording through the same chain as the window, without the window",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("recording", metavar="RECORDING")
    parser.add_argument("--out", metavar="DIR", type=Path, required=True, help="made if missing")
    parser.add_argument(
        "--setup", metavar="FILE.toml", help="settings of the rig, or a shipped set-up's name"
    )
    _add_calibration(parser.add_argument_group("calibration"))
    _add_recording(parser.add_argument_group("the recording"))
    _add_rig(parser.add_argument_group("the rig"))
    _add_catching(parser.add_argument_group("catching sparks"))
    _add_output(parser.add_argument_group("output"))


def _add_calibration(group: Any) -> None:
    for kind, what in (
        ("dark", "lamp off or lens capped"),
        ("open", "blade out"),
        ("reference", "blade set, air quiet (else the first second serves, with a warning)"),
    ):
        group.add_argument(f"--{kind}", metavar="A:B", help=what)
    group.add_argument(
        "--transfer",
        metavar="CURVE",
        help="srgb, bt709, linear or gamma:G: how codes follow light",
    )


def _add_recording(group: Any) -> None:
    group.add_argument("--rate", metavar="HZ", help="frame rate of images without times")
    group.add_argument(
        "--white", metavar="CODE", help="top code where it is not the file's: 4095 for 12 bit in 16"
    )
    group.add_argument("--row-time", metavar="S", help="rolling shutter: from one row to the next")
    group.add_argument("--exposure", metavar="S", help="of one frame")
    group.add_argument("--seconds", metavar="S", help="stop after this much of the recording")


def _add_rig(group: Any) -> None:
    group.add_argument(
        "--blade-side", metavar="SIDE", help="left, right, top or bottom: where the blade comes in"
    )
    group.add_argument(
        "--lamp", metavar="SHAPE:W", help="slit:W or round:W, width of its image at the blade"
    )
    group.add_argument("--mirror-diameter", metavar="M")
    group.add_argument("--blade-distance", metavar="M", help="mirror to blade")


def _add_catching(group: Any) -> None:
    group.add_argument("--catch", metavar="HOW", help="flash, sound, either, both or off")
    group.add_argument("--sound", metavar="FILE", help="else the recording's own sound track")
    group.add_argument("--mic-distance", metavar="M", help="spark to microphone")


def _add_output(group: Any) -> None:
    group.add_argument("--contrast", action="store_true", help="write contrast.npy")
    group.add_argument("--picture", action="store_true", help="write picture.mkv")
    group.add_argument(
        "--every",
        metavar="N",
        help="contrast and picture of each N-th frame only (default 1)",
    )
    group.add_argument(
        "--overwrite",
        action="store_true",
        help="remove what an earlier run wrote into DIR, its events included",
    )
    group.add_argument("--json", action="store_true", help="the report on standard output, too")


def run(args: argparse.Namespace) -> int:
    """Process the recording; see ``add_parser``."""
    from liveview.commands.processing.job import run_job
    from liveview.commands.processing.request import read_request

    return run_job(read_request(args))

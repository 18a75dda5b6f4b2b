"""``liveview check``: what works on this machine, each line with a remedy."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from liveview.errors import BadRequest

if TYPE_CHECKING:
    from liveview.commands.checking import Finding

_DESCRIPTION = """
Try what the program needs, one thing after another: libraries, display, sound, cameras, disk
speed, and the time the chain takes for a frame. It holds no names of people, devices or
folders, so that it can be pasted into a question.
"""


def add_parser(subparsers: Any) -> None:
    """Add ``check`` and its options."""
    parser = subparsers.add_parser(
        "check",
        help="what works on this machine, each line with a remedy",
        description=_DESCRIPTION,
        epilog="exit codes: 0 the program can run, 1 something it cannot do without is missing",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--rate", metavar="HZ", default="60", help="frame rate wanted (60)")
    parser.add_argument(
        "--size", metavar="WxH", default="1280x720", help="picture size wanted (1280x720)"
    )
    parser.add_argument(
        "--folder", metavar="DIR", type=Path, help="where events go, for the disk's speed"
    )
    parser.add_argument("--json", action="store_true", help="as JSON")


def run(args: argparse.Namespace) -> int:
    """Print the findings; see ``add_parser``."""
    from liveview.commands.checking import Wanted, all_findings
    from liveview.units import parse_quantity

    rate_hz = parse_quantity(args.rate, "Hz", "--rate")
    if not 0 < rate_hz <= 100_000:
        raise BadRequest(f"'{args.rate}' is no frame rate", "--rate", "write it like 60")
    width, height = _size(args.size)
    findings = []
    for finding in all_findings(Wanted(rate_hz, width, height, args.folder)):
        findings.append(finding)
        if not args.json:
            _show(finding)
    if args.json:
        json.dump([finding.as_mapping() for finding in findings], sys.stdout, indent=2)
        print()
    return 1 if any(f.state == "missing" for f in findings) else 0


def _size(text: str) -> tuple[int, int]:
    width, cross, height = text.lower().partition("x")
    if not (cross and width.isdigit() and height.isdigit()):
        raise BadRequest(f"cannot read '{text}'", "--size", "write it like 1280x720")
    if not (16 <= int(width) <= 20_000 and 16 <= int(height) <= 20_000):
        raise BadRequest(f"'{text}' is out of range", "--size", "16 to 20000 pixels a side")
    return int(width), int(height)


def _show(finding: Finding) -> None:
    print(f"{finding.state:<8}{finding.topic:<12}{finding.words}", flush=True)
    if finding.remedy:
        print(f"{'':<20}-> {finding.remedy}", flush=True)

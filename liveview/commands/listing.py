"""``liveview list``: cameras and microphones that answer."""

from __future__ import annotations

import argparse
import dataclasses
import json
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from liveview.sources.listing import Answer


def add_parser(subparsers: Any) -> None:
    """Add ``list`` and its options."""
    parser = subparsers.add_parser(
        "list",
        help="cameras and microphones that answer",
        description="Name the cameras and microphones of this machine, and how to ask for them.",
        allow_abbrev=False,
    )
    parser.add_argument("--json", action="store_true", help="as JSON")


def run(args: argparse.Namespace) -> int:
    """Print the devices; see ``add_parser``."""
    from liveview.sources.listing import list_cameras, list_genicam, list_microphones

    found = {"cameras": (*list_cameras(), *list_genicam()), "microphones": list_microphones()}
    if args.json:
        plain = {kind: [dataclasses.asdict(one) for one in all_] for kind, all_ in found.items()}
        json.dump(plain, sys.stdout, indent=2)
        print()
        return 0
    show("Cameras", found["cameras"], "plug one in; 'liveview' opens on the simulated rig else")
    show("Microphones", found["microphones"], "plug one in, or catch sparks by their flash")
    return 0


def show(title: str, answers: Sequence[Answer], remedy: str) -> None:
    """Print the devices of one kind."""
    print(title)
    for answer in answers:
        mark = "answers" if answer.answers else "silent"
        called = f"  {answer.name}" if answer.name not in answer.address else ""
        print(f"  {mark:<8} {answer.address}{called}: {answer.words}")
    if not answers:
        print(f"  none; {remedy}")

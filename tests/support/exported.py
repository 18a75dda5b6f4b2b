"""Exported clips as another reader sees them."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path
from typing import Any

import av


def probe(path: Path) -> tuple[list[av.VideoFrame], dict[str, Any], Fraction]:
    """Frames, what the file tells of itself, and its rate."""
    with av.open(str(path)) as file:
        frames = list(file.decode(video=0))
        about = json.loads(file.metadata.get("comment") or file.metadata.get("COMMENT"))
        return frames, about, file.streams.video[0].average_rate

"""Events with a frame that cannot be read."""

from __future__ import annotations

from pathlib import Path

from liveview.recorder.tables import read_times


def damage_frame(event: Path, index: int) -> None:
    """Turn the bits of a byte in the middle of a stored frame of a finished event."""
    place = read_times(event / "times.csv")[1][index]
    video = event / "frames.mkv"
    raw = bytearray(video.read_bytes())
    raw[place.offset + place.size // 2] ^= 0xFF
    video.write_bytes(raw)

"""FFV1 checksums against frames coded by the library itself."""

from __future__ import annotations

from pathlib import Path

import av
import pytest
from support.media import FFV1, noise, write_video

from liveview.sources.ffv1 import Checksums, slices_hold


def packets(path: Path) -> list[tuple[bytes, bool]]:
    with av.open(str(path)) as file:
        return [(bytes(p), p.is_keyframe) for p in file.demux(video=0) if p.size]


@pytest.mark.parametrize(("form", "top"), [("gray", 255), ("gray16le", 65535)])
@pytest.mark.parametrize("slices", ["4", "16"])
def test_whole_frames_hold_and_any_flipped_bit_shows(
    form: str, top: int, slices: str, tmp_path: Path
) -> None:
    options = {**FFV1, "slices": slices}
    path = write_video(tmp_path / "a.mkv", noise((61, 83), 2, top), form=form, options=options)
    for data, _ in packets(path):
        assert slices_hold(data) is True
        for place in range(0, len(data), 97):
            spoiled = bytearray(data)
            spoiled[place] ^= 1 << (place % 8)
            assert slices_hold(bytes(spoiled)) is not True
        assert slices_hold(data[:-1]) is not True


def test_streams_without_checksums_are_left_alone(tmp_path: Path) -> None:
    options = {**FFV1, "slicecrc": "0"}
    path = write_video(tmp_path / "a.mkv", noise((61, 83), 3), options=options)
    checks = Checksums()
    assert not any(checks.damaged(data, key=key) for data, key in packets(path))


def test_a_frame_that_leans_on_a_damaged_one_is_damaged(tmp_path: Path) -> None:
    options = {**FFV1, "g": "4", "coder": "1", "context": "1"}
    path = write_video(tmp_path / "a.mkv", noise((61, 83), 9), options=options)
    coded = packets(path)
    assert [key for _, key in coded] == [True, False, False, False] * 2 + [True]
    checks = Checksums()
    damaged = []
    for index, (data, key) in enumerate(coded):
        damaged.append(
            checks.damaged(data[:-9] + b"x" + data[-8:] if index == 5 else data, key=key)
        )
    assert damaged == [False] * 5 + [True] * 3 + [False]


def test_nothing_is_no_frame() -> None:
    assert slices_hold(b"") is True
    assert slices_hold(b"abc") is None

"""Recordings of phones and browsers: their coder repeats blocks and lets them jump."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from support.media import read_all, write_video

from liveview.engine.clock import SessionClock
from liveview.model import Disc, Frame, FrameStamp, SourceInfo, SourceKind, Spotted
from liveview.settings import Settings
from liveview.sources import frame_source
from liveview.trigger.flash import FlashDetector

WIDTH, HEIGHT, RATE_HZ = 640, 360, 60
DISC = Disc(319.5, 179.5, 162.0)
FLASHES = {300: (100, 228), 421: (30, 140)}
"""Frame: rows that a spark lights, outside the mirror as well."""
CODERS = {
    "h264": ("libx264", {"preset": "medium", "crf": "28", "g": "60"}),
    "vp8": ("libvpx", {"b": "1M", "deadline": "realtime", "cpu-used": "-16"}),
    "mpeg4": ("mpeg4", {"q:v": "6"}),
    "jpeg": ("mjpeg", {"q:v": "5"}),
}


@lru_cache(maxsize=1)
def pictures() -> list[np.ndarray]:
    """A mirror crossed by a sharp moving pattern, with a sensor's noise, in a dark room."""
    rng = np.random.default_rng(3)
    y, x = np.mgrid[:HEIGHT, :WIDTH].astype(np.float32)
    inside = np.hypot(x - DISC.cx, y - DISC.cy) < DISC.radius
    noise = [rng.normal(0, 1.0, (HEIGHT, WIDTH)) for _ in range(31)]
    stripe = np.exp(-(((y - HEIGHT / 2) / 40) ** 2))
    found = []
    for index in range(600):
        light = np.where(inside, 120 + 20 * stripe * np.sin((x + 7 * index) / 60), 4)
        found.append(np.clip(light + noise[rng.integers(31)], 0, 255).astype(np.uint8))
    return found


def lit(all_pictures: list[np.ndarray], codes: int) -> list[np.ndarray]:
    """The same with flashes of so many codes."""
    changed = list(all_pictures)
    for index, (first, last) in FLASHES.items():
        bright = changed[index].copy()
        bright[first:last] += np.uint8(codes)
        changed[index] = bright
    return changed


def watch(path) -> tuple[SourceInfo, list[Spotted], FlashDetector]:
    info, stamps, frames = read_all(
        frame_source(str(path), Settings(), clock=SessionClock(), live=False)
    )
    detector = FlashDetector(info, 6.0)
    detector.set_disc(DISC)
    found: list[Spotted] = []
    for stamp, codes in zip(stamps, frames, strict=True):
        found += detector.look(Frame(codes, stamp, info.white))
    return info, found + list(detector.flush()), detector


def coded(tmp_path, coder: str, shown: list[np.ndarray]):
    codec, options = CODERS[coder]
    form = "yuvj420p" if codec == "mjpeg" else "yuv420p"
    path = tmp_path / f"{coder}.mkv"
    return write_video(path, shown, form=form, codec=codec, rate_hz=RATE_HZ, options=options)


@pytest.mark.slow
@pytest.mark.parametrize(
    "coder", ["vp8", *(pytest.param(n, marks=pytest.mark.slow) for n in ("h264", "mpeg4", "jpeg"))]
)
def test_blocks_that_jump_are_no_sparks(tmp_path, coder):
    """A detector that takes them for a sensor's finds up to seven sparks in each but JPEG."""
    info, found, _ = watch(coded(tmp_path, coder, pictures()))
    assert found == []
    assert info.predicted is (coder != "jpeg")


@pytest.mark.slow
@pytest.mark.parametrize("coder", ["h264", "vp8", "jpeg"])
def test_sparks_are_still_found(tmp_path, coder):
    """MPEG-4 is left out: it drags what was lit on for frames, which is then no flash."""
    _, found, _ = watch(coded(tmp_path, coder, lit(pictures(), 8)))
    assert [spot.frame for spot in found] == list(FLASHES)


@pytest.mark.slow
def test_a_coder_betrays_itself_where_the_source_does_not_know(tmp_path):
    """Video that went through a coder and was stored without loss afterwards."""
    first = coded(tmp_path, "h264", pictures())
    _, _, frames = read_all(frame_source(str(first), Settings(), clock=SessionClock(), live=False))
    info, found, detector = watch(write_video(tmp_path / "again.mkv", frames, rate_hz=RATE_HZ))
    assert not info.predicted
    assert detector.coded
    assert found == []


@pytest.mark.slow
def test_a_sensors_noise_is_no_coder():
    """However little: a fifth of a code, which rounds to the same code 99 times of a hundred."""
    rng = np.random.default_rng(5)
    info = SourceInfo(SourceKind.CAMERA, "noise", WIDTH, HEIGHT, 1, 8, 255, True, RATE_HZ)
    detector = FlashDetector(info, 6.0)
    detector.set_disc(DISC)
    for index in range(150):
        codes = np.rint(120 + rng.normal(0, 0.2, info.shape)).astype(np.uint8)
        detector.look(Frame(codes, FrameStamp(index, index / RATE_HZ), info.white))
    assert detector.ready
    assert not detector.coded

"""Reading frames: milliseconds a frame beside OpenCV's own reader in the same run.

    python tests/benchmarks/bench_sources.py [--height 720] [--seconds 10]

Files: FFV1 (8, 12 bit), H.264, PNG and TIFF sequences through the sources, against cv2.VideoCapture
or cv2.imread on the same data. Network: motion JPEG over a real socket at 60 and 120 a second,
with the frames that did not arrive and the time from the server's send to the stamp.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))

from support.media import FFV1, write_video
from support.mjpeg_server import MjpegServer

from liveview.imaging.cv import cv2
from liveview.settings import Settings
from liveview.sources import frame_source

FRAMES = 60


def pictures(height: int, colour: bool, top: int = 255) -> list[np.ndarray]:
    """Smooth light with sensor noise, as a rig shows it."""
    width = height * 16 // 9
    rng = np.random.default_rng(1)
    shade = np.linspace(0.2, 0.8, width)[None, :] * np.ones((height, 1))
    kind = np.uint8 if top <= 255 else np.uint16
    made = [(shade * top + rng.normal(0, top / 128, shade.shape)).clip(0, top) for _ in range(8)]
    grays = [made[i % 8].astype(kind) for i in range(FRAMES)]
    return [np.repeat(g[..., None], 3, axis=2) for g in grays] if colour else grays


def read_source(address: str) -> float:
    """Seconds for all frames of a recording."""
    source = frame_source(address, Settings(), clock=time.monotonic, live=False)
    info = source.open()
    out = np.empty(info.shape, info.dtype)
    began = time.perf_counter()
    while source.grab() is not None:
        source.read_into(out)
    took = time.perf_counter() - began
    source.close()
    return took


def read_opencv(address: str) -> float:
    """The same by the obvious loop."""
    capture = cv2.VideoCapture(address, cv2.CAP_FFMPEG)
    began = time.perf_counter()
    while capture.read()[0]:
        pass
    took = time.perf_counter() - began
    capture.release()
    return took


def read_stills(folder: Path) -> float:
    """Pictures one by one by the obvious loop."""
    began = time.perf_counter()
    for path in sorted(folder.iterdir()):
        cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    return time.perf_counter() - began


def line(name: str, ours: float, theirs: float) -> None:
    print(
        f"{name:28s} {ours / FRAMES * 1e3:7.2f} ms a frame   reference "
        f"{theirs / FRAMES * 1e3:7.2f}   ratio {ours / theirs:5.2f}"
    )


def files(height: int) -> None:
    """Recordings on the disk."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        clips: list[tuple[str, str, Callable[[], list[np.ndarray]], dict[str, object]]] = [
            ("FFV1 gray 8 bit", "a.mkv", lambda: pictures(height, False), {"options": FFV1}),
            (
                "FFV1 gray 12 bit",
                "b.mkv",
                lambda: pictures(height, False, 4095),
                {"form": "gray12le", "options": FFV1},
            ),
            (
                "H.264 colour",
                "c.mp4",
                lambda: pictures(height, True),
                {"form": "yuv420p", "codec": "libx264", "options": {"preset": "veryfast"}},
            ),
        ]
        for words, file, make, options in clips:
            path = write_video(folder / file, make(), **options)  # type: ignore[arg-type]
            line(words, read_source(str(path)), read_opencv(str(path)))
        for ending, colour, top in (
            ("png", False, 65535),
            ("tif", False, 65535),
            ("jpg", True, 255),
        ):
            stills = folder / ending
            stills.mkdir()
            for index, picture in enumerate(pictures(height, colour, top)):
                cv2.imwrite(str(stills / f"{index:04d}.{ending}"), picture)
            line(f"{ending} folder", read_source(str(stills)), read_stills(stills))


def network(height: int, rate_hz: float, seconds: float) -> None:
    """Motion JPEG over a socket."""
    with MjpegServer(pictures(height, True)[:8], rate_hz=rate_hz) as server:
        source = frame_source(server.url, Settings(), clock=time.monotonic, live=True)
        info = source.open()
        out = np.empty(info.shape, info.dtype)
        began, cpu = time.monotonic(), time.thread_time()
        count, busy = 0, 0.0
        while time.monotonic() - began < seconds:
            stamp = source.grab()
            assert stamp is not None
            source.read_into(out)
            busy = max(busy, time.monotonic() - stamp.time_s)
            count += 1
        took, cpu = time.monotonic() - began, time.thread_time() - cpu
        source.close()
        print(
            f"MJPEG {height} rows {rate_hz:g} Hz      {count / took:6.1f} frames/s, behind "
            f"{server.sent - count:d}, CPU {cpu / count * 1e3:.2f} ms a frame, worst decode "
            f"{busy * 1e3:.1f} ms"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--height", type=int, default=720)
    parser.add_argument("--seconds", type=float, default=10.0)
    chosen = parser.parse_args()
    files(chosen.height)
    for rate_hz in (60.0, 120.0):
        network(chosen.height, rate_hz, chosen.seconds)


if __name__ == "__main__":
    main()

"""Speed of ``liveview process`` on an H.264 recording of 1280 x 720, beside decoding alone.

    python tests/benchmarks/bench_process.py [FRAMES]

Prints frames a second of: decoding only (one thread, pictures thrown away), the chain only (frames
in memory), and the whole command with and without catching; and each as a ratio to decoding.
"""

from __future__ import annotations

import contextlib
import io
import json
import sys
import tempfile
import time
from pathlib import Path

import av
import numpy as np

from liveview.cli import main
from liveview.engine.chain import Chain
from liveview.engine.clock import SessionClock
from liveview.model import Frame, FrameStamp
from liveview.settings import Settings
from liveview.sources import frame_source

WIDTH, HEIGHT, RATE_HZ = 1280, 720, 60


def write_recording(path: Path, frames: int) -> None:
    """A disc with noise and a moving wisp, coded as a camera would."""
    rng = np.random.default_rng(0)
    y, x = np.mgrid[:HEIGHT, :WIDTH].astype(np.float32)
    inside = (x - WIDTH / 2) ** 2 + (y - HEIGHT / 2) ** 2 < (0.45 * HEIGHT) ** 2
    noise = [rng.normal(0, 2, (HEIGHT, WIDTH)).astype(np.float32) for _ in range(8)]
    with av.open(str(path), "w") as file:
        stream = file.add_stream("libx264", rate=RATE_HZ, options={"preset": "veryfast"})
        stream.width, stream.height, stream.pix_fmt = WIDTH, HEIGHT, "yuv420p"
        for index in range(frames):
            wisp = 20 * np.sin((x + 7 * index) / 60) * np.exp(-(((y - HEIGHT / 2) / 80) ** 2))
            picture = np.where(inside, 120 + wisp, 4) + noise[index % 8]
            codes = np.clip(picture, 0, 255).astype(np.uint8)
            frame = av.VideoFrame.from_ndarray(np.repeat(codes[..., None], 3, axis=2), "bgr24")
            file.mux(stream.encode(frame))
        file.mux(stream.encode(None))


def decoding(path: Path) -> float:
    """Frames a second of the source alone."""
    source = frame_source(str(path), Settings(), clock=SessionClock(), live=False)
    info = source.open()
    out = np.empty(info.shape, info.dtype)
    began, frames = time.perf_counter(), 0
    while source.grab() is not None:
        source.read_into(out)
        frames += 1
    seconds = time.perf_counter() - began
    source.close()
    return frames / seconds


def chain(path: Path, frames: int) -> float:
    """Frames a second of the chain alone."""
    source = frame_source(str(path), Settings(), clock=SessionClock(), live=False)
    info = source.open()
    pictures = []
    for _ in range(16):
        source.grab()
        pictures.append(np.empty(info.shape, info.dtype))
        source.read_into(pictures[-1])
    source.close()
    one = Chain(Settings(), info)
    began = time.perf_counter()
    for index in range(frames):
        one.run(Frame(pictures[index % 16], FrameStamp(index, index / RATE_HZ), info.white))
    return frames / (time.perf_counter() - began)


def command(path: Path, out: Path, *options: str) -> float:
    """Frames a second as the command reports them."""
    with contextlib.redirect_stdout(io.StringIO()):
        assert main(["process", str(path), "--out", str(out), "--overwrite", *options]) == 0
    report = json.loads((out / "report.json").read_text(encoding="utf-8"))
    return float(report["speed"]["frames_per_second"])


def run(frames: int) -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "clip.mp4"
        write_recording(path, frames)
        reference = decoding(path)
        results = {
            "decoding alone": reference,
            "chain alone": chain(path, frames),
            "process --catch off": command(path, Path(folder) / "a", "--catch", "off"),
            "process --catch flash": command(path, Path(folder) / "b", "--catch", "flash"),
            "process --contrast": command(path, Path(folder) / "c", "--catch", "off", "--contrast"),
        }
    for name, rate in results.items():
        print(f"{name:<24}{rate:8.0f} frames/s   {rate / reference:5.2f} of decoding")


if __name__ == "__main__":
    run(int(sys.argv[1]) if len(sys.argv) > 1 else 600)

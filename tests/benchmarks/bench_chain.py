"""The whole chain beside a plain copy and the obvious NumPy and OpenCV chains, in one run.

Run by hand: ``python tests/benchmarks/bench_chain.py [--seconds 2] [--view lifted]``.
Figures are milliseconds of the thread's CPU time a frame, one OpenCV thread: the fastest tenth,
because other programs on the machine slow everything. Read the ratios.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from liveview.engine.chain import Chain
from liveview.imaging.cv import cv2
from liveview.imaging.disc import disc_mask
from liveview.model import (
    Average,
    Calibration,
    Disc,
    Frame,
    FrameStamp,
    SourceInfo,
    SourceKind,
)
from liveview.settings import Settings, validated

SIZES = {"720p": (720, 1280), "1080p": (1080, 1920)}
SCALE = 0.1


class Scene:
    """Frames of a disc with noise and a plume, and their calibration."""

    def __init__(self, rows: int, columns: int, bits: int) -> None:
        rng = np.random.default_rng(7)
        self.white = 2**bits - 1
        dtype = np.uint8 if bits == 8 else np.uint16
        self.disc = Disc((columns - 1) / 2, (rows - 1) / 2, 0.46 * rows)
        self.mask = disc_mask((rows, columns), self.disc)
        _y, x = np.mgrid[:rows, :columns].astype(np.float32)
        lit = np.where(self.mask > 0, 0.35 - 1e-7 * (x - columns / 2) ** 2, 0.01)
        across = (x - columns / 2) / (0.1 * rows)
        plume = 0.1 * across * np.exp(-(across**2))
        self.dark = np.full((rows, columns), 0.01, np.float32)
        self.reference = (lit + self.dark).astype(np.float32)
        self.open = (2 * lit + self.dark).astype(np.float32)
        clean = (lit * (1 + plume) + self.dark) * self.white
        noise = np.sqrt(clean / self.white) * 0.02 * self.white
        self.frames = [
            np.clip(
                np.rint(clean + noise * rng.standard_normal(clean.shape)), 0, self.white
            ).astype(dtype)
            for _ in range(6)
        ]
        self.info = SourceInfo(
            SourceKind.SIMULATED,
            "bench",
            columns,
            rows,
            1,
            bits,
            self.white,
            False,
            rate_hz=60.0,
            transfer="linear",
        )

    def calibration(self) -> Calibration:
        state = self.info.camera_state
        return Calibration(
            *(Average(p, 32, 0.0, "", state) for p in (self.dark, self.open, self.reference))
        )


def numpy_chain(scene: Scene) -> Callable[[int], Any]:
    """What one writes first: floats, masks and fancy indexing."""
    palette = np.random.default_rng(0).integers(0, 255, (256, 4), dtype=np.uint8)
    inside = scene.mask > 0

    def run(index: int) -> Any:
        light = scene.frames[index].astype(np.float32) / scene.white
        ratio = (light - scene.dark) / (scene.reference - scene.dark)
        gain = np.median(ratio[inside])
        contrast = ratio / gain - 1
        counts = np.histogram(contrast[inside], bins=512, range=(-0.5, 0.5))
        uncut = ((light - scene.dark) / (scene.open - scene.dark))[inside].mean()
        codes = np.clip((contrast / SCALE + 1) * 127.5, 0, 255).astype(np.uint8)
        codes[~inside] = 0
        return palette[codes], counts, uncut

    return run


def opencv_chain(scene: Scene) -> Callable[[int], Any]:
    """The same with OpenCV calls in the obvious order, whole frame."""
    palette = np.random.default_rng(0).integers(0, 255, (256, 1, 3), dtype=np.uint8)

    def run(index: int) -> Any:
        light = cv2.multiply(
            scene.frames[index], np.ones_like(scene.dark), scale=1 / scene.white, dtype=cv2.CV_32F
        )
        above = cv2.subtract(light, scene.dark)
        ratio = cv2.divide(above, cv2.subtract(scene.reference, scene.dark))
        gain = cv2.mean(ratio, scene.mask)[0]
        contrast = cv2.addWeighted(ratio, 1 / gain, ratio, 0, -1.0)
        counts = cv2.calcHist([contrast], [0], scene.mask, [512], [-0.5, 0.5])
        share = cv2.divide(above, cv2.subtract(scene.open, scene.dark))
        uncut = cv2.mean(share, scene.mask)[0]
        codes = cv2.addWeighted(contrast, 127.5 / SCALE, contrast, 0, 127.5, dtype=cv2.CV_8U)
        codes = cv2.bitwise_and(codes, scene.mask)
        return cv2.cvtColor(cv2.applyColorMap(codes, palette), cv2.COLOR_BGR2BGRA), counts, uncut

    return run


def our_chain(scene: Scene, settings: Settings) -> tuple[Callable[[int], Any], Chain]:
    chain = Chain(settings, scene.info, clock=time.thread_time)
    chain.set_calibration(scene.calibration())
    chain.set_disc(scene.disc)
    count = 0

    def run(index: int) -> Any:
        nonlocal count
        count += 1
        return chain.run(Frame(scene.frames[index], FrameStamp(count, count / 60.0), scene.white))

    return run, chain


def quick_ms(run: Callable[[int], Any], seconds: float) -> tuple[float, int]:
    for index in range(6):
        run(index)
    taken: list[float] = []
    begin = time.perf_counter()
    while time.perf_counter() - begin < seconds or len(taken) < 6:
        start = time.thread_time()
        run(len(taken) % 6)
        taken.append(time.thread_time() - start)
    return float(np.quantile(taken, 0.1)) * 1e3, len(taken)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=2.0)
    parser.add_argument("--view", default="lifted")
    parser.add_argument("--all-on", action="store_true", help="every enhancement at once")
    given = parser.parse_args()
    enhance: dict[str, Any] = {"view": given.view}
    if given.all_on:
        enhance |= {
            "background": "running",
            "lamp_correction": "rows",
            "steady": True,
            "average_frames": 4,
            "smooth_px": 1.5,
        }
    settings = validated({"enhance": enhance}, "benchmark")
    print(f"{'':12}{'copy':>8}{'ours':>8}{'numpy':>8}{'opencv':>8}   numpy/ours opencv/ours")
    for name, (rows, columns) in SIZES.items():
        for bits in (8, 16):
            scene = Scene(rows, columns, bits)
            target = np.empty_like(scene.frames[0])
            copy = quick_ms(lambda i, s=scene, t=target: np.copyto(t, s.frames[i]), 0.3)[0]
            run, _ = our_chain(scene, settings)
            ours = quick_ms(run, given.seconds)[0]
            plain = quick_ms(numpy_chain(scene), given.seconds)[0]
            opencv = quick_ms(opencv_chain(scene), given.seconds)[0]
            print(
                f"{name:6}{bits:3} bit{copy:8.3f}{ours:8.2f}{plain:8.2f}{opencv:8.2f}"
                f"{plain / ours:12.1f}{opencv / ours:12.1f}"
            )
            steps = run(0).steps_ms
            print("        " + "  ".join(f"{step} {ms:.2f}" for step, ms in steps))


if __name__ == "__main__":
    main()

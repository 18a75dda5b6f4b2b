"""The live simulated rig beside the obvious way to render the same frame, in one run.

Run by hand: ``python tests/benchmarks/bench_simulated.py [--frames 60]``.
Figures are milliseconds of the thread's CPU time a frame (median and fastest), one OpenCV thread.
Read the ratios, not the figures: other programs on the machine slow everything. A live picture at
60 frames a second leaves 16.7 ms for everything.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from typing import Any

import numpy as np

from liveview.bench.flows.candle import Candle
from liveview.bench.rig import SimulatedRig
from liveview.bench.scene import Flows, Scene
from liveview.imaging.transfer import Transfer

SIZES = {"720p": (1280, 720), "1080p": (1920, 1080)}


def scene(size: tuple[int, int], *on: str) -> Scene:
    flows = {name: {"on": name in on} for name in Flows.model_fields}
    sensor = {"width": size[0], "height": size[1]}
    return Scene.model_validate({"flows": flows, "sensor": sensor})


def obvious(which: Scene) -> Callable[[int], Any]:
    """Whole picture, every pixel, double precision, true Poisson numbers, no tables."""
    rig = SimulatedRig(which, 1)
    candle = Candle(which.flows.candle, rig.air, 1)
    sensor, place = which.sensor, rig.place
    x = place.x(np.arange(sensor.width, dtype=np.float64))
    y = place.y(np.arange(sensor.height, dtype=np.float64))
    inside = (x / 0.075) ** 2 + (y / 0.075) ** 2 < 1.0
    curve = Transfer.named(sensor.transfer)
    rng = np.random.default_rng(1)

    def render(number: int) -> Any:
        path = candle.path(x, y, np.full((sensor.height, 1), number / 60.0))
        angle = np.gradient(path, 1.0 / place.px_per_m, axis=1)
        passed = np.clip(0.5 + 4.8 * angle / 0.001, 0, 1) * inside
        electrons = rng.poisson(7000.0 * passed + 15.0) + rng.normal(0, 6.0, passed.shape)
        return curve.to_code(0.004 + electrons / 9000.0, 255)

    return render


def live(which: Scene) -> Callable[[int], Any]:
    rig = SimulatedRig(which, 1)
    out = np.empty((which.sensor.height, which.sensor.width), np.uint8)
    return lambda number: rig.render(number, out)


def cost(render: Callable[[int], Any], frames: int) -> tuple[float, float]:
    render(100)
    spent = []
    for number in range(frames):
        begun = time.thread_time()
        render(150 + number)
        spent.append(1e3 * (time.thread_time() - begun))
    return float(np.median(spent)), min(spent)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=60)
    frames = parser.parse_args().frames
    for name, size in SIZES.items():
        slow = cost(obvious(scene(size, "candle")), max(3, frames // 12))
        print(f"{name}  obvious candle          {slow[0]:7.1f} ms  fastest {slow[1]:7.1f}")
        cases = [(), *((flow,) for flow in Flows.model_fields), ("candle", "spark")]
        for on in (*cases, tuple(Flows.model_fields)):
            label = "all flows" if len(on) > 2 else " + ".join(on) or "no flow"
            median, best = cost(live(scene(size, *on)), frames)
            ratio = f"{slow[0] / median:5.1f} times faster" if on == ("candle",) else ""
            print(f"{name}  live {label:18} {median:7.1f} ms  fastest {best:7.1f}  {ratio}")


if __name__ == "__main__":
    main()

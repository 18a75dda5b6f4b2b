"""What is true of a simulated recording: ``truth.json`` and ``truth.npz``.

``truth.npz`` holds one value per frame in ``time_s``, ``uncut``, ``blade_x_m``, ``exposure_s``,
``gain``, ``lamp_light``, ``shift_x_px``, ``shift_y_px``, ``lens_capped``, ``blade_out``, ``quiet``;
and ``deflection_rad`` (samples, rows, columns), the angle of one pass away from the blade at
``deflection_time_s`` (samples,) on the grid ``grid_x_px`` (columns,), ``grid_y_px`` (rows,).
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from liveview.recorder.files import write_json

if TYPE_CHECKING:
    from liveview.bench.rig import FrameTruth
    from liveview.sources.simulated import SimulatedBench

SCHEMA = 1
SAMPLES = 8
_SETTLED_S = 3.0
"""A spark's gas has left or faded after this."""


class TruthBook:
    """Collects the truth frame by frame."""

    def __init__(self, bench: SimulatedBench) -> None:
        self._bench = bench
        self._rig = bench.rig
        self._truths: list[FrameTruth] = []
        self._quiet: list[bool] = []

    def add(self, truth: FrameTruth) -> None:
        """One more frame."""
        self._truths.append(truth)
        self._quiet.append(self._is_quiet(truth))

    @property
    def times_s(self) -> list[float]:
        """Begin of every frame."""
        return [truth.time_s for truth in self._truths]

    def _is_quiet(self, truth: FrameTruth) -> bool:
        values = self._rig.knobs.all_at(truth.time_s)
        gas = any(values[f"flow_{name}"] > 0 for name in self._rig.flows if name != "spark")
        end = truth.time_s + self._rig.shutter(truth.exposure_s).seconds
        sparks = self._rig.spark_times.between(truth.time_s - _SETTLED_S, end)
        return not (gas or sparks or truth.lens_capped or truth.blade_out)

    def write(self, folder: Path) -> None:
        """Write both files."""
        write_json(folder / "truth.json", self._json())
        arrays = {**self._per_frame(), **self._deflection()}
        np.savez_compressed(folder / "truth.npz", allow_pickle=False, **arrays)

    def _per_frame(self) -> dict[str, Any]:
        names = ("time_s", "uncut", "blade_x_m", "exposure_s", "gain", "lamp_light")
        flags = ("lens_capped", "blade_out")
        arrays: dict[str, Any] = {
            name: np.array([getattr(truth, name) for truth in self._truths])
            for name in (*names, *flags)
        }
        for axis, name in enumerate(("shift_x_px", "shift_y_px")):
            arrays[name] = np.array([truth.shift_px[axis] for truth in self._truths])
        arrays["quiet"] = np.array(self._quiet)
        return arrays

    def _deflection(self) -> dict[str, Any]:
        picks = np.unique(np.linspace(0, len(self._truths) - 1, SAMPLES).round().astype(int))
        times = [
            self._truths[int(pick)].time_s + 0.5 * self._truths[int(pick)].exposure_s
            for pick in picks
        ]
        columns, rows = self._rig.light.grid_px
        return {
            "deflection_rad": np.stack([self._rig.deflection(t) for t in times]),
            "deflection_time_s": np.array(times),
            "grid_x_px": columns,
            "grid_y_px": rows,
        }

    def _json(self) -> dict[str, Any]:
        scene, rig, sensor = self._bench.scene, self._rig, self._bench.scene.sensor
        geometry, place = rig.light.geometry, rig.place
        spark = scene.flows.spark
        return {
            "schema": SCHEMA,
            "simulated": True,
            "seed": rig.seed,
            "exact": rig.exact,
            "recording": {
                "frames": len(self._truths),
                "rate_hz": sensor.rate_hz,
                "width": sensor.width,
                "height": sensor.height,
                "bits": sensor.bits,
                "white": sensor.white,
                "transfer": sensor.transfer,
                "row_time_s": sensor.row_time_s,
            },
            "sensor": {
                "code_per_electron": rig.chip.code_per_electron(sensor.gain),
                "dark_level_code": sensor.dark_level * sensor.white,
                "read_noise_code": sensor.read_noise_e * rig.chip.code_per_electron(sensor.gain),
                "note": "codes before the transfer curve, at the scene's own gain",
            },
            "disc": {"cx": place.cx, "cy": place.cy, "radius": place.radius},
            "rig": {
                "arms_m": list(geometry.arms_m),
                "image_width_m": rig.light.width_m,
                "blade_side": scene.blade.side.value,
                "blade_offset_m": rig.knobs.at("blade_z_m", 0.0),
            },
            "stretches": self._stretches(),
            "sound": {
                "rate_hz": scene.microphone.rate_hz,
                "distance_m": scene.microphone.distance_m,
                "delay_s": self._bench.microphone.delay_s,
            },
            "flash_s": spark.flash_s,
            "sparks": self._sparks(),
            "candle_puffs_hz": scene.flows.candle.puffs_hz,
            "scene": scene.model_dump(mode="json", by_alias=True, exclude_none=True),
        }

    def _stretches(self) -> dict[str, list[list[float]]]:
        flags = {
            "dark": [truth.lens_capped for truth in self._truths],
            "open": [truth.blade_out and not truth.lens_capped for truth in self._truths],
            "quiet": self._quiet,
        }
        period = 1.0 / self._rig.rate_hz
        found: dict[str, list[list[float]]] = {}
        for name, values in flags.items():
            edges = np.flatnonzero(np.diff([0, *map(int, values), 0]))
            found[name] = [[float(a) * period, float(b) * period] for a, b in edges.reshape(-1, 2)]
        return found

    def _sparks(self) -> list[dict[str, Any]]:
        end = len(self._truths) / self._rig.rate_hz
        seen: dict[float, list[dict[str, int]]] = {}
        for truth in self._truths:
            for spark in truth.sparks:
                rows = {"frame": truth.number, "first": spark.first_row, "last": spark.last_row}
                seen.setdefault(spark.time_s, []).append(rows)
        return [
            {
                "time_s": spark.time_s,
                "heard_s": self._bench.microphone.arrival(spark.time_s),
                "rows": seen.get(spark.time_s, []),
            }
            for spark in self._rig.spark_times.between(0.0, end)
        ]

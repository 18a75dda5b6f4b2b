"""The camera's sensor: electrons to code values, with its noise.

``code = white * curve(dark_level + K' e)``, e the electrons of a pixel with shot noise (variance
e) and read noise, K' = gain (1 - dark_level) / full_well. In a linear camera the photon-transfer
gain is therefore ``K = white K'`` code values per electron (EMVA 1288).

A recording draws true Poisson numbers. Live, the noise is normal with the same variance, taken from
a bank of unit normals at a new place (and mirrored) for each frame; at the tens of electrons that
the darkest pixels have, the two differ in skewness only.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from liveview.bench.scene import Sensor
from liveview.imaging.cv import cv2
from liveview.imaging.transfer import Transfer

Electrons = NDArray[np.float32]
_STEPS = 65535
_ROOM_ROWS, _ROOM_COLUMNS = 97, 193
_LEVELS = 256
_KEPT = 8
_REACH = 4.3
"""Standard deviations that the quantised normals of the surroundings reach."""


class SensorChip:
    """One sensor with its fixed hot pixels and its noise.

    Parameters
    ----------
    sensor : Sensor
    seed : int
    exact : bool
        True Poisson numbers instead of the bank.
    """

    def __init__(self, sensor: Sensor, seed: int, *, exact: bool) -> None:
        self.sensor = sensor
        self._seed = seed
        self._exact = exact
        white = sensor.white
        self.dtype: np.dtype[Any] = np.dtype(np.uint8 if white <= 255 else np.uint16)
        curve = Transfer.named(sensor.transfer)
        codes = curve.to_code(np.arange(_STEPS + 1) / _STEPS, white).astype(self.dtype)
        self._codes = codes.reshape(1, -1)
        rng = np.random.default_rng([seed, 31])
        count = min(sensor.hot_pixels, sensor.width * sensor.height // 4)
        spots = rng.choice(sensor.width * sensor.height, size=count, replace=False)
        self.hot_rows, self.hot_columns = np.divmod(np.sort(spots), sensor.width)
        self.hot_e_s = (10.0 ** rng.uniform(4.3, 6.3, count)).astype(np.float32)
        if not exact:
            shape = (sensor.height + _ROOM_ROWS, sensor.width + _ROOM_COLUMNS)
            bank = rng.standard_normal(shape, dtype=np.float32)
            self._bank = (bank - bank.mean()) / bank.std()
            level = np.rint((self._bank / (2 * _REACH) + 0.5) * (_LEVELS - 1))
            self._levels = np.clip(level, 0, _LEVELS - 1).astype(np.uint8)
            self._kept: dict[bytes, NDArray[Any]] = {}
            self._work: dict[tuple[int, int], tuple[Electrons, NDArray[np.uint16]]] = {}

    def code_per_electron(self, gain: float) -> float:
        """Photon-transfer gain K of a linear camera, code values per electron."""
        return self.sensor.white * self._slope(gain)

    def _slope(self, gain: float) -> float:
        return gain * (1.0 - self.sensor.dark_level) / self.sensor.full_well_e

    def rng(self, number: int) -> np.random.Generator:
        """Random numbers that belong to one frame."""
        return np.random.default_rng([self._seed, 32, number])

    def expose(
        self, electrons: Electrons, top: int, left: int, gain: float, number: int, out: Any
    ) -> None:
        """Code values of a part of the picture.

        Parameters
        ----------
        electrons : ndarray, float32, (rows, columns)
            Expected electrons, hot pixels included; overwritten.
        top, left : int
            Where the part lies in the picture.
        gain : float
        number : int
            Frame number; with the seed it fixes the noise.
        out : ndarray, uint8 or uint16, (rows, columns)
        """
        if self._exact:
            self._expose_exactly(electrons, top, left, gain, number, out)
            return
        noise = self._noise(electrons.shape, top, left, number)
        work, index = self._scratch(electrons.shape)
        np.add(electrons, np.float32(self.sensor.read_noise_e**2), out=work)
        cv2.sqrt(work, dst=work)
        cv2.multiply(work, noise, dst=work)
        if gain < 1.0:
            cv2.add(electrons, work, dst=electrons)
            self._encode(electrons, gain, index, out)
            return
        # One pass adds the noise, scales, rounds and cuts off at both ends.
        scale = self._slope(gain) * _STEPS
        offset = self.sensor.dark_level * _STEPS
        cv2.addWeighted(electrons, scale, work, scale, offset, dst=index, dtype=cv2.CV_16U)
        cv2.LUT(index, self._codes, dst=out)

    def surroundings(
        self, electrons: float, gain: float, number: int, hole: tuple[slice, slice], out: Any
    ) -> None:
        """Code values of all but ``hole`` (rows, columns) of an evenly lit picture (live only)."""
        level = (np.arange(_LEVELS) / (_LEVELS - 1) - 0.5) * 2 * _REACH
        values = electrons + level * math.sqrt(electrons + self.sensor.read_noise_e**2)
        share = self.sensor.dark_level + values * self._slope(gain)
        index = np.clip(np.rint(share * _STEPS), 0, _STEPS).astype(np.uint16)
        row, column = self._offsets(number)
        codes = self._coded(self._codes[0, index])[row:, column:]
        rows, columns = hole
        for strip in (
            (slice(0, rows.start), slice(0, out.shape[1])),
            (slice(rows.stop, out.shape[0]), slice(0, out.shape[1])),
            (rows, slice(0, columns.start)),
            (rows, slice(columns.stop, out.shape[1])),
        ):
            out[strip] = codes[strip]

    def _coded(self, table: NDArray[Any]) -> NDArray[Any]:
        """The bank of levels as codes; kept for the few tables that take turns."""
        key = table.tobytes()
        if key not in self._kept:
            if len(self._kept) >= _KEPT:
                del self._kept[next(iter(self._kept))]
            self._kept[key] = np.asarray(cv2.LUT(self._levels, table.reshape(1, -1)))
        return self._kept[key]

    def expose_spots(
        self, rows: Any, columns: Any, electrons: Electrons, gain: float, number: int, out: Any
    ) -> None:
        """Code values of single pixels of the picture ``out`` (live only)."""
        row, column = self._offsets(number)
        noise = self._bank[rows + row, columns + column]
        values = electrons + noise * np.sqrt(electrons + np.float32(self.sensor.read_noise_e**2))
        codes = np.empty(len(values), self.dtype)
        self._encode(values, gain, np.empty(len(values), np.uint16), codes)
        out[rows, columns] = codes

    def _expose_exactly(
        self, electrons: Electrons, top: int, left: int, gain: float, number: int, out: Any
    ) -> None:
        rng = np.random.default_rng([self._seed, 33, number, top, left])
        drawn = rng.poisson(np.maximum(electrons, 0.0)).astype(np.float32)
        read = rng.standard_normal(electrons.shape, dtype=np.float32)
        drawn += read * np.float32(self.sensor.read_noise_e)
        self._encode(drawn, gain, np.empty(drawn.shape, np.uint16), out)

    def _encode(
        self, electrons: Electrons, gain: float, index: NDArray[np.uint16], out: Any
    ) -> None:
        if gain < 1.0:
            np.minimum(electrons, np.float32(self.sensor.full_well_e), out=electrons)
        electrons *= np.float32(self._slope(gain) * _STEPS)
        electrons += np.float32(self.sensor.dark_level * _STEPS + 0.5)
        np.clip(electrons, 0.0, _STEPS, out=electrons)
        np.copyto(index, electrons, casting="unsafe")
        np.take(self._codes[0], index, out=out, mode="clip")

    def _offsets(self, number: int) -> tuple[int, int]:
        rng = self.rng(number)
        return int(rng.integers(_ROOM_ROWS)), int(rng.integers(_ROOM_COLUMNS))

    def _noise(self, shape: tuple[int, ...], top: int, left: int, number: int) -> Electrons:
        row, column = self._offsets(number)
        rows = slice(top + row, top + row + shape[0])
        return np.asarray(self._bank[rows, left + column : left + column + shape[1]])

    def _scratch(self, shape: tuple[int, ...]) -> tuple[Electrons, NDArray[np.uint16]]:
        key = (shape[0], shape[1])
        if key not in self._work:
            self._work[key] = (np.empty(key, np.float32), np.empty(key, np.uint16))
        return self._work[key]

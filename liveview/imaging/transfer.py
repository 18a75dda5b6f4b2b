"""Transfer curves: code values to linear light and back.

Light is relative: 0.0 is code 0, 1.0 the top code. Every fraction, ratio and contrast of the
program is computed after ``to_light``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from liveview.errors import BadRequest
from liveview.imaging.cv import cv2
from liveview.model import Light, Pixels

BT709_WEIGHTS_BGR = (0.0722, 0.7152, 0.2126)
"""Luminance from linear blue, green, red (ITU-R BT.709-6, 2015, item 3.2)."""

_STRIP_ROWS = 64
_CHANNELS = {"blue": 0, "green": 1, "red": 2}
_GAMMA = re.compile(r"gamma:(\d+(?:\.\d+)?)")


@dataclass(frozen=True, slots=True)
class Transfer:
    """One transfer curve. Make it with :meth:`named`.

    ``kind`` is ``"srgb"`` (IEC 61966-2-1:1999), ``"bt709"`` (ITU-R BT.709-6, 2015, item 1.2, the
    camera's curve, not a display's), ``"linear"`` or ``"gamma"`` (light = code ** gamma).
    """

    kind: str
    gamma: float = 1.0

    @classmethod
    def named(cls, name: str) -> Transfer:
        """The curve called ``srgb``, ``bt709``, ``linear`` or ``gamma:G``.

        Raises
        ------
        BadRequest
            Another name, or a gamma that is not positive.
        """
        if name in ("srgb", "bt709", "linear"):
            return cls(name)
        found = _GAMMA.fullmatch(name)
        if found and float(found[1]) > 0:
            return cls("gamma", float(found[1]))
        raise BadRequest(
            f"unknown transfer curve '{name}'", "transfer", "use srgb, bt709, linear or gamma:2.2"
        )

    @property
    def name(self) -> str:
        """The name that :meth:`named` accepts."""
        return f"gamma:{self.gamma:g}" if self.kind == "gamma" else self.kind

    @property
    def is_straight(self) -> bool:
        """True when light is proportional to the code."""
        return self.kind == "linear" or (self.kind == "gamma" and self.gamma == 1.0)

    def decode(self, code: ArrayLike) -> NDArray[np.float64]:
        """Relative code 0..1 to light 0..1, any shape."""
        v = np.asarray(code, np.float64)
        if self.kind == "srgb":
            return np.where(v <= 0.04045, v / 12.92, ((np.maximum(v, 0) + 0.055) / 1.055) ** 2.4)
        if self.kind == "bt709":
            knee = 4.5 * 0.018
            return np.where(v < knee, v / 4.5, ((np.maximum(v, 0) + 0.099) / 1.099) ** (1 / 0.45))
        return np.maximum(v, 0) ** self.gamma

    def encode(self, light: ArrayLike) -> NDArray[np.float64]:
        """Light 0..1 to relative code 0..1, any shape; inverse of :meth:`decode`."""
        x = np.asarray(light, np.float64)
        up = np.maximum(x, 0)
        if self.kind == "srgb":
            return np.where(x <= 0.04045 / 12.92, x * 12.92, 1.055 * up ** (1 / 2.4) - 0.055)
        if self.kind == "bt709":
            return np.where(x < 0.018, x * 4.5, 1.099 * up**0.45 - 0.099)
        return up ** (1 / self.gamma)

    def rounding_variance(self, light: ArrayLike, white: int) -> NDArray[np.float64]:
        """Variance of light from rounding to whole codes: a twelfth of a code's step squared."""
        code = self.encode(np.clip(light, 0, 1))
        half = 0.5 / white
        step = self.decode(code + half) - self.decode(np.maximum(code - half, 0))
        return np.asarray(step**2 / 12)

    def to_light(
        self, pixels: Pixels, white: int, out: Light | None = None, channel: str = "luminance"
    ) -> Light:
        """Linear light of a frame.

        Parameters
        ----------
        pixels : ndarray, uint8 or uint16, (rows, columns) or (rows, columns, 3) in BGR
            Codes; those above ``white`` count as ``white``.
        white : int
            Top code, 255 or 4095 or 65535 ...
        out : ndarray, float32, (rows, columns), optional
            Filled and returned when given.
        channel : str
            For colour: ``"luminance"`` (BT.709 weights on linear light), ``"red"``, ``"green"``
            or ``"blue"``.

        Returns
        -------
        ndarray, float32, (rows, columns), 0..1
        """
        if pixels.ndim == 3 and pixels.shape[2] == 1:
            pixels = pixels[:, :, 0]
        if pixels.ndim == 3 and channel not in _CHANNELS:
            return self._luminance(pixels[..., :3], white, out)
        if pixels.ndim == 3:
            pixels = cv2.extractChannel(pixels, _CHANNELS[channel])
        if self.is_straight and white == np.iinfo(pixels.dtype).max:
            return _scaled(pixels, 1.0 / white, out)
        return _looked_up(pixels, self._table(pixels.dtype, white, 1.0), out)

    def _luminance(self, pixels: Pixels, white: int, out: Light | None) -> Light:
        """The weighted sum of the channels, in strips that stay in the processor's cache."""
        rows, columns = pixels.shape[:2]
        total = np.empty((rows, columns), np.float32) if out is None else out
        blue, green, red = (self._table(pixels.dtype, white, w) for w in BT709_WEIGHTS_BGR)
        planes = [np.empty((_STRIP_ROWS, columns), pixels.dtype) for _ in range(3)]
        part = np.empty((_STRIP_ROWS, columns), np.float32)
        for row in range(0, rows, _STRIP_ROWS):
            here = total[row : row + _STRIP_ROWS]
            codes, more = [plane[: len(here)] for plane in planes], part[: len(here)]
            cv2.split(pixels[row : row + _STRIP_ROWS], codes)
            cv2.LUT(codes[0], blue, here)
            cv2.add(here, cv2.LUT(codes[1], green, more), here)
            cv2.add(here, cv2.LUT(codes[2], red, more), here)
        return total

    def to_code(self, light: ArrayLike, white: int) -> Pixels:
        """Code values (uint8 up to white 255, else uint16), rounded, cut off at 0 and ``white``."""
        code = np.rint(self.encode(np.clip(light, 0, 1)) * white)
        return code.astype(np.uint8 if white <= 255 else np.uint16)

    def _table(self, dtype: np.dtype[Any], white: int, weight: float) -> Light:
        return _table(self, _codes(dtype), white, weight)


def _codes(dtype: np.dtype[Any]) -> int:
    return 256 if dtype == np.uint8 else 65536


@lru_cache(maxsize=32)
def _table(curve: Transfer, size: int, white: int, weight: float) -> Light:
    codes = np.minimum(np.arange(size), white) / white
    table = (curve.decode(codes) * weight).astype(np.float32).reshape(1, size)
    table.setflags(write=False)
    return table


def _scaled(plane: Pixels, factor: float, out: Light | None) -> Light:
    """Codes times a factor: an average with nothing is a third of the price of a table."""
    light = np.empty(plane.shape, np.float32) if out is None else out
    light.fill(0.0)
    cv2.accumulateWeighted(plane, light, factor)
    return light


def _looked_up(plane: Pixels, table: Light, out: Light | None) -> Light:
    return cast(Light, cv2.LUT(plane, table) if out is None else cv2.LUT(plane, table, out))

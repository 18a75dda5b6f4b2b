"""Numbers in, numbers of the same kind out: a float stays a float, an array an array."""

from __future__ import annotations

from typing import Any, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

FloatOrArray = TypeVar("FloatOrArray", float, FloatArray)
"""What most formulas accept and give back: a float, or a float64 array of any shape."""


def same_kind(given: FloatOrArray, result: Any) -> FloatOrArray:
    """``result`` as a plain float when ``given`` was a single number, else as an array."""
    array = np.asarray(result, dtype=np.float64)
    kept: Any = array if np.ndim(given) > 0 else float(array.reshape(()))
    return cast(FloatOrArray, kept)

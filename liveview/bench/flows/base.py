"""What every flow of the simulated rig has in common.

A flow is a field of refractive index; what one pass of light collects of it is its optical path
``P(x, y, t) = integral of (n - n0) dz`` in metres, x to the right and y upwards from the middle of
the mirror. A ray bends towards higher index: the angle of one pass is ``grad P / n0``, and n0 is 1
to within 0.03 %.
"""

from __future__ import annotations

from typing import Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

Field = NDArray[np.float32]
Times = NDArray[np.float64]
FloatKind = TypeVar("FloatKind", np.float32, np.float64)


class Flow(Protocol):
    """A refractive-index field in the test region."""

    def path(self, x: Field, y: Field, t: Times) -> Field:
        """Optical path of one pass against still air, metres.

        Parameters
        ----------
        x : ndarray, float32, (1, columns)
            Metres to the right of the mirror's middle.
        y : ndarray, float32, (rows, 1)
            Metres above it.
        t : ndarray, float64, (rows, 1)
            Moment at which each row is seen, seconds.

        Returns
        -------
        ndarray, float32, (rows, columns)
        """


def smooth_step(value: NDArray[FloatKind]) -> NDArray[FloatKind]:
    """0 below 0, 1 above 1, with level ends (3 v^2 - 2 v^3); keeps the type."""
    v = np.clip(value, 0, 1)
    return np.asarray(v * v * (3 - 2 * v), value.dtype)

"""The quick median against NumPy's."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.imaging.quick import median


@pytest.mark.parametrize("count", [1, 2, 3, 10, 101])
def test_same_as_numpy(count: int) -> None:
    values = np.random.default_rng(count).random((count, 3 if count % 2 else 1))
    ordered = np.sort(values.ravel())
    assert median(values) == ordered[ordered.size // 2]
    if values.size % 2:
        assert median(values) == np.median(values)


def test_nothing() -> None:
    with pytest.raises(IndexError):
        median(np.empty(0))

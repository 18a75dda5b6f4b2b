from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveview.bench.shutter import Shutter


def test_global_shutter_sees_all_rows_or_none() -> None:
    shutter = Shutter(100, 2e-3)
    assert shutter.rows_lit(1.0, 1.001, 1e-5) == (0, 99)
    assert shutter.rows_lit(1.0, 1.0021, 1e-5) is None
    assert shutter.rows_lit(1.0, 0.99, 1e-5) is None


def test_band_is_exposure_over_row_time_high() -> None:
    shutter = Shutter(720, 2e-3, 20e-6)
    rows = shutter.rows_lit(0.0, 8e-3, 1e-9)
    assert rows is not None
    assert rows[1] - rows[0] + 1 == pytest.approx(2e-3 / 20e-6, abs=1)


@given(
    flash=st.floats(-2e-3, 20e-3),
    lasts=st.floats(1e-6, 3e-3),
    exposure=st.floats(1e-5, 8e-3),
    row_time=st.floats(1e-6, 5e-5),
)
def test_rows_lit_are_those_that_collect_light(
    flash: float, lasts: float, exposure: float, row_time: float
) -> None:
    shutter = Shutter(200, exposure, row_time)
    shares = shutter.shares(0.0, flash, lasts)
    # Rows that touch the flash by a rounding error only may go either way.
    lit = np.flatnonzero(shares > 1e-9)
    rows = shutter.rows_lit(0.0, flash, lasts)
    if rows is None:
        assert lit.size == 0
    else:
        assert set(lit) <= set(range(rows[0], rows[1] + 1))
        assert rows[1] - rows[0] + 1 - lit.size <= 2


def test_a_long_exposure_collects_all_of_a_flash_once() -> None:
    shares = Shutter(50, 1e-2, 1e-5).shares(0.0, 5e-3, 1e-4)
    np.testing.assert_allclose(shares, 1.0)


def test_split_over_two_frames_nothing_is_lost() -> None:
    shutter = Shutter(1, 1e-2)
    both = shutter.shares(0.0, 9.95e-3, 1e-4) + shutter.shares(1e-2, 9.95e-3, 1e-4)
    assert both[0] == pytest.approx(1.0, rel=1e-9)

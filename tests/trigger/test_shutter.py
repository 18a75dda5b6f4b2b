"""When a flash happened, from the rows it lit."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.scripted_source import info

from liveview.model import FrameStamp
from liveview.trigger.shutter import flash_time

HEIGHT, ROW_S, EXPOSURE_S = 720, 15e-3 / 720, 2e-3
ROLLING = info(1280, HEIGHT, rate_hz=60.0, row_time_s=ROW_S, exposure_s=EXPOSURE_S)
GLOBAL = info(1280, HEIGHT, rate_hz=60.0, row_time_s=0.0, exposure_s=EXPOSURE_S)


def rows_lit(flash_s: float, start_s: float) -> tuple[int, int] | None:
    """Rows that are exposed at ``flash_s`` when the first row starts at ``start_s``."""
    first = max(0, int(-(-(flash_s - start_s - EXPOSURE_S) // ROW_S)))
    last = min(HEIGHT - 1, int((flash_s - start_s) // ROW_S))
    return (first, last) if first <= last else None


@given(st.floats(0, 15e-3 + 1.9e-3))
def test_rolling_shutter_time_comes_back(flash_s):
    rows = rows_lit(flash_s, 0.0)
    if rows is None:
        return
    time_s, error_s = flash_time(FrameStamp(0, 0.0), rows, ROLLING)
    # within a row, or within what the cut-off band leaves open
    assert abs(time_s - flash_s) <= max(2 * ROW_S, 2 * error_s)


def test_band_in_the_middle_is_known_to_a_row():
    time_s, error_s = flash_time(FrameStamp(7, 100.0), rows_lit(100.008, 100.0), ROLLING)
    assert time_s == pytest.approx(100.008, abs=ROW_S)
    assert error_s < ROW_S


def test_global_shutter_says_the_middle_of_the_exposure():
    time_s, error_s = flash_time(FrameStamp(7, 100.0, 0.0005), (0, 719), GLOBAL)
    assert time_s == pytest.approx(100.001)
    assert error_s == pytest.approx(((2e-3) ** 2 / 12 + 0.0005**2) ** 0.5)


def test_unknown_shutter_says_the_frame_period():
    unknown = info(1280, HEIGHT, rate_hz=50.0)
    time_s, error_s = flash_time(FrameStamp(7, 100.0), (100, 200), unknown)
    assert time_s == pytest.approx(100.01)
    assert error_s == pytest.approx(0.02 / 12**0.5)

"""What the readings of all frames are summed up to."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from liveview.commands.processing.catching import Caught
from liveview.commands.processing.outputs import COLUMNS
from liveview.commands.processing.report import Summary, build_report
from liveview.imaging.histogram import in_unit
from liveview.model import (
    Average,
    BladeReading,
    Calibration,
    CameraState,
    Cause,
    FrameStamp,
    Histogram,
    NoiseReading,
    Reading,
    Side,
    SourceInfo,
    SourceKind,
    Spotted,
)
from liveview.shipped import shipped_folder

BINS = 256


def reading(number: int, histogram: Histogram | None) -> Reading:
    return Reading(
        stamp=FrameStamp(number, number / 50),
        picture=np.zeros((2, 2, 4), np.uint8),
        view="lifted",
        disc=None,
        blade=BladeReading(Side.LEFT),
        noise=NoiseReading(),
        histogram=histogram,
    )


def in_contrast(end: float, sigma: float | None) -> Histogram:
    edges = np.linspace(-end, end, BINS + 1)
    counts = np.ones(BINS, np.int64)
    return Histogram("contrast", edges, counts, sigma, 0.5, 0.0, 0.0, -1.0, 1.0)


def summed(*frames: Histogram | None) -> Histogram | None:
    summary = Summary()
    for number, histogram in enumerate(frames):
        summary.add(reading(number, histogram))
    return summary.histogram


@pytest.mark.parametrize("unit", ["sigma", "arcsec"])
def test_the_sum_is_converted_once(unit: str) -> None:
    """Noise and blade differ from frame to frame; the first frames know neither."""
    scales = (80.0, 110.0, 97.0)
    known = [in_unit(in_contrast(0.125, 0.01), unit, scale) for scale in scales]
    found = summed(None, in_contrast(0.25, None), *known)
    assert found is not None
    assert found.unit == unit
    assert found.counts.sum() == 4 * BINS
    # the widest range of all, by what the newest frame says; a few roundings of float64
    assert found.edges[-1] == pytest.approx(0.25 * scales[-1], rel=1e-12)
    assert found.noise_sigma == pytest.approx(0.01 * scales[-1], rel=1e-12)
    assert (found.range_low, found.range_high) == pytest.approx((-scales[-1], scales[-1]))


def test_a_last_frame_without_noise_does_not_change_the_unit() -> None:
    found = summed(in_unit(in_contrast(0.125, 0.01), "sigma", 100.0), in_contrast(0.125, None))
    assert found is not None
    assert found.unit == "sigma"
    assert found.edges[-1] == pytest.approx(12.5, rel=1e-12)


def test_no_histogram_at_all() -> None:
    assert summed(None, None) is None


def names_in(data: dict[str, Any]) -> set[str]:
    """All names of fields, however deep."""
    deeper = [value for value in data.values() if isinstance(value, dict)]
    deeper += [one for value in data.values() if isinstance(value, list) for one in value]
    found = (names_in(one) for one in deeper if isinstance(one, dict))
    return set(data) | set().union(*found)


def test_the_guide_tells_every_field_and_column() -> None:
    summary = Summary()
    summary.add(reading(0, in_contrast(0.125, 0.01)))
    info = SourceInfo(SourceKind.VIDEO, "x", 2, 2, 1, 8, 255, False, 50.0)
    average = Average(np.ones((2, 2), np.float32), 16, 0.0, "now", CameraState("x", 2, 2, 255))
    report = build_report(
        recording="x",
        info=info,
        summary=summary,
        disc=None,
        transfer="linear",
        calibration=Calibration(average, average, average),
        caught=[Caught(Spotted(0.0, 0.0, Cause.FLASH, 9.0), None)],
        out=Path(),
        seconds=1.0,
        side_is_known=True,
        warnings=(),
    )
    chapter = shipped_folder("assets") / "guide" / "files.md"
    told = set(re.findall(r"`(\w+)`", chapter.read_text(encoding="utf-8")))
    assert names_in(report) | set(COLUMNS) <= told

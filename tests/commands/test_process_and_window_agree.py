"""The same recording through the window's engine gives the same readings as ``process``."""

from __future__ import annotations

import csv
import dataclasses
import time
from pathlib import Path

import numpy as np
import pytest
from support import known_recording as rec
from support.media import write_video

from liveview.cli import main
from liveview.commands.processing.calibrate import Taker, read_through
from liveview.commands.processing.request import Stretch
from liveview.engine.chain import Chain
from liveview.engine.clock import SessionClock
from liveview.engine.session import Session
from liveview.model import Calibration, CalibrationKind, Reading, SessionState, SourceInfo
from liveview.settings import Settings
from liveview.sources import frame_source

SETTINGS = Settings().replaced("camera", transfer="linear").replaced("catch", on="off")


def calibration_of(clip: Path) -> Calibration:
    stretches = {
        CalibrationKind(name): Stretch(since + 0.01, until - 0.01)
        for name, (since, until) in rec.STEPS.items()
    }
    source = frame_source(str(clip), SETTINGS, clock=SessionClock(), live=False)
    info = source.open()
    source.close()
    taker = Taker(info, SETTINGS, stretches)
    read_through(frame_source(str(clip), SETTINGS, clock=SessionClock(), live=False), taker)
    return taker.finished(Calibration(), all_read=True)


def unhurried(settings: Settings, info: SourceInfo) -> Chain:
    """The window's chain without its budget: on a busy machine it would leave out readings."""
    return Chain(settings, dataclasses.replace(info, live=False))


def shown_in_the_window(clip: Path) -> dict[int, Reading]:
    """Readings of a session that plays the recording in real time, by frame number."""
    clock = SessionClock()
    session = Session(
        SETTINGS,
        lambda: frame_source(str(clip), SETTINGS, clock=clock, live=True),
        clock=clock,
        make_chain=unhurried,
    )
    session.set_calibration(calibration_of(clip))
    found: dict[int, Reading] = {}
    session.start()
    try:
        deadline = time.monotonic() + 30
        while session.status().state is not SessionState.ENDED:
            assert time.monotonic() < deadline, session.status()
            reading = session.newest()
            if reading is not None:
                found[reading.stamp.number] = reading
            time.sleep(0.005)
    finally:
        session.stop()
    return found


@pytest.mark.slow
def test_uncut_tilt_and_clipping_are_the_same(tmp_path: Path) -> None:
    clip = write_video(tmp_path / "c.mkv", rec.as_bytes(rec.known().frames), rate_hz=rec.RATE_HZ)
    arguments = ["--transfer", "linear", "--catch", "off", *rec.STRETCHES]
    assert main(["process", str(clip), "--out", str(tmp_path), *arguments]) == 0
    text = (tmp_path / "frames.csv").read_text(encoding="utf-8")
    rows = {int(row["frame"]): row for row in csv.DictReader(text.splitlines())}
    shown = shown_in_the_window(clip)
    assert len(shown) > rec.FRAMES / 10  # a busy machine shows few
    for number, reading in shown.items():
        row, blade, histogram = rows[number], reading.blade, reading.histogram
        assert histogram is not None
        pairs = {
            "uncut": blade.uncut,
            "tilt_across": blade.tilt_across,
            "tilt_along": blade.tilt_along,
            "lamp_gain": reading.lamp_gain,
            "clipped_dark": histogram.clipped_dark,
            "clipped_bright": histogram.clipped_bright,
        }
        for name, value in pairs.items():
            # the table holds nine digits
            assert value == pytest.approx(float(row[name]), rel=1e-8, abs=1e-12), (number, name)
    assert np.ptp([reading.blade.uncut for reading in shown.values()]) > 0.9

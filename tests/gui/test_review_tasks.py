"""What the tools do with an event, and what a task says that fails; without a window."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import platformdirs
import pytest
from support import review_events
from support.damage import damage_frame

from liveview.errors import BadRequest, InputUnreadable
from liveview.gui.review_measuring import Measuring, Stretch
from liveview.gui.review_reader import Desk, Sight
from liveview.gui.review_task import Task
from liveview.review.export.job import Job
from liveview.review.measure import Scale

FRAMES = 34


def measuring(path: Path, first: int = 0, last: int = FRAMES - 1, **options) -> Measuring:
    desk = Desk(path, Sight())
    try:
        return Measuring(desk.facts(), Stretch(first, last, first), **options)
    finally:
        desk.close()


@pytest.mark.slow
def test_a_front_in_an_event_kept_by_hand_is_followed_from_the_stretch_on(tmp_path: Path) -> None:
    """The key was pressed when the front was long gone, and nothing is told from its time."""
    path = review_events.record_event(tmp_path, pressed=30)
    result = measuring(path, review_events.SPARK_FRAME, 28).front(review_events.CENTRE, Job())
    assert result.measurement is not None, result.words
    results = result.measurement.results
    # as in the test of the window on the same front
    assert results["speed"].value == pytest.approx(review_events.FRONT_M_S, rel=0.02)
    assert min(point.frame for point in result.points) < 15
    assert not any("blast" in name for name in results)
    assert result.plot is not None
    assert result.plot.x_name == "ms from the trigger"


@pytest.mark.slow
def test_a_front_of_a_spark_begins_there_and_knows_the_room(tmp_path: Path) -> None:
    m = measuring(review_events.record_event(tmp_path))
    result = m.front(review_events.CENTRE, Job())
    assert result.measurement is not None, result.words
    assert min(point.frame for point in result.points) >= review_events.SPARK_FRAME
    assert result.plot is not None
    assert result.plot.x_name == "ms from the spark"
    assert result.measurement.inputs["pressure_pa"] == m.facts.settings.rig.pressure_pa
    assert "blast_exponent" in result.measurement.results
    assert any("blast" in words for words in result.measurement.assumptions)


@pytest.mark.slow
def test_a_damaged_frame_is_left_out_of_what_is_measured_and_said(tmp_path: Path) -> None:
    path = review_events.record_event(tmp_path)
    damage_frame(path, 14)
    m = measuring(path, scale=Scale(1e-3, 0.0, "known"))
    front = m.front(review_events.CENTRE, Job())
    assert front.measurement is not None, front.words
    assert front.measurement.results["speed"].value == pytest.approx(
        review_events.FRONT_PX_PER_FRAME * review_events.RATE_HZ * 1e-3, rel=0.02
    )
    assert 14 not in [point.frame for point in front.points]
    flicker = m.flicker((20.0, 50.0), (40.0, 70.0), Job())
    assert flicker.plot is not None
    assert np.isfinite(flicker.plot.y).all()
    for result in (front, flicker):
        words = result.words if result.measurement is None else result.measurement.words
        assert "1 damaged frame left out" in words


@pytest.mark.slow
def test_nothing_but_damaged_frames_is_an_error(tmp_path: Path) -> None:
    path = review_events.record_event(tmp_path)
    damage_frame(path, 14)
    with pytest.raises(InputUnreadable, match="damaged"):
        measuring(path, 14, 14).flicker((20.0, 50.0), (40.0, 70.0), Job())


def ended(body: Callable[[Job], object]) -> Task:
    task = Task("front", body)
    task.start()
    task.join(10.0)
    return task


def failing(error: BaseException) -> Callable[[Job], object]:
    def body(job: Job) -> object:
        raise error

    return body


def test_what_is_meant_for_the_user_is_said_as_it_is() -> None:
    assert ended(lambda job: 1).words == ""
    assert ended(failing(ValueError("too few points"))).words == "too few points"
    assert ended(failing(BadRequest("no scale", "here"))).words == "here: no scale"


def test_a_fault_of_the_program_is_said_by_its_kind_and_its_trace_is_kept() -> None:
    """Raised in the window's thread it would close the window for one failed measurement."""
    words = ended(failing(ZeroDivisionError("division by zero"))).words
    assert words.startswith("front failed by a fault of the program: ZeroDivisionError: division")
    log = Path(platformdirs.user_log_dir("liveview")) / "faults.txt"
    assert str(log) in words
    assert "in body" in log.read_text(encoding="utf-8")


def test_what_is_no_error_is_raised() -> None:
    with pytest.raises(SystemExit):
        _ = ended(failing(SystemExit(1))).words

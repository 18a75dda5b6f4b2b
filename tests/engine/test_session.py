"""The session's threads against a scripted source: start, stop, stall, end, faults."""

from __future__ import annotations

import threading
import time
from itertools import repeat

import numpy as np
import pytest
from support.fault_table import Fault
from support.scripted_source import (
    Pause,
    ScriptedSource,
    Skip,
    Stuck,
    gone,
    info,
    stalled,
)
from support.session_rig import Rigged, forever, quick, scene, source
from support.waiting import wait_for

from liveview.errors import WorkerStuck
from liveview.model import (
    SessionState,
    SourceInfo,
    SourceKind,
)
from liveview.settings import Settings


def test_runs_and_stops():
    says = info()
    rigged = Rigged(source(forever(says), says))
    with rigged as session:
        wait_for(lambda: session.newest() is not None)
        wait_for(lambda: session.status().counters.captured > 40)
        status = session.status()
        assert status.state is SessionState.RUNNING
        assert status.rate_hz == pytest.approx(200, rel=0.2)  # a shared machine's sleep
        assert status.words == ()
        assert status.ring_capacity_seconds == pytest.approx(
            8e6 / (64 * 48) / status.rate_hz, rel=0.2
        )
    status = session.status()
    assert status.state is SessionState.STOPPED
    assert status.counters.lost_ring == status.counters.lost_source == 0
    assert rigged.sources[0].closes == 1


def test_stop_before_anything_came():
    with Rigged(source([Pause(0.3)])) as session:
        session.stop()
    assert session.status().state is SessionState.STOPPED


@pytest.mark.slow
def test_every_frame_is_watched_once():
    says = info(rate_hz=500.0, kind=SourceKind.VIDEO)
    frames = [scene(says) for _ in range(300)]
    with Rigged(source(frames, says)) as session:
        wait_for(lambda: session.status().state is SessionState.ENDED)
        wait_for(lambda: session.status().counters.watched == 300)
        counters = session.status().counters
        assert counters.captured == 300
        assert counters.missed_watch == 0
        wait_for(lambda: session.newest() and session.newest().stamp.number == 299)


@pytest.mark.slow
def test_a_fast_source_is_worked_on_at_the_beat_and_watched_whole():
    says = info(rate_hz=500.0, kind=SourceKind.VIDEO)
    with Rigged(source([scene(says) for _ in range(300)], says)) as session:
        heard: list[int] = []
        session.announce(lambda: heard.append(session.newest().stamp.number), 0.05)
        wait_for(lambda: session.status().state is SessionState.ENDED)
        wait_for(lambda: session.status().counters.watched == 300)
        wait_for(lambda: session.newest().stamp.number == 299)
        # 0.6 s at a beat of 0.05 s, and those before the rate was known.
        assert 3 <= len(heard) < 100
        assert heard == sorted(set(heard))
        assert session.status().counters.missed_watch == 0


def test_nobody_is_told_of_readings_any_more_once_that_was_asked():
    says = info()
    with Rigged(source(forever(says), says)) as session:
        heard: list[int] = []
        session.announce(lambda: heard.append(1))
        wait_for(lambda: len(heard) > 2)
        session.announce(None)
        before = session.newest().stamp.number
        wait_for(lambda: session.newest().stamp.number > before + 2)
        told = len(heard)
        before = session.newest().stamp.number
        wait_for(lambda: session.newest().stamp.number > before + 5)
        assert len(heard) == told


def test_gaps_in_the_numbers_are_counted():
    says = info(kind=SourceKind.VIDEO)
    steps = [*repeat(scene(says), 10), Skip(7), *repeat(scene(says), 10), Skip(2), scene(says)]
    with Rigged(source(steps, says)) as session:
        wait_for(lambda: session.status().state is SessionState.ENDED)
        assert session.status().counters.captured == 21
        assert session.status().counters.lost_source == 9


def test_cannot_be_opened_says_why():
    with Rigged() as session:
        wait_for(lambda: session.status().state is SessionState.FAILED)
        assert session.status().words == ("scripted: not there",)


@pytest.mark.slow
def test_stalled_source_comes_back_with_words():
    says = info()
    first = [*repeat(scene(says), 20), stalled(3)]
    rigged = Rigged(source(first, says), source(forever(says), says))
    with rigged as session:
        wait_for(lambda: session.status().state is SessionState.STALLED)
        assert "no frame for 3 s: trying again" in session.status().words
        wait_for(lambda: session.status().state is SessionState.RUNNING)
        wait_for(lambda: session.status().counters.captured > 40)
        assert session.status().words == ()
        wait_for(lambda: session.newest().stamp.number >= 20)
    assert [s.closes for s in rigged.sources] == [1, 1]


@pytest.mark.slow
def test_stream_that_dies_is_tried_again():
    says = info(kind=SourceKind.STREAM)
    rigged = Rigged(
        source([*repeat(scene(says), 5)], says),
        source([*repeat(scene(says), 5), gone()], says),
        source(forever(says), says),
    )
    with rigged as session:
        wait_for(lambda: session.status().state is SessionState.STALLED)
        wait_for(lambda: len(rigged.sources) == 3)
        wait_for(lambda: session.status().state is SessionState.RUNNING)


@pytest.mark.slow
@pytest.mark.fault(
    "a driver never comes back from a call",
    says="did not end within",
    then="everything else stops in time; the thread is left behind",
)
def test_stuck_driver_is_reported_and_does_not_hang(fault: Fault):
    says = info()
    stuck = Stuck()
    with Rigged(source([*repeat(scene(says), 20), stuck], says)) as session:
        wait_for(lambda: session.status().counters.captured == 20)
        began = time.monotonic()
        with pytest.raises(WorkerStuck, match="capture"):
            session.stop(timeout_s=0.5)
        assert time.monotonic() - began < 2.0
        names = {thread.name for thread in threading.enumerate()}
        assert not names & {"watch", "chain", "sound"}
        assert any("capture" in words and fault.says in words for words in session.status().words)
    stuck.let_go.set()


@pytest.mark.fault(
    "a driver is silent without an error",
    says="the source does not answer",
    then="said with the seconds; goes on when it wakes",
)
def test_silent_driver_is_said(monkeypatch, fault: Fault):
    monkeypatch.setattr("liveview.engine.session.SILENT_AFTER_S", 0.1)
    says = info()
    stuck = Stuck()
    with Rigged(source([*repeat(scene(says), 5), stuck], says)) as session:
        wait_for(lambda: any(fault.says in words for words in session.status().words))
        stuck.let_go.set()


class Complaining(ScriptedSource):
    """A source that finds fault with its frames."""

    def __init__(self, *args, **more) -> None:
        super().__init__(*args, **more)
        self.warnings: tuple[str, ...] = ()


def test_what_a_source_found_wrong_is_on_the_screen():
    says = info()
    made: list[Complaining] = []

    def make(clock):
        made.append(Complaining(says, forever(says), clock))
        return made[-1]

    with Rigged(make) as session:
        wait_for(lambda: session.newest() is not None)
        assert session.status().words == ()
        made[0].warnings = ("2 frames were damaged", "3 frames were damaged")
        wait_for(lambda: session.status().words == ("3 frames were damaged",))


def test_one_frame_recording():
    says = info(kind=SourceKind.VIDEO)
    with Rigged(source([scene(says)], says)) as session:
        wait_for(lambda: session.newest() is not None)
        wait_for(lambda: session.status().state is SessionState.ENDED)


def test_a_fault_in_the_picture_is_said_and_catching_goes_on() -> None:
    def broken(settings: Settings, says: SourceInfo):
        raise ZeroDivisionError("a fault of ours")

    rigged = Rigged(source(forever(info())), settings=quick(), make_chain=broken)
    with rigged as session:
        wait_for(lambda: any("picture stopped" in words for words in session.status().words))
        wait_for(lambda: session.status().ring_seconds > 0.15)
        session.trigger()
        assert rigged.sink.ended.wait(20)
        assert rigged.sink.events[0]["complete"] is True


def test_a_fault_in_capture_is_said() -> None:
    class Broken(ScriptedSource):
        def read_into(self, out: np.ndarray) -> None:
            raise ZeroDivisionError("a fault of ours")

    with Rigged(lambda clock: Broken(info(), forever(info()), clock)) as session:
        wait_for(lambda: session.status().state is SessionState.FAILED)
        assert "capture failed" in session.status().words[0]


def test_a_full_memory_is_not_taken_for_a_silent_source(monkeypatch):
    monkeypatch.setattr("liveview.engine.session.SILENT_AFTER_S", 0.3)
    says = info(640, 480)  # so that few frames fill the memory
    with Rigged(source(forever(says), says)) as session:
        wait_for(lambda: session.status().counters.captured > 2)
        held = []
        ring = session._intake.feed.ring
        while session.status().counters.lost_ring == 0:
            held += ring.between(0.0, ring.captured)
        lost = session.status().counters.lost_ring
        full_s = session.clock()
        wait_for(lambda: session.clock() > full_s + 0.6)
        status = session.status()
        assert status.counters.lost_ring > lost
        assert not any("does not answer" in words for words in status.words)
        for lease in held:
            lease.release()

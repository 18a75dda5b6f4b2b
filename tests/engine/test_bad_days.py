"""Bad days over real sockets and files: what is said, what goes on, what is kept."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from support.fault_table import Fault
from support.live_stream import LiveStream, catching, numbers_grow, pictures
from support.mjpeg_server import MjpegServer
from support.scripted_source import ScriptedSource, info
from support.waiting import wait_for

from liveview.engine.session import Session
from liveview.model import SessionState, SourceKind
from liveview.settings import Settings


@pytest.mark.slow
@pytest.mark.fault(
    "a network camera is unplugged during an event, and comes back",
    says="trying again",
    then="the event is kept, marked incomplete; the picture comes back by itself, "
    "frame numbers go on",
)
def test_unplugged_and_back(tmp_path: Path, fault: Fault, monkeypatch) -> None:
    monkeypatch.setattr("liveview.engine.eventbuilder.HOLE_S", 0.3)
    with LiveStream(tmp_path, catching(post_trigger_s=30)) as live:
        live.session.trigger()
        live.runs()
        live.server.refuse(True)
        live.server.drop()
        live.is_in(SessionState.STALLED)
        live.said(fault.says)
        with live.kept(0) as event:
            assert not event.complete
            assert len(event) > 5
            last = event.stamps[-1].number
        live.server.refuse(False)
        live.runs()
        assert fault.says not in live.words
        live.session.apply(catching())
        with live.event() as event:
            assert event.complete
            assert numbers_grow(event)
            assert event.stamps[0].number > last


@pytest.mark.slow
@pytest.mark.fault(
    "the stream stalls: the connection stays, nothing comes",
    says="no picture came for 0.4 s: trying again",
    then="opened again until it delivers; the picture stays on the screen meanwhile",
)
def test_stalled(tmp_path: Path, fault: Fault) -> None:
    with LiveStream(tmp_path) as live:
        wait_for(lambda: live.session.newest() is not None)
        live.server.stall()
        live.said(fault.says)
        assert live.session.newest() is not None
        live.server.go_on()
        live.runs()
        assert fault.says not in live.words


@pytest.mark.slow
@pytest.mark.fault(
    "a network camera sends the same picture again and again",
    says="the stream has repeated the same picture",
    then="opened again; a stream that never changes (a still) is let pass",
)
def test_frozen(tmp_path: Path, fault: Fault) -> None:
    ahead_s = 0.0

    def clock() -> float:  # three seconds of the same picture go by at once
        return time.monotonic() + ahead_s

    with LiveStream(tmp_path, clock=clock) as live:
        live.server.show(pictures()[:1])
        live.runs(40)
        ahead_s = 10.0
        live.said(fault.says)
        live.runs(60)
        assert fault.says not in live.words


@pytest.mark.slow
@pytest.mark.fault(
    "the stream changes its size",
    says="opening it again",
    then="goes on at the new size with a new memory; the event under way is kept, incomplete",
)
def test_other_size(tmp_path: Path, fault: Fault) -> None:
    with LiveStream(tmp_path, catching(post_trigger_s=30)) as live:
        live.session.trigger()
        live.runs()
        live.server.hold(True)
        live.server.show(pictures((96, 128)))
        live.said(fault.says)
        live.server.hold(False)
        wait_for(lambda: live.session.status().source.shape == (96, 128))
        live.runs()
        with live.kept(0) as event:
            assert not event.complete
            assert event.frame(0).pixels.shape == (120, 160)
        live.session.apply(catching())
        with live.event() as event:
            assert event.complete
            assert event.frame(0).pixels.shape == (96, 128)


@pytest.mark.slow
@pytest.mark.fault(
    "rubbish in place of JPEG, a few pictures long",
    says="5 damaged pictures of the stream left out",
    then="left out and counted as lost; an event around them has the gap in its frame numbers",
)
def test_rubbish(tmp_path: Path, fault: Fault) -> None:
    with LiveStream(tmp_path, catching(post_trigger_s=0.6)) as live:
        live.session.trigger()
        live.runs(3)
        live.server.spoil(5)
        live.said(fault.says)
        assert live.session.status().counters.lost_source == 5
        with live.kept(0) as event:
            assert event.complete
            assert sum(event.lost_before) == 5


@pytest.mark.slow
@pytest.mark.fault(
    "the computer's clock jumps back by an hour",
    says="(nothing)",
    then="frame times are of a clock that cannot jump; "
    "names and dates follow the clock, none is used twice",
)
def test_wall_clock_back(tmp_path: Path, fault: Fault) -> None:
    wall_s = 1.9e9 + 3600

    with LiveStream(tmp_path, wall=lambda: wall_s) as live:
        with live.event() as before:
            pass
        wall_s -= 3600
        live.runs(30)
        with live.event() as after, live.event() as same_second:
            assert after.stamps[0].time_s > before.stamps[0].time_s
            assert numbers_grow(after)
            apart_s = before.start.wall_minus_session_s - after.start.wall_minus_session_s
            assert apart_s == pytest.approx(3600, abs=60)
        assert len({before.path, after.path, same_second.path}) == 3
        assert live.words == ""


@pytest.mark.slow
@pytest.mark.fault(
    "the computer goes to sleep for eight hours during an event, and wakes",
    says="trying again",
    then="the event ends before the hole, incomplete; the rate is measured anew, "
    "the next event has none of the old frames and the time of day is right",
)
def test_sleep_and_wake(tmp_path: Path, fault: Fault, monkeypatch) -> None:
    asleep_s = 0.0

    def clock() -> float:
        return time.monotonic() + asleep_s

    with LiveStream(
        tmp_path, catching(post_trigger_s=30), clock=clock, wall=lambda: 1.9e9 + clock()
    ) as live:
        live.session.trigger()
        live.runs()
        live.server.stall()
        asleep_s = 8 * 3600.0
        live.said(fault.says)
        live.server.go_on()
        live.runs(20)
        with live.kept(0) as event:
            assert not event.complete
            assert event.duration_s < 60
            before = event.start
        status = live.session.status()
        assert status.rate_hz is not None
        assert status.rate_hz > 10
        live.session.apply(catching())
        with live.event() as event:
            assert event.complete
            assert event.duration_s < 2
            slept = event.stamps[0].time_s - before.spotted.time_s
            assert slept == pytest.approx(8 * 3600, abs=60)
            assert event.start.started_at[:10] > before.started_at[:10] or (
                event.start.started_at[11:13] != before.started_at[11:13]
            )


@pytest.mark.slow
@pytest.mark.fault(
    "frames go on after a hole of hours, without an error of the source",
    says="(nothing)",
    then="an event under way ends before the hole, incomplete; the rate is measured anew",
)
def test_hole_without_an_error(tmp_path: Path, fault: Fault) -> None:
    hole_s = 0.0

    def make(server: MjpegServer, clock: Callable[[], float]) -> ScriptedSource:
        says = info(64, 48, rate_hz=100.0, kind=SourceKind.CAMERA)
        frames = [np.full((48, 64), 90 + k, np.uint8) for k in range(8)]
        return ScriptedSource(says, (frames[k % 8] for k in range(100_000)), clock, paced=False)

    def clock() -> float:
        time.sleep(0.005)
        return time.monotonic() + hole_s

    with LiveStream(tmp_path, catching(post_trigger_s=30), clock=clock, make=make) as live:
        live.session.trigger()
        live.runs(20)
        hole_s = 4 * 3600.0
        with live.kept(0) as event:
            assert not event.complete
            assert event.duration_s < 60
        live.runs(60)
        assert live.session.status().rate_hz > 10


@pytest.mark.slow
@pytest.mark.fault(
    "a network camera for one program is used by another program",
    says="cannot be opened",
    then="said at opening; free again, it is opened like any other",
)
def test_two_programs(tmp_path: Path, fault: Fault) -> None:
    with LiveStream(tmp_path) as first:
        first.server.refuse(True)
        second = Session(Settings(), lambda: first._stream(first.server, time.monotonic))
        second.start()
        try:
            wait_for(lambda: second.status().state is SessionState.FAILED)
            assert fault.says in second.status().words[0]
        finally:
            second.stop(4.0)
        first.runs()
        first.server.refuse(False)
        third = Session(Settings(), lambda: first._stream(first.server, time.monotonic))
        third.start()
        try:
            wait_for(lambda: third.status().state is SessionState.RUNNING)
        finally:
            third.stop(4.0)


SMALL_MEMORY = """
import resource, sys, time
from liveview.engine.clock import SessionClock
from liveview.engine.session import Session
from liveview.engine.memory import fitting_ring
from liveview.settings import Settings
from liveview.sources import Input
clock = SessionClock()
small = {"width": 320, "height": 240, "rate_hz": 30.0}
settings = Settings().replaced("store", ring_mb=1000).replaced("camera", **small)
bench = Input("simulated", settings, clock=clock, live=True)
session = Session(settings, bench.frames, clock=clock)
import liveview.engine.chain, scipy.ndimage
used = int(open("/proc/self/statm").read().split()[0]) * resource.getpagesize()
most = used + int(700e6)
resource.setrlimit(resource.RLIMIT_AS, (most, most))
session.start()
end = time.monotonic() + 30
while session.status().counters.captured < 20 and time.monotonic() < end:
    time.sleep(0.05)
status = session.status()
session.stop()
print(status.state.value, *status.words, sep="\\n")
"""


@pytest.mark.slow
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the limit is Linux's")
@pytest.mark.fault(
    "the system gives less memory than the settings want",
    says="the system gives no more",
    then="the memory of the newest frames is halved until it fits",
)
def test_less_memory(fault: Fault) -> None:
    result = subprocess.run(
        [sys.executable, "-c", SMALL_MEMORY], capture_output=True, text=True, timeout=90, check=True
    )
    assert result.stdout.startswith("running")
    assert fault.says in result.stdout
    assert "Traceback" not in result.stderr

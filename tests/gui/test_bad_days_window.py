"""Bad days as the person at the window meets them; capture and catching go on."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PyQt6.QtWidgets import QApplication
from support.fault_table import Fault
from support.program import environment, show_and_end
from support.scripted_source import ScriptedSource, info
from support.window_rig import HEIGHT, RATE, WIDTH, WindowRig, disc_frames

from liveview.engine.clock import SessionClock
from liveview.engine.session import Session
from liveview.model import SourceKind
from liveview.recorder import Recorder, StoredEvent
from liveview.settings import Settings

READ_ONLY = Path("/sys/liveview")
"""A place where the system itself makes no folders, for nobody."""

linux = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="needs Linux's /sys")


class Bench:
    """A window, its session on a scripted camera, and a recorder on real files."""

    def __init__(self, app: QApplication, folder: Path) -> None:
        self.settings = (
            Settings()
            .replaced("store", ring_mb=64, reserve_mb=0)
            .replaced("catch", pre_trigger_s=0.3, post_trigger_s=0.3)
        )
        self.recorder = Recorder(self.settings.store, folder=folder, retry_s=0.1)
        self.rig = WindowRig(app, self.build, settings=self.settings)
        self.rig.first_picture()

    def build(self, address: str, settings: Settings) -> Session:
        clock = SessionClock()
        says = info(WIDTH, HEIGHT, rate_hz=RATE, kind=SourceKind.CAMERA, transfer="linear")
        return Session(
            settings,
            lambda: ScriptedSource(says, disc_frames(), clock),
            sink=self.recorder,
            store_status=self.recorder.status,
            clock=clock,
        )

    def words(self) -> str:
        """All that stands on the page."""
        page = self.rig.window.page
        blocks = (page.blade, page.notices, page.catch, page.verdict, self.rig.window.answer)
        return "\n".join(block.words() for block in blocks)

    def close(self) -> None:
        self.rig.close()
        self.recorder.close()


@pytest.fixture
def bench(app: QApplication, tmp_path: Path) -> Iterator[Callable[..., Bench]]:
    """Opens windows that are closed after the test."""
    made: list[Bench] = []

    def make(folder: Path = tmp_path / "events") -> Bench:
        made.append(Bench(app, folder))
        return made[-1]

    yield make
    for one in made:
        one.close()


def whole(event: StoredEvent) -> bool:
    """True when every frame from the first to the last is there."""
    numbers = [stamp.number for stamp in event.stamps]
    return event.complete and numbers == list(range(numbers[0], numbers[-1] + 1))


@pytest.mark.slow
@pytest.mark.fault(
    "the window is hidden or the screen is locked: nothing is painted",
    says="(nothing)",
    then="every frame is captured and watched, events are kept whole; "
    "shown again, the picture is the newest",
)
def test_hidden(bench: Callable[..., Bench], fault: Fault) -> None:
    one = bench()
    rig = one.rig
    rig.window.hide()
    before = rig.session.status().counters
    until = time.monotonic() + 1.5
    rig.wait(lambda: time.monotonic() > until)
    rig.session.trigger()
    rig.wait(lambda: bool(one.recorder.events) and one.recorder.events[0].finished)
    after = rig.session.status().counters
    assert after.captured - before.captured > RATE
    assert after.missed_watch == after.lost_ring == 0
    with StoredEvent.open(one.recorder.events[0].path) as event:
        assert whole(event)
    rig.window.show()
    newest = rig.session.newest().stamp.number
    rig.wait(lambda: rig.window.page.dial.picture.reading.stamp.number > newest)


@pytest.mark.slow
@pytest.mark.fault(
    "the window itself is held up for seconds",
    says="(nothing)",
    then="capture, watching and keeping go on in their own threads; no frame is lost",
)
def test_held_up(bench: Callable[..., Bench], fault: Fault) -> None:
    one = bench()
    session = one.rig.session
    before = session.status().counters.captured
    session.trigger()
    time.sleep(2.0)  # in the window's own thread
    status = session.status()
    assert status.counters.captured - before > RATE
    assert status.counters.missed_watch == status.counters.lost_ring == 0
    one.rig.wait(lambda: bool(one.recorder.events) and one.recorder.events[0].finished)
    with StoredEvent.open(one.recorder.events[0].path) as event:
        assert whole(event)


@pytest.mark.slow
@linux
@pytest.mark.fault(
    "the folder of events is read-only",
    says="frames stay in memory: mend it or save them elsewhere",
    then="said in the window; the picture goes on; saved elsewhere, the event is whole",
)
def test_read_only_folder(bench: Callable[..., Bench], fault: Fault, tmp_path: Path) -> None:
    one = bench(READ_ONLY)
    one.rig.session.trigger()
    one.rig.wait(lambda: fault.says in one.words())
    assert str(READ_ONLY) in one.words()
    seen = one.rig.session.newest().stamp.number
    one.rig.wait(lambda: one.rig.session.newest().stamp.number > seen)
    one.recorder.save_pending(tmp_path / "elsewhere")
    one.rig.wait(lambda: bool(one.recorder.events) and one.recorder.events[0].finished)
    one.rig.wait(lambda: fault.says not in one.words())
    with StoredEvent.open(one.recorder.events[0].path) as event:
        assert event.path.parent == tmp_path / "elsewhere"
        assert whole(event)


@pytest.mark.slow
@linux
@pytest.mark.fault(
    "the whole home is read-only",
    says="(nothing)",
    then="the program starts, shows the picture and ends as always; "
    "an event says that its folder cannot be made",
)
def test_read_only_home(tmp_path: Path, display: str, fault: Fault) -> None:
    seen = tmp_path / "first-picture"
    homes = ("CONFIG_HOME", "DATA_HOME", "STATE_HOME", "CACHE_HOME")
    private = {f"XDG_{name}": str(READ_ONLY / name) for name in homes}
    env = environment(HOME=str(READ_ONLY), XDG_VIDEOS_DIR=None, **private)
    code, errors = show_and_end("--source", "simulated", env=env, seen=seen)
    assert code == 0, errors
    assert errors.strip() == ""

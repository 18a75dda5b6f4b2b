"""The recorder's own manners: calls in order, names, words, its end."""

from __future__ import annotations

import pytest
from support.fault_table import Fault
from support.waiting import wait_for

from liveview.errors import BadRequest
from liveview.recorder import Recorder, StoredEvent, recover
from liveview.recorder.inbox import FrameItem, Inbox
from liveview.settings import Store


@pytest.mark.slow
def test_names_never_collide(kit) -> None:
    paths = [kit.record(kit.make(2)).name for _ in range(3)]
    stem = "2031-05-06_07-08-10_flash"
    assert paths == [stem, f"{stem}_2", f"{stem}_3"]


@pytest.mark.slow
def test_an_event_cut_short_says_so(kit) -> None:
    with StoredEvent.open(kit.record(kit.make(), complete=False)) as event:
        assert not event.complete


def test_calls_out_of_order_are_refused(kit) -> None:
    recorder = Recorder(kit.store, folder=kit.folder)
    try:
        made = kit.make(2)
        with pytest.raises(RuntimeError):
            recorder.add_frame(made.leases[0])
        assert made.leases[0].released == 1
        recorder.begin(made.start)
        with pytest.raises(RuntimeError):
            recorder.begin(made.start)
    finally:
        recorder.close()


def test_a_wrong_pattern_is_refused_at_once(kit) -> None:
    with pytest.raises(BadRequest, match="unknown field"):
        Recorder(Store(name="{when}"), folder=kit.folder)


@pytest.mark.slow
def test_a_recording_waits_instead_of_losing_frames(kit) -> None:
    made = kit.make(60, (512, 1024), blocks=0)
    store = Store(reserve_mb=0, ring_mb=8)
    recorder = Recorder(store, folder=kit.folder, when_full="wait")
    try:
        recorder.begin(made.start)
        for lease in made.leases:
            recorder.add_frame(lease)
        recorder.end(True)
        assert recorder.drain(60.0)
        with StoredEvent.open(recorder.events[-1].path) as event:
            assert len(event) == 60
    finally:
        recorder.close()


@pytest.mark.slow
def test_close_leaves_spools_for_the_next_start(kit) -> None:
    made = kit.make(150, (400, 600))
    recorder = Recorder(kit.store, folder=kit.folder)
    kit.feed(recorder, made)
    wait_for(lambda: recorder.status().waiting_frames == 0 and bool(recorder.events))
    recorder.close()
    assert [e.name.endswith(".part") for e in kit.folder.iterdir()] == [True]
    (done,) = recover(kit.folder)
    assert done.path is not None
    with StoredEvent.open(done.path) as event:
        kit.assert_same(event, made)
        assert event.complete


@pytest.mark.slow
@pytest.mark.fault(
    "a frame of another size inside an event",
    says="left out of the event",
    then="the others are kept",
)
def test_a_frame_of_another_size_is_left_out_and_said(kit, fault: Fault) -> None:
    made, other = kit.make(4), kit.make(1, (20, 30))
    recorder = Recorder(kit.store, folder=kit.folder)
    try:
        recorder.begin(made.start)
        recorder.add_frame(made.leases[0])
        recorder.add_frame(other.leases[0])
        recorder.add_frame(made.leases[1])
        recorder.end(True)
        assert recorder.drain(20.0)
        assert f"{fault.says}: frame 100 is (20, 30)" in recorder.status().words[-1]
        with StoredEvent.open(recorder.events[-1].path) as event:
            assert [f.number for f in event.frames()] == [100, 101]
    finally:
        recorder.close()


def test_a_writer_that_fails_says_so_and_takes_nothing_more(kit, monkeypatch) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("a fault of ours")

    monkeypatch.setattr("liveview.recorder.writer.EventWriter.handle", broken)
    made = kit.make(3)
    recorder = Recorder(kit.store, folder=kit.folder)
    recorder.begin(made.start)
    wait_for(lambda: bool(recorder.status().words))
    assert "no longer kept" in recorder.status().words[-1]
    recorder.add_frame(made.leases[0])
    assert made.leases[0].released == 1
    with pytest.raises(ZeroDivisionError):
        recorder.close()


def test_calls_without_an_event_are_refused_and_give_the_frame_back(kit) -> None:
    made = kit.make(1)
    recorder = Recorder(kit.store, folder=kit.folder)
    try:
        with pytest.raises(RuntimeError, match="no event is open"):
            recorder.add_frame(made.leases[0])
        assert made.leases[0].released == 1
        for call in (lambda: recorder.add_sound(made.blocks[0]), lambda: recorder.end(True)):
            with pytest.raises(RuntimeError, match="no event is open"):
                call()
    finally:
        recorder.close()


class TestWordsOfAnEmptyEvent:
    """An event without a frame is removed; the words about it do not stay for good."""

    def empty(self, recorder: Recorder, made) -> None:
        recorder.begin(made.start)
        recorder.end(complete=False)
        wait_for(lambda: any("held nothing" in words for words in recorder.status().words), 10)

    @pytest.mark.slow
    def test_they_go_after_a_while(self, kit, monkeypatch) -> None:
        monkeypatch.setattr("liveview.recorder.recorder.PASSING_S", 0.3)
        recorder = Recorder(kit.store, folder=kit.folder)
        try:
            self.empty(recorder, kit.make())
            wait_for(lambda: not recorder.status().words, 10)
            assert recorder.status().newest is None
        finally:
            recorder.close()

    @pytest.mark.slow
    def test_they_go_with_the_next_event(self, kit) -> None:
        recorder, made = Recorder(kit.store, folder=kit.folder), kit.make()
        try:
            self.empty(recorder, made)
            recorder.begin(made.start)
            assert not recorder.status().words
            for lease in made.leases:
                recorder.add_frame(lease)
            recorder.end(complete=True)
            assert recorder.drain(20)
            assert recorder.status().events_kept == 1
            assert [event.path.is_dir() for event in recorder.events] == [True]
        finally:
            recorder.close()


@pytest.mark.parametrize("when_full", ["drop", "wait"])
def test_a_frame_larger_than_the_memory_for_waiting_ones_is_taken_alone(kit, when_full) -> None:
    made = kit.make(2, (16, 16), blocks=0)
    inbox = Inbox(100, when_full)
    first, second = (FrameItem(lease, 256) for lease in made.leases)
    assert inbox.put(first)
    if when_full == "drop":
        assert not inbox.put(second)
    inbox.done()
    assert inbox.put(second)


def test_drain_waits_once_for_both_queues(kit, monkeypatch) -> None:
    """What writing took of the time is not given to compressing a second time."""
    recorder = Recorder(kit.store, folder=kit.folder)
    given = []
    times = iter((100.0, 107.0))
    monkeypatch.setattr("liveview.recorder.recorder.time.monotonic", lambda: next(times))
    monkeypatch.setattr(recorder._inbox, "wait_until_empty", lambda limit_s: True)
    monkeypatch.setattr(recorder._converter, "wait_until_done", lambda s: given.append(s) or True)
    assert recorder.drain(10.0)
    monkeypatch.undo()
    assert given == [3.0]
    recorder.close()

"""Conversions run in a process of their own, and nothing is lost when that process is."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import psutil
import pytest

from liveview.recorder import Recorder, StoredEvent, converter, recover
from liveview.settings import Store

KILLED = Path(__file__).with_name("killed.py")


def beside(pid: int | None = None) -> psutil.Process | None:
    """The process that converts for a program."""
    for child in psutil.Process(pid).children():
        if "liveview.recorder.aside_process" in child.cmdline():
            return child
    return None


def wait(what: Callable[[], object], seconds: float = 90.0) -> None:
    end = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < end, "it did not come to it"
        time.sleep(0.01)


def converting(kit, recorder: Recorder, made) -> psutil.Process:
    """Record an event and wait until the process is in the middle of it."""
    kit.feed(recorder, made)
    wait(lambda: list(kit.folder.glob("*.part/frames.mkv")))
    process = beside()
    assert process is not None
    return process


@pytest.mark.slow
def test_one_process_gives_way_to_all_others_and_ends_with_the_recorder(kit) -> None:
    recorder = Recorder(kit.store, folder=kit.folder)
    try:
        assert beside() is None
        for _ in range(2):
            kit.feed(recorder, kit.make())
            assert recorder.drain(30.0)
        process = beside()
        assert process is not None
        if sys.platform == "linux":
            assert process.nice() == 15
    finally:
        recorder.close()
    assert not process.is_running()


@pytest.mark.slow
def test_an_event_whose_conversion_was_killed_is_converted_again(kit, monkeypatch) -> None:
    monkeypatch.setattr(converter, "RETRY_S", 1.0)
    made = kit.make(600, (240, 320))  # takes seconds: there is time to kill it
    recorder = Recorder(Store(reserve_mb=0, ring_mb=256), folder=kit.folder)
    try:
        converting(kit, recorder, made).kill()
        wait(lambda: any("ended with signal 9" in words for words in recorder.status().words))
        wait(lambda: recorder.events)
        with StoredEvent.open(recorder.events[-1].path) as event:
            kit.assert_same(event, made)
    finally:
        recorder.close()


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no process is stopped there")
def test_closing_does_not_wait_for_one_that_is_held_up(kit) -> None:
    made = kit.make(600, (240, 320))
    recorder = Recorder(Store(reserve_mb=0, ring_mb=256), folder=kit.folder)
    try:
        process = converting(kit, recorder, made)
        process.suspend()
    finally:
        recorder.close(4.0)
    assert not process.is_running()
    (again,) = recover(kit.folder)
    assert again.path is not None, again.words
    with StoredEvent.open(again.path) as event:
        kit.assert_same(event, made)


def test_where_no_process_can_be_started_the_thread_converts(kit, monkeypatch) -> None:
    monkeypatch.setattr(sys, "executable", str(kit.folder / "no python"))
    made = kit.make()
    with StoredEvent.open(kit.record(made)) as event:
        kit.assert_same(event, made)


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="kill is no signal there")
def test_it_does_not_outlive_a_killed_program(tmp_path: Path) -> None:
    program = subprocess.Popen([sys.executable, str(KILLED), str(tmp_path)], stdout=subprocess.PIPE)
    assert program.stdout is not None
    with program.stdout:
        found: list[psutil.Process] = []

        def has_one() -> bool:
            process = beside(program.pid)
            found.extend([process] if process is not None else [])
            return bool(found)

        wait(has_one)
        program.kill()
        program.stdout.read()
        program.wait()
    wait(lambda: not found[0].is_running())

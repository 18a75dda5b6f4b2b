"""The one way to own a thread."""

from __future__ import annotations

import threading

import pytest

from liveview.errors import WorkerStuck
from liveview.worker import Worker


def test_runs_until_asked_and_finishes_once():
    ends: list[BaseException | None] = []
    worker = Worker("patient", lambda stop: stop.wait() and None, on_finish=ends.append)
    assert not worker.alive
    worker.start()
    assert worker.alive
    assert worker.name == "patient"
    worker.stop()
    worker.stop()
    assert not worker.alive
    assert ends == [None]
    worker.raise_error()


def test_error_of_the_body_is_handed_over():
    ends: list[BaseException | None] = []

    def body(stop: threading.Event) -> None:
        raise ValueError("broken")

    worker = Worker("failing", body, on_finish=ends.append)
    worker.start()
    worker.join(2)
    assert ends == [worker.error]
    with pytest.raises(ValueError, match="broken"):
        worker.raise_error()


def test_body_on_a_condition_is_woken():
    condition = threading.Condition()

    def body(stop: threading.Event) -> None:
        with condition:
            condition.wait_for(stop.is_set)

    def wake() -> None:
        with condition:
            condition.notify_all()

    worker = Worker("waiting", body, wake=wake)
    worker.start()
    worker.stop()
    assert not worker.alive


def test_stuck_body_is_reported_and_not_waited_for():
    let_go = threading.Event()
    worker = Worker("driver", lambda stop: let_go.wait() and None)
    worker.start()
    with pytest.raises(WorkerStuck, match="driver"):
        worker.stop(0.05)
    assert worker.alive
    let_go.set()
    worker.join(2)


def test_join_before_start_is_harmless():
    Worker("never", lambda stop: None).stop()

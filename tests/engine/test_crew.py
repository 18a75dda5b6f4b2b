"""The session's threads as one crew."""

from __future__ import annotations

import sys
import threading

import pytest

from liveview.engine.board import Board
from liveview.engine.crew import SWITCH_INTERVAL_S, Crew
from liveview.errors import WorkerStuck
from liveview.worker import Worker


def test_all_stop_though_one_hangs_and_the_screen_says_which() -> None:
    let_go = threading.Event()
    board, ends = Board(), []

    def obeys(stop: threading.Event) -> None:
        stop.wait()

    workers = [
        Worker("capture", obeys, on_finish=lambda error: ends.append("capture")),
        Worker("sound", lambda stop: let_go.wait() and None),
        Worker("chain", obeys, on_finish=lambda error: ends.append("chain")),
    ]
    guest = Worker("check", obeys, on_finish=lambda error: ends.append("check"))
    crew = Crew(workers, board)
    crew.start()
    guest.start()
    crew.take_on(guest)
    try:
        with pytest.raises(WorkerStuck):
            crew.stop(0.2)
        assert sorted(ends) == ["capture", "chain", "check"]
        assert len(board.words()) == 1
        assert "sound" in board.words()[0]
    finally:
        let_go.set()
        workers[1].join(10.0)


def test_the_interpreter_is_hurried_only_while_they_run() -> None:
    before = sys.getswitchinterval()
    crew = Crew([Worker("one", lambda stop: stop.wait() and None)], Board())
    crew.start()
    assert sys.getswitchinterval() == pytest.approx(min(before, SWITCH_INTERVAL_S), rel=1e-3)
    crew.stop(10.0)
    assert sys.getswitchinterval() == before

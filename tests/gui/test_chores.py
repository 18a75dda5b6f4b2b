"""Costly refreshes take turns beside the pictures."""

from __future__ import annotations

from liveview.gui.chores import Chores


class Hand:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


def made(clock: Hand, *periods: float) -> tuple[Chores, list[int]]:
    chores, done = Chores(clock), []
    for k, period in enumerate(periods):
        chores.add(str(k), period, lambda k=k: done.append(k))
    return chores, done


def test_one_picture_carries_one_chore_and_each_has_its_turn() -> None:
    clock = Hand()
    chores, done = made(clock, 0.1, 0.1, 0.1)
    for _ in range(4):
        chores.with_picture()
    assert done == [0, 1, 2]


def test_a_chore_is_not_done_again_within_its_period() -> None:
    clock = Hand()
    chores, done = made(clock, 0.1)
    chores.with_picture()
    chores.want("0")
    clock.now += 0.05
    chores.with_picture()
    assert done == [0]
    clock.now += 0.06
    chores.with_picture()
    assert done == [0, 0]


def test_what_nobody_wants_is_not_done() -> None:
    clock = Hand()
    chores, done = made(clock, 0.1)
    chores.with_picture()
    clock.now += 10.0
    chores.with_picture()
    assert done == [0]


def test_the_one_due_longest_comes_first() -> None:
    clock = Hand()
    chores, done = made(clock, 0.5, 0.1)
    for _ in range(2):
        chores.with_picture()
    clock.now += 1.0
    chores.want("0", "1")
    chores.with_picture()
    assert done == [0, 1, 1]


def test_all_are_done_when_no_picture_comes_and_none_beside_pictures() -> None:
    clock = Hand()
    chores, done = made(clock, 0.1, 9.0)
    chores.without_picture()
    assert done == [0, 1]
    chores.want("0", "1")
    chores.with_picture()
    chores.without_picture()
    assert done == [0, 1]
    clock.now += 0.3
    chores.without_picture()
    assert done == [0, 1, 0, 1]

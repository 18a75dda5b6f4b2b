"""The replay model: time in, frame out."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from liveview.review.player import RATES, Player, parse_rate, rate_words

TIMES = [5.0 + index * 0.01 for index in range(11)]


def test_plays_slowly_and_stops_at_the_end() -> None:
    player = Player.of(TIMES).play()
    assert player.words == "1/40 of real time"
    shown = []
    for _ in range(600):
        player = player.advance(1 / 60)
        shown.append(player.index)
    # 0.1 s of event at 1/40 is 4 s; the last frame stays for one more step of 0.4 s
    assert shown[int(2.0 * 60)] == 5
    assert shown[-1] == 10 and not player.playing
    assert all(b - a in (0, 1) for a, b in pairwise(shown))


def test_plays_again_from_the_start() -> None:
    player = Player.of(TIMES, at=10).play()
    assert player.index == 0 and player.playing


def test_loops_within_a_stretch() -> None:
    player = replace(Player.of(TIMES, 3).between(3, 6), loop=True, rate=Fraction(1)).play()
    seen = set()
    for _ in range(200):
        player = player.advance(0.003)
        seen.add(player.index)
    assert seen == {3, 4, 5, 6} and player.playing


def test_steps_stop_and_clip() -> None:
    player = Player.of(TIMES).play().step(3)
    assert player.index == 3 and not player.playing
    assert player.step(-99).index == 0 and player.step(99).index == 10


def test_steps_through_equal_times() -> None:
    player = Player.of([1.0, 1.0, 1.0, 2.0])
    assert [player.step(n).index for n in range(4)] == [0, 1, 2, 3]
    assert player.step(2).step(-1).index == 1


def test_seek_time_and_one_frame() -> None:
    assert Player.of(TIMES).seek_time(5.034).index == 3
    assert Player.of(TIMES).seek_time(99).index == 10
    one = Player.of([7.0]).play().advance(0.1)
    assert one.index == 0 and not one.playing


def test_faster_and_slower_stay_in_the_list() -> None:
    player = Player.of(TIMES)
    assert player.faster().rate == Fraction(1, 20)
    assert player.faster(-1).rate == Fraction(1, 100)
    assert player.faster(99).rate == RATES[-1] and player.faster(-99).rate == RATES[0]
    assert player.faster(99).faster(1).rate == RATES[-1]


@pytest.mark.parametrize(
    ("rate", "words"),
    [
        (Fraction(1, 40), "1/40 of real time"),
        (1, "real time"),
        (2, "2 times real time"),
        (0.3, "0.3 of real time"),
    ],
)
def test_rates_in_words(rate, words) -> None:
    assert rate_words(rate) == words


@pytest.mark.parametrize("text", ["", "x", "0", "-1", "1/0", "nan", "1e9"])
def test_wrong_rates(text) -> None:
    with pytest.raises(ValueError):
        parse_rate(text)
    assert parse_rate("1/40") == Fraction(1, 40)


@given(
    st.lists(st.floats(0, 0.1), min_size=1, max_size=30),
    st.lists(st.tuples(st.sampled_from("psaknf"), st.integers(-3, 40)), max_size=30),
)
def test_never_leaves_the_event(steps, actions) -> None:
    times, total = [], 0.0
    for step in steps:
        total += step
        times.append(total)
    player = Player.of(times)
    for action, n in actions:
        match action:
            case "p":
                player = player.play()
            case "s":
                player = player.stop()
            case "a":
                player = player.advance(n / 10)
            case "k":
                player = player.step(n)
            case "n":
                player = player.seek_time(n / 10)
            case "f":
                player = player.faster(n)
        assert 0 <= player.index < len(times)
        assert times[0] <= player.position_s <= times[-1] + 0.11


@pytest.mark.parametrize("loop", [False, True])
def test_no_frame_beyond_the_stretch(loop: bool) -> None:
    """The last frame of the stretch is due for longer than until the one after it begins."""
    player = replace(Player.of([0.0, 0.02, 0.03, 0.05]).between(0, 1), loop=loop, rate=Fraction(1))
    player = player.play()
    shown = set()
    for _ in range(100):
        player = player.advance(0.001)
        shown.add(player.index)
    assert shown == {0, 1}
    assert player.playing == loop

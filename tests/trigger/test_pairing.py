"""What was seen and what was heard of the same spark."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from liveview.model import Cause, Spotted
from liveview.trigger.pairing import SLACK_S, Pairing


def flash(time_s: float, error_s: float = 0.004) -> Spotted:
    return Spotted(time_s, error_s, Cause.FLASH, 20.0, frame=3, rows=(4, 9))


def crack(time_s: float, error_s: float = 0.0003) -> Spotted:
    return Spotted(time_s, error_s, Cause.SOUND, 12.0)


def test_off_passes_nothing_and_one_sense_its_own():
    assert Pairing("off").add(flash(1)) == ()
    assert Pairing("flash").add(flash(1)) == (flash(1),)
    assert Pairing("flash").add(crack(1)) == ()
    assert Pairing("sound").add(crack(1)) == (crack(1),)
    assert Pairing("sound").tick(9, 9) == ()


@pytest.mark.parametrize("order", [(flash(1), crack(1.005)), (crack(1.005), flash(1))])
def test_both_needs_both_in_either_order(order):
    pairing = Pairing("both")
    assert pairing.add(order[0]) == ()
    (joint,) = pairing.add(order[1])
    assert joint.cause is Cause.BOTH
    assert (joint.frame, joint.rows) == (3, (4, 9))
    assert joint.time_s == 1.005  # the crack's time is the surer one
    assert joint.strength == 20.0
    assert pairing.flush() == ()


def test_both_drops_what_stays_alone():
    pairing = Pairing("both")
    pairing.add(flash(1))
    pairing.add(crack(2))
    assert pairing.flush() == ()


def test_either_gives_a_confirmed_spark_once():
    pairing = Pairing("either")
    pairing.add(flash(1))
    assert [s.cause for s in pairing.add(crack(1.001))] == [Cause.BOTH]
    assert pairing.flush() == ()


def test_either_waits_until_the_other_sense_has_passed():
    pairing = Pairing("either")
    pairing.add(flash(1))
    assert pairing.tick(1.1, 0.9) == ()
    assert pairing.tick(1.2, 1.05) == (flash(1),)
    pairing.add(crack(2))
    assert pairing.tick(1.9, 2.2) == ()
    assert pairing.tick(2.1, 2.2) == (crack(2),)


def test_either_without_sound_is_flash_at_once():
    pairing = Pairing("either")
    pairing.add(flash(1))
    assert pairing.tick(1.05, None) == (flash(1),)


def test_either_does_not_wait_for_ever():
    pairing = Pairing("either")
    pairing.add(flash(1))
    assert pairing.tick(1.3, 0.5) == ()
    assert pairing.tick(1.6, 0.5) == (flash(1),)


def test_window_allows_for_the_distance():
    late = 1 + SLACK_S + 0.004
    assert Pairing("both").add(flash(1, 0.0001)) == ()
    near, far = Pairing("both", 0.0), Pairing("both", 0.010)
    for pairing in (near, far):
        pairing.add(flash(1, 0.0001))
    assert near.add(crack(late, 0.0001)) == ()
    assert len(far.add(crack(late, 0.0001))) == 1


def test_nearest_partner_is_taken():
    pairing = Pairing("both")
    pairing.add(flash(1.000))
    pairing.add(flash(1.010))
    (joint,) = pairing.add(crack(1.009))
    assert joint.frame == 3
    assert [f.time_s for f in pairing._flashes] == [1.0]


def test_weak_spots_only_confirm():
    pairing = Pairing("either", least=15.0)
    assert pairing.add(crack(1)) == ()
    assert pairing.flush() == ()
    pairing.add(crack(2))
    assert [s.cause for s in pairing.add(flash(2.001))] == [Cause.BOTH]


@settings(max_examples=150, deadline=None)
@given(
    st.sampled_from(["flash", "sound", "either", "both"]),
    st.lists(st.tuples(st.booleans(), st.floats(0, 2)), max_size=40),
)
def test_nothing_passes_twice_and_either_loses_nothing(on, spots):
    pairing = Pairing(on)
    passed: list[Spotted] = []
    for is_flash, time_s in spots:
        passed += pairing.add(flash(time_s) if is_flash else crack(time_s))
        passed += pairing.tick(time_s, time_s)
    passed += pairing.flush()
    single = sum(1 for s in passed if s.cause is not Cause.BOTH)
    joint = len(passed) - single
    if on == "either":
        assert single + 2 * joint == len(spots)
    elif on == "both":
        assert single == 0
    else:
        assert joint == 0
        assert single == sum(is_flash == (on == "flash") for is_flash, _ in spots)

"""The arming state machine: each arrow of its diagram, and any order of anything."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from liveview.model import ArmState, Cause, Spotted
from liveview.trigger.arming import Action, Arming, Begin, End, Mark, Rules

RULES = Rules(
    pre_trigger_s=1, post_trigger_s=2, refractory_s=0.5, longest_event_s=5, learn_s=2, again=True
)


def spark(time_s: float, cause: Cause = Cause.FLASH) -> Spotted:
    return Spotted(time_s, 0.001, cause, 10.0)


def armed(rules: Rules = RULES) -> Arming:
    arming = Arming(rules)
    arming.arm(0.0)
    assert arming.state is ArmState.LEARNING
    arming.tick(1.0)
    assert arming.learnt == pytest.approx(0.5)
    assert arming.tick(2.0) == ()
    assert arming.state is ArmState.ARMED
    return arming


def test_off_catches_nothing():
    arming = Arming(RULES)
    assert arming.spot(spark(1), 1) == ()
    assert arming.state is ArmState.OFF


def test_learning_catches_nothing_and_sparks_from_then_stay_away():
    arming = Arming(RULES)
    arming.arm(0.0)
    assert arming.spot(spark(1), 1.1) == ()
    arming.tick(2.5)
    assert arming.spot(spark(1.9), 2.6) == ()
    assert arming.state is ArmState.ARMED


def test_arming_without_learning():
    arming = Arming(RULES)
    arming.arm(3.0, learn=False)
    assert arming.state is ArmState.ARMED
    assert arming.spot(spark(2.9), 3.1) == ()
    assert arming.spot(spark(3.0), 3.1) == (Begin(spark(3.0), 2.0),)


def test_one_spark_one_event():
    arming = armed()
    assert arming.spot(spark(10), 10.05) == (Begin(spark(10), 9),)
    assert arming.state is ArmState.CATCHING
    assert arming.tick(12.0) == ()
    assert arming.tick(12.01) == (End(True, 12.0),)
    assert arming.state is ArmState.ARMED


def test_single_shot_is_off_afterwards():
    arming = armed(Rules(post_trigger_s=2, learn_s=2, again=False))
    arming.spot(spark(10), 10)
    arming.tick(13)
    assert arming.state is ArmState.OFF


def test_burst_is_one_event_with_every_spark_marked():
    arming = armed()
    actions: list[Action] = []
    for i in range(100):
        actions += arming.spot(spark(10 + i / 100), 10 + i / 100)
    actions += arming.tick(20)
    assert [type(a) for a in actions] == [Begin] + 99 * [Mark] + [End]
    assert actions[-1] == End(True, pytest.approx(12.99))


def test_event_is_never_longer_than_the_longest():
    arming = armed()
    actions: list[Action] = []
    for i in range(60):
        actions += arming.spot(spark(10 + i / 10), 10 + i / 10)
    ends = [a for a in actions if isinstance(a, End)]
    assert ends == [End(True, 15.0)]
    begins = [a for a in actions if isinstance(a, Begin)]
    assert [b.spotted.time_s for b in begins] == pytest.approx([10, 15.5])


def test_refractory_time_holds_sparks_back_but_not_a_hand():
    arming = armed()
    arming.spot(spark(10), 10)
    arming.tick(12.1)
    assert arming.spot(spark(12.3), 12.3) == ()
    assert arming.hand(spark(12.35, Cause.HAND), 12.35)
    assert arming.state is ArmState.CATCHING


def test_late_news_of_a_spark_inside_the_event_still_marks_it():
    arming = armed()
    arming.spot(spark(10), 10)
    assert arming.spot(spark(11.9), 12.3) == (Mark(spark(11.9)),)
    assert arming.state is ArmState.CATCHING
    assert arming.tick(14) == (End(True, pytest.approx(13.9)),)


def test_spark_after_the_end_that_no_tick_announced():
    arming = armed()
    arming.spot(spark(10), 10)
    assert arming.spot(spark(13), 13) == (End(True, 12), Begin(spark(13), 12))


def test_hand_works_unarmed_and_returns_there():
    arming = Arming(RULES)
    assert arming.hand(spark(1, Cause.HAND), 1.0) == (Begin(spark(1, Cause.HAND), 0),)
    assert arming.tick(4) == (End(True, 3),)
    assert arming.state is ArmState.OFF


def test_disarm_cuts_short():
    arming = armed()
    arming.spot(spark(10), 10)
    assert arming.disarm(11) == (End(False, 11),)
    assert arming.state is ArmState.OFF


def test_cut_ends_short_and_stays_armed():
    arming = armed()
    arming.spot(spark(10), 10)
    assert arming.cut(11) == (End(False, 11),)
    assert arming.state is ArmState.ARMED
    assert arming.cut(11) == ()


def test_arming_while_catching_by_hand_is_armed_afterwards():
    arming = Arming(RULES)
    arming.hand(spark(1, Cause.HAND), 1.0)
    arming.arm(1.5)
    arming.tick(10)
    assert arming.state is ArmState.ARMED


def test_what_does_not_hold_any_more_is_learnt_anew():
    arming = armed()
    assert arming.relearn(5) == ()
    assert arming.state is ArmState.LEARNING
    assert arming.spot(spark(5.5), 5.6) == ()
    arming.tick(7.0)
    assert arming.state is ArmState.ARMED
    off = Arming(RULES)
    off.relearn(1)
    assert off.state is ArmState.OFF


def test_learning_anew_waits_for_the_end_of_an_event():
    arming = armed()
    arming.spot(spark(10), 10)
    assert arming.relearn(11) == ()
    assert arming.state is ArmState.CATCHING
    arming.arm(11.5)
    assert arming.tick(12.5) == (End(True, 12.0),)
    assert arming.state is ArmState.LEARNING
    arming.tick(14.0)
    assert arming.state is ArmState.ARMED


def carried_out(
    arming: Arming, what: str, spot: Spotted, now_s: float, rules: Rules
) -> tuple[Action, ...]:
    if what == "arm":
        return arming.arm(now_s)
    if what == "sure":
        return arming.arm(now_s, learn=False)
    if what in ("spot", "hand"):
        return getattr(arming, what)(spot, now_s)
    if what == "rules":
        arming.set_rules(rules)
        return ()
    return getattr(arming, what)(now_s)


STEPS = st.lists(
    st.tuples(
        st.sampled_from(
            ["arm", "sure", "relearn", "disarm", "spot", "hand", "tick", "cut", "rules"]
        ),
        st.floats(-0.5, 3.0),
        st.floats(-2.0, 0.5),
    ),
    max_size=60,
)
SOME_RULES = st.builds(
    Rules,
    pre_trigger_s=st.floats(0, 3),
    post_trigger_s=st.floats(0, 3),
    refractory_s=st.floats(0, 2),
    longest_event_s=st.floats(0.1, 6),
    learn_s=st.floats(0, 3),
    again=st.booleans(),
)


@pytest.mark.slow
@settings(max_examples=300, deadline=None)
@given(SOME_RULES, SOME_RULES, STEPS)
def test_any_order_of_spots_times_and_stops(rules, others, steps):
    """Begin and End alternate, marks lie inside, times are ordered, the state agrees."""
    arming = Arming(rules)
    now_s = 0.0
    is_open = False
    first_s = end_s = float("-inf")
    longest_s = max(rules.longest_event_s, others.longest_event_s)
    for what, ahead_s, ago_s in steps:
        now_s += ahead_s
        spot = spark(now_s + ago_s, Cause.HAND if what == "hand" else Cause.FLASH)
        actions = carried_out(arming, what, spot, now_s, others)
        for action in actions:
            if isinstance(action, Begin):
                assert not is_open
                is_open, first_s = True, action.spotted.time_s
                assert action.since_s <= first_s
                assert first_s >= end_s or action.spotted.cause is Cause.HAND
            elif isinstance(action, Mark):
                assert is_open
            else:
                assert is_open
                is_open, end_s = False, action.until_s
                assert end_s <= first_s + longest_s + 1e-9
        assert is_open == (arming.state is ArmState.CATCHING)
        assert is_open == (arming.until_s is not None)
        if what == "disarm":
            assert arming.state is ArmState.OFF
    arming.disarm(now_s)
    assert arming.tick(now_s + 100) == ()

"""Steps are left out in the declared order when the chain is late, and come back."""

from __future__ import annotations

from itertools import pairwise

from liveview.engine.budget import ORDER, WORDS, Budget, budget_for

COSTS = {"light": 1.0, "arrows": 4.0, "smooth": 3.0, "steady": 2.0, "gauges": 1.0}


def run(budget: Budget, frames: int, slow: float) -> list[tuple[str, ...]]:
    """Every step that is allowed costs its time, times ``slow``."""
    seen = []
    for _ in range(frames):
        costs = {step: slow * ms for step, ms in COSTS.items() if budget.allows(step)}
        budget.note(sum(costs.values()), costs)
        seen.append(budget.skipped)
    return seen


def test_all_is_done_in_time() -> None:
    assert run(Budget(13.0), 300, 1.0)[-1] == ()


def test_given_up_in_order_and_no_more_than_needed() -> None:
    budget = Budget(13.0)
    seen = run(budget, 300, 2.0)
    assert seen[0] == ()
    assert seen[-1] == ("arrows", "smooth")
    assert set(seen) == {(), ("arrows",), ("arrows", "smooth")}
    assert not budget.allows("smooth") and budget.allows("steady")


def test_comes_back_when_there_is_time() -> None:
    budget = Budget(13.0)
    run(budget, 300, 2.0)
    assert run(budget, 600, 0.5)[-1] == ()


def test_does_not_flutter() -> None:
    budget = Budget(13.0)
    seen = run(budget, 2000, 1.3)
    changes = sum(a != b for a, b in pairwise(seen))
    assert changes == 1


def test_steps_that_cost_nothing_are_not_given_up() -> None:
    budget = Budget(1.0)
    for _ in range(400):
        budget.note(50.0, {"light": 50.0})
    assert budget.skipped == ()


def test_recordings_are_never_hurried() -> None:
    assert budget_for(False, 240.0) is None
    assert run(Budget(None), 100, 1000.0)[-1] == ()


def test_budget_of_live_sources() -> None:
    # No screen shows more than sixty a second, however fast the camera is.
    assert budget_for(True, 240.0) == budget_for(True, 60.0) == budget_for(True, None)
    assert 25 < (budget_for(True, 30.0) or 0) < 33.4


def test_restart() -> None:
    budget = Budget(5.0)
    run(budget, 100, 2.0)
    budget.restart()
    assert budget.skipped == ()
    assert budget.budget_ms == 5.0


def test_every_step_has_words() -> None:
    assert set(WORDS) == set(ORDER)

"""The steps of a set-up turn true by measurement."""

from __future__ import annotations

from dataclasses import replace

from support.plain_frames import frame, info, reading

from liveview.engine.aids import AidsReading, AlignAids, Target
from liveview.engine.guide import Guide, Step, StepState
from liveview.imaging.focus import FocusReading
from liveview.imaging.mains import MainsRipple
from liveview.imaging.spot import Spot, Walk
from liveview.model import CalibrationKind, Reading
from liveview.settings import Settings


def state(states: tuple[StepState, ...], step: Step) -> StepState:
    return next(s for s in states if s.step is step)


def blade(number: int = 0, **values: float | None) -> Reading:
    base = reading(frame(number, 0.4))
    return replace(base, blade=replace(base.blade, **values))


def test_every_step_has_words() -> None:
    for one in Guide().states:
        assert one.title
        assert one.how.endswith(".")
        assert one.true is None


def test_calibration_steps_follow_what_holds() -> None:
    guide = Guide()
    states = guide.see(blade(1), None, frozenset({CalibrationKind.DARK}), Settings())
    assert state(states, Step.DARK).true is True
    assert state(states, Step.OPEN).true is False
    states = guide.see(blade(2), None, frozenset(), Settings())
    assert state(states, Step.DARK).true is False
    assert state(states, Step.DARK).reached_s == frame(1, 0.4).time_s
    assert "dark" in guide.notes()
    guide.forget()
    assert guide.notes() == {}


def test_cut_and_even() -> None:
    guide, none = Guide(), frozenset[CalibrationKind]()

    def see(**values: float | None) -> tuple[bool | None, bool | None]:
        states = guide.see(blade(**values), None, none, Settings())
        return state(states, Step.CUT).true, state(states, Step.EVEN).true

    assert see(uncut=None) == (None, None)
    assert see(uncut=0.52, tilt_across=0.01, tilt_sigma=0.001) == (True, True)
    assert see(uncut=0.7, tilt_across=-0.2, tilt_sigma=0.001) == (False, False)
    assert see(uncut=0.99, tilt_across=0.0, tilt_sigma=0.001) == (False, None)


def test_focus_is_reached_only_after_the_best_was_passed() -> None:
    guide = Guide()

    def see(now: float, best: float) -> bool | None:
        aids = AidsReading(0.0, Target.MIRROR, focus=FocusReading(now, best))
        states = guide.see(blade(), aids, frozenset(), Settings())
        return state(states, Step.FOCUS).true

    assert see(1.0, 1.0) is None
    assert see(0.5, 1.0) is False
    assert see(0.99, 1.0) is True
    # The blade alone, from all open to half cut, moves the measure by up to a sixth.
    assert see(0.84, 1.0) is True
    assert see(0.75, 1.0) is False
    assert see(0.84, 1.0) is False


def test_without_light_nothing_is_judged() -> None:
    guide = Guide()
    of = frame(0, 0.4)
    lit = AlignAids(Settings(), info()).see(of, reading(of))
    states = guide.see(blade(), lit, frozenset(), Settings())
    assert state(states, Step.EXPOSURE).true is True
    dark = replace(lit, dark=True)
    states = guide.see(blade(), dark, frozenset(), Settings())
    assert state(states, Step.EXPOSURE).true is None


def test_lamp_image_and_light() -> None:
    guide = Guide()
    spot = Spot(0, 0, 20, 20, 0, 0.5, 0.0, False)
    card = AidsReading(0.0, Target.CARD, spot=spot, walk=Walk.HERE)
    states = guide.see(blade(), card, frozenset(), Settings())
    assert state(states, Step.LAMP_IMAGE).true is True
    assert state(states, Step.STEADY_LIGHT).true is None
    ripple = AidsReading(0.0, Target.MIRROR, mains=MainsRipple(100, 0.05, 20, True))
    states = guide.see(blade(), ripple, frozenset(), Settings())
    assert state(states, Step.STEADY_LIGHT).true is None
    assert state(states, Step.LAMP_IMAGE).reached_s == 0.0

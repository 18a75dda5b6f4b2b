"""The steps of a whole set-up, each checked by measurement; in any order, none obligatory.

A step turns true when the readings say so and false again when they no longer do; that it was
reached, and when, is remembered and kept with recordings.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from liveview.engine.aids import AidsReading
from liveview.imaging.blade import EVEN_TILT
from liveview.imaging.exposure import stops_to_target
from liveview.imaging.spot import Walk
from liveview.model import CalibrationKind, Reading
from liveview.settings import Settings

SHARP_SHARE = 0.97
"""Sharpness against the best seen that counts as sharp."""
_PAST_SHARE = 0.80
"""The best counts as a maximum once the focus has been this far off it; sharp stays sharp down to
here, for the measure varies by up to a sixth with the light that the blade leaves."""
_GOOD_STOPS = 0.5


class Step(str, Enum):
    """Steps in the order in which most people take them."""

    LAMP_IMAGE = "lamp image"
    MIRROR = "mirror"
    FOCUS = "focus"
    EXPOSURE = "exposure"
    STEADY_LIGHT = "steady light"
    DARK = "dark"
    OPEN = "open"
    CUT = "cut"
    EVEN = "even"
    REFERENCE = "reference"


TITLES = {
    Step.LAMP_IMAGE: "Lamp's image found",
    Step.MIRROR: "Mirror in the picture",
    Step.FOCUS: "Focused on the mirror",
    Step.EXPOSURE: "Exposure good",
    Step.STEADY_LIGHT: "Light steady",
    Step.DARK: "Dark taken",
    Step.OPEN: "Open taken",
    Step.CUT: "Cut as wanted",
    Step.EVEN: "Darkens evenly",
    Step.REFERENCE: "Reference taken",
}

HOW = {
    Step.LAMP_IMAGE: "Walk a card along the beam; where the image is smallest, the blade goes.",
    Step.MIRROR: "Point the camera past the blade at the mirror until its round rim is seen.",
    Step.FOCUS: "Turn the lens through the sharpest rim and back to it.",
    Step.EXPOSURE: "Blade out: as bright as can be with nothing clipped.",
    Step.STEADY_LIGHT: "A lamp on direct current, or an exposure that swallows the ripple.",
    Step.DARK: "Cap the lens and take the dark picture.",
    Step.OPEN: "Blade out, air at rest: take the open picture.",
    Step.CUT: "Move the blade until the hand on the ring stands in its band.",
    Step.EVEN: "Move the blade along the beam until no side darkens first.",
    Step.REFERENCE: "Blade set, air at rest: take the reference.",
}


@dataclass(frozen=True, slots=True)
class StepState:
    """One step now. ``true`` is None while nothing can be measured for it.

    ``reached_s`` is when it was last true, session seconds, None if never.
    """

    step: Step
    true: bool | None
    reached_s: float | None

    @property
    def title(self) -> str:
        """Short name for the screen."""
        return TITLES[self.step]

    @property
    def how(self) -> str:
        """What to do for it."""
        return HOW[self.step]


class Guide:
    """Judges the steps from readings and remembers what was reached."""

    def __init__(self) -> None:
        self.forget()

    @property
    def states(self) -> tuple[StepState, ...]:
        """All steps as last judged."""
        return self._states

    def forget(self) -> None:
        """Another rig or source: nothing is reached."""
        self._reached: dict[Step, float] = {}
        self._seen_off_focus = self._sharp = False
        self._states = tuple(StepState(step, None, None) for step in Step)

    def see(
        self,
        reading: Reading,
        aids: AidsReading | None,
        has: frozenset[CalibrationKind],
        settings: Settings,
    ) -> tuple[StepState, ...]:
        """Judge all steps.

        Parameters
        ----------
        reading : Reading
            Newest of the chain.
        aids : AidsReading or None
            Newest aids, if they run.
        has : frozenset of CalibrationKind
            Calibration pictures that hold.
        settings : Settings
            For the target of the cut.
        """
        true: dict[Step, bool | None] = {
            Step.MIRROR: reading.disc is not None,
            Step.DARK: CalibrationKind.DARK in has,
            Step.OPEN: CalibrationKind.OPEN in has,
            Step.REFERENCE: CalibrationKind.REFERENCE in has,
            Step.CUT: _cut(reading, settings),
            Step.EVEN: _even(reading),
        }
        if aids is not None:
            true |= self._from_aids(reading, aids)
        now_s = reading.stamp.time_s
        for step, is_true in true.items():
            if is_true:
                self._reached[step] = now_s
        self._states = tuple(StepState(s, true.get(s), self._reached.get(s)) for s in Step)
        return self._states

    def notes(self) -> dict[str, float]:
        """What was reached and when (session seconds), for the event's description."""
        return {step.value: time_s for step, time_s in self._reached.items()}

    def _from_aids(self, reading: Reading, aids: AidsReading) -> dict[Step, bool | None]:
        if aids.spot is not None:
            return {Step.LAMP_IMAGE: aids.walk is Walk.HERE}
        if aids.dark:
            return {}
        found: dict[Step, bool | None] = {}
        if aids.focus is not None:
            self._seen_off_focus |= aids.focus.share < _PAST_SHARE
            enough = _PAST_SHARE if self._sharp else SHARP_SHARE
            self._sharp = self._seen_off_focus and aids.focus.share >= enough
            found[Step.FOCUS] = self._sharp if self._seen_off_focus else None
        if aids.levels is not None:
            stops = stops_to_target(aids.levels, reading.blade.uncut)
            found[Step.EXPOSURE] = stops is not None and abs(stops) <= _GOOD_STOPS
            found[Step.STEADY_LIGHT] = aids.mains is None
        return found


def _cut(reading: Reading, settings: Settings) -> bool | None:
    uncut = reading.blade.uncut
    if uncut is None:
        return None
    return abs(uncut - settings.blade.target_uncut) <= settings.blade.target_band


def _even(reading: Reading) -> bool | None:
    """The tilt is only telling while the blade cuts into the light."""
    blade = reading.blade
    if blade.uncut is None or blade.tilt_across is None or not 0.05 < blade.uncut < 0.95:
        return None
    return abs(blade.tilt_across) <= max(EVEN_TILT, 3 * (blade.tilt_sigma or 0.0))

"""What the Align page says, worked out from readings; nothing here draws."""

from __future__ import annotations

import math
from collections.abc import Sequence

from liveview.bench.exercise import Finding, Verdict
from liveview.engine.aids import AidsReading
from liveview.engine.guide import HOW, Step, StepState
from liveview.errors import BadRequest
from liveview.gui.words import DASH, THIN, first_up, percent
from liveview.imaging.blade import EVEN_TILT
from liveview.imaging.spot import Walk
from liveview.model import BladeReading, CalibrationKind
from liveview.optics.blade import travel_between
from liveview.optics.scale import geometry
from liveview.settings import Settings

UNCAP = "No light comes: uncap the lens, or draw the blade back."
ASKEW_TILT = 0.05
"""Tilt along the edge from which the edge's angle is worth a word."""


def travel_to_go_m(uncut: float | None, settings: Settings) -> float | None:
    """Metres the blade has to go in (positive) or out to reach the target; None if not known."""
    if uncut is None or not 0.0 < uncut < 1.0:
        return None
    try:
        width = geometry(settings).image_width_m
    except BadRequest:
        return None
    to_go = travel_between(uncut, settings.blade.target_uncut, width, settings.lamp.shape)
    return None if math.isnan(to_go) else to_go


def is_reached(uncut: float, settings: Settings) -> bool:
    """True when the blade cuts as much as is wanted, within the band."""
    return abs(uncut - settings.blade.target_uncut) <= settings.blade.target_band


def travel_words(to_go_m: float | None) -> str:
    """``0.12 mm further in``; empty where it is not known."""
    if to_go_m is None:
        return ""
    return f"{abs(to_go_m) * 1e3:.2f}{THIN}mm {'further in' if to_go_m > 0 else 'back out'}"


def is_even(blade: BladeReading) -> bool | None:
    """True when no side of the disc is darker than its uncertainty allows; None if not known."""
    if blade.tilt_across is None:
        return None
    return abs(blade.tilt_across) <= max(EVEN_TILT, 3 * (blade.tilt_sigma or 0.0))


def axial_words(blade: BladeReading) -> str:
    """Where the blade stands along the beam, and how far to move it where that is known."""
    if blade.uncut is None or blade.tilt_across is None:
        return ""
    if not 0.03 < blade.uncut < 0.97:
        return ""
    if _shaded(blade):
        return "One side is dark, but not from the blade: clear the light's way."
    if is_even(blade):
        return "Darkens evenly: in the focus."
    near = blade.tilt_across > 0
    place = "too near to the mirror" if near else "too far from the mirror"
    move = "move it away" if near else "move it nearer"
    if blade.axial_offset_m is None:
        return f"Blade {place}: {move}."
    off_mm = abs(blade.axial_offset_m) * 1e3
    about = f"about {off_mm:.0f}{THIN}mm" if off_mm >= 1 else f"less than 1{THIN}mm"
    return f"Blade {place}: {move} {about}."


def _shaded(blade: BladeReading) -> bool:
    """Darker along the edge more than across it: a hand or an obstacle, not the blade."""
    along = abs(blade.tilt_along or 0.0)
    return along > 2 * ASKEW_TILT and along > abs(blade.tilt_across or 0.0)


def askew_deg(blade: BladeReading) -> float | None:
    """How far the edge is turned against the picture's side, degrees clockwise in the picture.

    Off the focus the disc is darkest towards the edge itself; where that direction is not the
    chosen side, the edge is askew. None where the shadow is too faint to tell.
    """
    across, along = blade.tilt_across, blade.tilt_along
    if across is None or along is None or math.hypot(across, along) < 2 * ASKEW_TILT:
        return None
    if _shaded(blade):
        return None
    turn = math.degrees(math.atan2(along, across))
    if turn > 90:
        turn -= 180
    elif turn < -90:
        turn += 180
    return turn


def askew_words(blade: BladeReading) -> str:
    """A sentence about the edge's angle; empty where there is nothing to say."""
    turn = askew_deg(blade)
    if turn is None or abs(turn) < 5.0 or abs(blade.tilt_along or 0.0) < ASKEW_TILT:
        return ""
    way = "anticlockwise" if turn > 0 else "clockwise"
    return f"The edge is askew: turn it about {abs(turn):.0f}° {way}, seen in the picture."


def instruction(
    blade: BladeReading,
    uncut: float | None,
    settings: Settings,
    has: frozenset[CalibrationKind] = frozenset(),
    dark: bool = False,
) -> str:
    """The one thing to do next with the blade, short enough to be read across the room.

    ``has`` are the calibration pictures that hold, ``dark`` says that no light comes now.
    """
    if uncut is None:
        return _to_take(has, dark)
    if uncut < 0.01:
        return "Draw the blade back"
    if uncut > 0.97:
        return f"Bring the blade in from the {settings.blade.side.value}"
    uneven = _uneven_words(blade)
    if uneven:
        return uneven
    if is_reached(uncut, settings):
        return "Hold it there"
    words = travel_words(travel_to_go_m(uncut, settings))
    return (
        first_up(words)
        if words
        else ("Cut more" if uncut > settings.blade.target_uncut else "Cut less")
    )


def _to_take(has: frozenset[CalibrationKind], dark: bool) -> str:
    """What is missing before the cut can be read."""
    if CalibrationKind.DARK not in has:
        if CalibrationKind.OPEN not in has:
            return "Take dark and open"
        return "Take dark" if dark else "Cap the lens; take dark"
    if CalibrationKind.OPEN not in has:
        return "Uncap the lens; take open" if dark else "Blade out; take open"
    return "No light comes" if dark else "Point the camera at the mirror"


def _uneven_words(blade: BladeReading) -> str:
    """What to do where one side of the disc is dark; empty where none is."""
    if _shaded(blade):
        return "Clear the light's way"
    if is_even(blade) is not False:
        return ""
    near = (blade.tilt_across or 0.0) > 0
    off = blade.axial_offset_m
    about = "" if off is None or abs(off) < 1e-3 else f" {abs(off) * 1e3:.0f}{THIN}mm"
    return f"Move it{about} {'away from the mirror' if near else 'nearer to the mirror'}"


def walk_words(aids: AidsReading) -> str:
    """Which way to walk with the card."""
    if aids.no_spot:
        return "This is the mirror: look at a card"
    if aids.spot is None:
        return "No bright spot on the card"
    if aids.spot.clipped:
        return "Too bright to measure: expose less"
    return {
        Walk.UNKNOWN: "Walk along the beam",
        Walk.ON: "Walk on: it gets smaller",
        Walk.BACK: "Go back: it was smaller",
        Walk.HERE: "Here it is smallest",
    }[aids.walk]


def spot_words(aids: AidsReading) -> str:
    """Width now and the smallest seen, pixels."""
    if aids.spot is None:
        return ""
    words = f"{aids.spot.mean_px:.1f}{THIN}px wide"
    if aids.smallest is not None:
        words += f", smallest so far {aids.smallest.mean_px:.1f}{THIN}px"
    return words


def steady_words(aids: AidsReading | None) -> str:
    """Whether the reading stands still, and how late it is."""
    if aids is None or aids.uncut is None:
        return ""
    state = "steady" if aids.uncut.steady else "moving"
    delay = f", {aids.uncut.delay_s * 1e3:.0f}{THIN}ms late" if aids.uncut.delay_s > 0 else ""
    return f"{state}{delay}"


def focus_words(aids: AidsReading | None) -> str:
    """Sharpness against the best seen."""
    if aids is None or aids.focus is None:
        return f"Sharpness {DASH}"
    return f"Sharpness {percent(aids.focus.share, 0)} of the best"


_MUST_HOLD = {Step.DARK, Step.OPEN, Step.REFERENCE}
"""Steps that are to be done again where they no longer hold."""
_BEFORE_REFERENCE = {Step.CUT, Step.EVEN}
"""So are these until the reference is taken; after that what passes may disturb them."""


def next_words(states: Sequence[StepState], dark: bool = False) -> str:
    """What to do for the first step that was never reached, or has to hold and does not.

    Empty when there is none. ``dark`` says that no light comes: then it is the dark picture's
    turn, or over. Nobody needs the lamp's image once the blade cuts into it.
    """
    true = {state.step for state in states if state.true}
    if dark and states:
        return UNCAP if Step.DARK in true else HOW[Step.DARK]
    cut = any(state.step is Step.CUT and state.reached_s is not None for state in states)
    held = _MUST_HOLD if Step.REFERENCE in true else _MUST_HOLD | _BEFORE_REFERENCE
    for state in states:
        again = state.step in held and state.true is False
        if state.true or (state.reached_s is not None and not again):
            continue
        if state.step is Step.LAMP_IMAGE and cut:
            continue
        return state.how
    return ""


_KNOB_WORDS = {
    "blade_x_m": ("the cut", 1e3, "mm"),
    "blade_z_m": ("the blade along the beam", 1e3, "mm"),
    "blade_angle_rad": ("the blade's angle", 180 / math.pi, "°"),
    "exposure_s": ("the exposure", 1e3, "ms"),
}


def _finding_words(finding: Finding) -> str:
    name, factor, unit = _KNOB_WORDS[finding.knob]
    if finding.grade == "right":
        return f"{name} is right"
    size = f"{abs(finding.off) * factor:.2g}{'' if unit == '°' else THIN}{unit}"
    grade = "nearly right" if finding.grade == "nearly" else "off"
    return f"{name} is {grade}, by {size}"


def verdict_words(verdict: Verdict) -> str:
    """How an exercise ended: what had been wrong first, then what became wrong."""
    told = [f for f in verdict.findings if f.hidden or f.grade != "right"]
    words = "; ".join(_finding_words(finding) for finding in told)
    head = "Solved" if verdict.solved else "Not yet right"
    return f"{head}: {words}." if words else f"{head}."

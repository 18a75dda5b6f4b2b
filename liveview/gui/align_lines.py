"""The blocks of words on the Align page: readings in, lines out."""

from __future__ import annotations

from collections.abc import Sequence

from liveview.engine.aids import AidsReading, Target
from liveview.engine.guide import StepState
from liveview.gui.align_bits import step_mark
from liveview.gui.align_words import (
    askew_words,
    axial_words,
    focus_words,
    instruction,
    is_reached,
    next_words,
    spot_words,
    steady_words,
    travel_to_go_m,
    travel_words,
    walk_words,
)
from liveview.gui.lines import Line
from liveview.gui.marks import choice_mark, notice_mark
from liveview.gui.theme import COLOURS, Type, Weight
from liveview.gui.words import THIN, first_up
from liveview.imaging.exposure import FEW
from liveview.model import BladeReading, CalibrationKind
from liveview.settings import Settings


def blade_lines(
    blade: BladeReading,
    uncut: float | None,
    aids: AidsReading | None,
    settings: Settings,
    has: frozenset[CalibrationKind],
) -> list[Line]:
    """The reading, whether it stands still, what to do, and where the shadow points.

    ``has`` are the calibration pictures that hold.
    """
    value = uncut if uncut is not None else blade.relative
    heading = "Uncut fraction" if uncut is not None else "Relative brightness"
    steady = steady_words(aids)
    lines = [Line(heading, colour=COLOURS.quiet, gap=0.0)]
    if value is not None:
        number = f"{value * 100:.1f}"
        lines.append(Line(number, Type.FIGURE, Weight.FIRM, gap=0.0, suffix=f"{THIN}%"))
    if steady and aids is not None and aids.uncut is not None:
        mark = choice_mark(aids.uncut.steady)
        lines.append(Line(first_up(steady), Type.SMALL, colour=COLOURS.quiet, mark=mark))
    words = instruction(blade, uncut, settings, has, aids is not None and aids.dark)
    held = words == "Hold it there"
    colour = COLOURS.brass if held else COLOURS.text
    lines.append(Line(f"{words}.", Type.LEAD, Weight.FIRM, gap=0.8, colour=colour))
    reached = uncut is not None and is_reached(uncut, settings)
    to_go = "" if reached else travel_words(travel_to_go_m(uncut, settings))
    if to_go and to_go.lower() not in words.lower():
        lines.append(Line(f"To the target: {to_go}.", colour=COLOURS.quiet))
    where = axial_words(blade)
    if words.startswith(("Move it", "Clear")):
        where = where.partition(":")[0].rstrip(".") + "."  # what to do is said above
    lines += [Line(text, gap=0.8) for text in (where, askew_words(blade)) if text]
    return lines


def card_lines(aids: AidsReading | None, simulated: bool = False) -> list[Line]:
    """Width of the lamp's image and which way to walk; the simulated rig has no card."""
    lines = [Line("Lamp's image on the card", colour=COLOURS.quiet, gap=0.0)]
    if simulated:
        words = "The simulated rig has no card: this needs a real one."
        return [*lines, Line(words, Type.LEAD, Weight.FIRM, gap=0.8)]
    if aids is None or aids.target is not Target.CARD:
        return lines
    if aids.spot is not None:
        width = f"{aids.spot.mean_px:.1f}"
        lines.append(Line(width, Type.FIGURE, Weight.FIRM, gap=0.0, suffix=f"{THIN}px"))
    lines.append(Line(f"{walk_words(aids)}.", Type.LEAD, Weight.FIRM, gap=0.8))
    if aids.spot is not None:
        lines.append(Line(f"{first_up(spot_words(aids))}.", colour=COLOURS.quiet))
    return lines


def focus_lines(aids: AidsReading | None) -> list[Line]:
    """Sharpness, and how to judge it elsewhere."""
    how = "Press a place to judge it there."
    return [
        Line(focus_words(aids), weight=Weight.FIRM, gap=0.0),
        Line(how, Type.SMALL, colour=COLOURS.quiet),
    ]


def exposure_lines(aids: AidsReading | None) -> list[Line]:
    """What to do about the exposure and a pulsing lamp."""
    lines = []
    if aids is not None and aids.exposure_words:
        clipped = aids.levels is not None and aids.levels.clipped_bright > FEW
        mark = notice_mark if clipped else None
        lines.append(Line(f"{first_up(aids.exposure_words)}.", weight=Weight.FIRM, mark=mark))
    if aids is not None and aids.mains is not None:
        lines.append(Line(f"{first_up(aids.mains.advice)}.", mark=notice_mark))
    return lines


def step_lines(
    states: Sequence[StepState], verdict: str, worries: Sequence[str], dark: bool = False
) -> list[Line]:
    """The steps of the set-up, what comes next (or an exercise's words), and what is wrong."""
    lines = [Line("Set-up", colour=COLOURS.quiet, gap=0.0)] if states else []
    lines += [_step_line(state) for state in states]
    how = verdict or next_words(states, dark)
    if how:
        lines.append(Line(how, gap=1.0))
    lines += [Line(first_up(word), Type.SMALL, gap=0.8, mark=notice_mark) for word in worries]
    return lines


def _step_line(state: StepState) -> Line:
    colour = COLOURS.text if state.true else COLOURS.quiet
    weight = Weight.FIRM if state.true else Weight.PLAIN
    mark = step_mark(bool(state.true), state.reached_s is not None)
    return Line(state.title, weight=weight, colour=colour, gap=0.35, mark=mark)

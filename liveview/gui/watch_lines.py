"""What the blocks of the Watch page say: snapshots in, lines out."""

from __future__ import annotations

import math

from liveview.gui.lines import Line
from liveview.gui.marks import arm_mark, choice_mark, level_mark, notice_mark, spark_mark
from liveview.gui.theme import COLOURS, Type, Weight
from liveview.gui.words import (
    ARM_WORDS,
    MINUS,
    THIN,
    advice_line,
    blade_line,
    catch_line,
    count,
    data_size,
    first_up,
    kept_line,
    lost_line,
    noise_line,
    signed,
    spotted_line,
    verdict,
    warnings,
)
from liveview.model import ArmState, BladeReading, Reading, SessionStatus
from liveview.settings import Blade, Catch

MOST_NOTICES = 5
_BARE = {"", *(words.lower() for words in ARM_WORDS.values())}
"""Words of the trigger that only repeat its state."""
CLIPPING = 0.99
"""Peak of full scale from which on a microphone is called overdriven."""


def blade_lines(blade: BladeReading, target: Blade, reached: bool) -> list[Line]:
    """The figure, what it means, what to do."""
    value = blade.uncut if blade.uncut is not None else blade.relative
    heading = "Uncut fraction" if blade.uncut is not None else "Relative brightness"
    lines = [Line(heading, colour=COLOURS.quiet, gap=0.0)]
    if value is not None:
        figure = f"{value * 100:.1f}"
        lines.append(Line(figure, Type.FIGURE, Weight.FIRM, gap=0.0, suffix=f"{THIN}%"))
    words = blade_line(blade, target.target_uncut, target.target_band)
    lines.append(
        Line(
            first_up(words),
            weight=Weight.FIRM,
            colour=COLOURS.brass if reached else COLOURS.text,
            mark=choice_mark(True) if reached else None,
            gap=0.6,
        )
    )
    if blade.travel_m is not None:
        travel = signed(blade.travel_m * 1e3, 2)
        lines.append(Line(f"{travel}{THIN}mm of travel", Type.SMALL, colour=COLOURS.quiet))
    if blade.advice:
        lines.append(Line(advice_line(blade), Type.LEAD, gap=1.2))
    return lines


def catch_lines(status: SessionStatus, catch: Catch) -> list[Line]:
    """State of the trigger, what it waits for, what it keeps, what it caught last."""
    words = catch_line(catch, status.sound is not None)
    told = status.arm_words
    if status.arm in (ArmState.LEARNING, ArmState.CATCHING) and told.lower() not in _BARE:
        words = told
    lines = [
        Line(
            ARM_WORDS[status.arm],
            Type.TITLE,
            Weight.FIRM,
            gap=0.0,
            colour=COLOURS.quiet if status.arm is ArmState.OFF else COLOURS.text,
            mark=arm_mark(status.arm),
        ),
        Line(first_up(words), weight=Weight.FIRM),
        Line(first_up(kept_line(catch)), Type.SMALL, colour=COLOURS.quiet),
        Line(_kept_words(status), Type.SMALL, colour=COLOURS.quiet),
    ]
    if status.sound is not None and status.sound_level is not None:
        lines.append(_sound_line(status.sound_level))
    if status.recent:
        lines.append(Line(first_up(spotted_line(status.recent[-1])), gap=0.6, mark=spark_mark()))
    return lines


def _kept_words(status: SessionStatus) -> str:
    store = status.store
    words = count(store.events_kept, "event", "events") + " since the start"
    if store.writing or store.converting:
        words += ", writing"
    if store.free_bytes is not None:
        words += f", {data_size(store.free_bytes)} free"
    return words


def _sound_line(level: float) -> Line:
    if level >= CLIPPING:
        return Line("Sound overdriven", Type.SMALL, colour=COLOURS.ember, mark=level_mark(level))
    if level <= 0:
        return Line("Sound: silence", Type.SMALL, colour=COLOURS.quiet, mark=level_mark(0.0))
    decibels = 20 * math.log10(level)
    words = f"Sound {MINUS}{abs(decibels):.0f}{THIN}dB"
    return Line(words, Type.SMALL, colour=COLOURS.quiet, mark=level_mark(level))


def notice_lines(
    status: SessionStatus,
    own: tuple[str, ...],
    reading_words: tuple[str, ...],
    most: int = MOST_NOTICES,
) -> list[Line]:
    """Words that need a person, and the count of lost frames, which is always there."""
    words = (*own, *warnings(status, reading_words))
    lines = [Line(first_up(word), gap=0.9, mark=notice_mark) for word in words[:most]]
    c = status.counters
    lost = c.lost_source + c.lost_ring > 0
    lines.append(
        Line(
            lost_line(status),
            weight=Weight.FIRM,
            colour=COLOURS.ember if lost else COLOURS.text,
            gap=1.4,
            mark=notice_mark if lost else None,
        )
    )
    if c.captured:
        whole = count(c.captured + c.lost_source + c.lost_ring, "frame", "frames")
        lines.append(Line(f"of {whole}", Type.SMALL, colour=COLOURS.quiet, gap=0.0))
    return lines


def verdict_lines(reading: Reading) -> list[Line]:
    """The histogram in words, the noise, and what the enhancement costs."""
    if reading.histogram is None:
        return []
    lines = [Line(verdict(reading.histogram), weight=Weight.FIRM, gap=0.0)]
    small = (noise_line(reading.noise, reading.histogram), *reading.notes)
    lines += [
        Line(first_up(words), Type.SMALL, colour=COLOURS.quiet, gap=0.1) for words in small if words
    ]
    return lines

"""The words of the Review page: which moment, which frame, what is wrong with the event."""

from __future__ import annotations

from liveview.gui.lines import Line
from liveview.gui.marks import notice_mark
from liveview.gui.review_reader import EventFacts
from liveview.gui.review_replay import Replay
from liveview.gui.theme import COLOURS, Type, Weight
from liveview.gui.words import DOT, THIN, count, first_up
from liveview.model import Cause

MOST_NOTICES = 4

LONGEST_FIGURE = 5
"""Letters that fit into the column at the largest size."""


def moment_lines(replay: Replay) -> list[Line]:
    """Time from the spark, frame, rate; then what should be known of the event."""
    facts, index = replay.facts, replay.index
    quiet = COLOURS.quiet
    if replay.path is None:
        return []
    if facts is None or index is None:
        if replay.fault:
            return [Line(f"{first_up(replay.fault)}.", gap=0.0, mark=notice_mark)]
        return [Line("Opening the event", colour=quiet, gap=0.0)]
    figure, _, unit = replay.since(index).partition(THIN)
    lines = [
        Line(f"From the {started_by(facts)}", colour=quiet, gap=0.0),
        Line(
            figure,
            Type.FIGURE if len(figure) <= LONGEST_FIGURE else Type.TITLE,
            Weight.FIRM,
            gap=0.0,
            suffix=unit,
        ),
        Line(
            f"Frame {index + 1} of {len(facts.times_s)}{recorded_words(replay)}",
            Type.SMALL,
            colour=quiet,
            gap=0.4,
        ),
    ]
    rate = "" if replay.player is None else replay.player.words
    state = "Playing at" if replay.playing else "Plays at"
    lines.append(Line(f"{state} {rate}", Type.LEAD, Weight.FIRM, gap=0.9))
    return lines


def started_by(facts: EventFacts) -> str:
    """What the times are counted from."""
    by_person = facts.start.cause in (Cause.HAND, Cause.COUNT)
    return "trigger" if by_person else "spark"


def recorded_words(replay: Replay) -> str:
    """The rate at which it was recorded."""
    facts = replay.facts
    if facts is None or facts.rate_hz is None:
        return ""
    rate = facts.rate_hz
    if rate >= 1000:
        return f"{DOT}{rate / 1e3:.3g}{THIN}kHz"
    shown = f"{rate:.0f}" if rate >= 20 else f"{rate:.1f}"
    return f"{DOT}{shown}{THIN}Hz"


def notice_lines(replay: Replay) -> list[Line]:
    """What is wrong or had to be assumed, most urgent first."""
    facts = replay.facts
    if facts is None:
        return []
    words = []
    if replay.fault:
        words.append(replay.fault)
    if not facts.complete:
        words.append("not compressed yet" if facts.raw else "this event is incomplete")
    if facts.lost:
        words.append(f"{count(facts.lost, 'frame', 'frames')} lost, gaps in the ring")
    if replay.sound_words:
        words.append(replay.sound_words)
    words += facts.words
    if replay.shown is not None:
        words += [word for word in replay.shown.reading.words if word not in words]
    lines = [
        Line(f"{first_up(word)}.", Type.SMALL, gap=0.4, mark=notice_mark)
        for word in words[:MOST_NOTICES]
    ]
    if facts.start.source.simulated:
        lines.insert(0, Line("SIMULATED RIG", Type.SMALL, Weight.STRONG, COLOURS.brass, gap=0.4))
    if replay.heard and replay.envelope is None and not replay.sound_words:
        lines.append(Line("No sound with this event.", Type.SMALL, colour=COLOURS.quiet, gap=0.4))
    return lines

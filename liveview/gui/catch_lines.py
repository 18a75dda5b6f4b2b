"""What the Catch page's ring and blocks of lines show of a status."""

from __future__ import annotations

from liveview.gui.catch_ring import RingValues, span_for
from liveview.gui.catch_words import (
    Clocks,
    clock_lines,
    delay_words,
    limit_words,
    longest_pre_s,
    memory_words,
    rate_words,
    raw_rate,
    space_words,
    store_words,
)
from liveview.gui.lines import Line
from liveview.gui.marks import notice_mark, spark_mark
from liveview.gui.theme import COLOURS, Type, Weight
from liveview.gui.words import first_up, lost_line, warnings
from liveview.model import ArmState, SessionStatus
from liveview.settings import Catch, Settings

AGE_S = 0.02
"""Ages on the ring are told apart so finely."""


def ring_values(status: SessionStatus, catch: Catch) -> RingValues:
    """What the memory holds, and what is kept of it."""
    trigger, capacity = status.trigger, status.ring_capacity_seconds
    now_s = trigger.now_s
    event = None
    span = span_for(catch.pre_trigger_s, catch.post_trigger_s)
    if trigger.since_s is not None and trigger.until_s is not None and now_s is not None:
        event = (
            _rough(max(now_s - trigger.since_s, 0.0)),
            _rough(max(trigger.until_s - now_s, 0.0)),
        )
        span = span_for(max(catch.pre_trigger_s, event[0] / 1.3), catch.post_trigger_s)
    sparks = () if now_s is None else tuple(_rough(now_s - s.time_s) for s in status.recent)
    return RingValues(
        span=span,
        held=_rough(min(status.ring_seconds, span)),
        limit=None if capacity is None else longest_pre_s(capacity),
        pre=catch.pre_trigger_s,
        post=catch.post_trigger_s,
        state=status.arm,
        event=event,
        sparks=tuple(age for age in sparks if 0.0 <= age <= span),
    )


def path_lines(status: SessionStatus, settings: Settings) -> list[Line]:
    """False alarms, the crack's way to the microphone, clocks; or that the memory is too short."""
    words = delay_words(settings.catch.mic_distance_m, settings.rig.temperature_k)
    rate = rate_words(status.trigger)
    said = [first_up(rate) + "."] if rate else []
    said += [first_up(words) + "."]
    limit = limit_words(settings.catch, status.ring_capacity_seconds)
    if not limit:
        said += clock_lines(Clocks.of(status, settings))[:1]
    lines = [Line(text, Type.SMALL, colour=COLOURS.quiet, gap=0.0) for text in said]
    if limit:
        lines.append(Line(first_up(limit) + ".", Type.SMALL, gap=0.6, mark=notice_mark))
    return lines


def store_lines(status: SessionStatus, settings: Settings) -> list[Line]:
    """Warnings, what the recorder does, room on the disk and in memory, lost frames."""
    store = status.store
    rate = None if status.source is None else raw_rate(status.source, status.rate_hz)
    lines = [
        Line(first_up(word), Type.SMALL, gap=0.6, mark=notice_mark)
        for word in warnings(status, ())[:3]
    ]
    busy = store.writing or bool(store.converting)
    lines.append(
        Line(
            first_up(store_words(store)),
            weight=Weight.FIRM,
            gap=1.0,
            mark=spark_mark() if status.arm is ArmState.CATCHING else None,
            colour=COLOURS.text if busy else COLOURS.quiet,
        )
    )
    quiet = (
        first_up(space_words(store, rate, settings.store.reserve_mb)),
        first_up(memory_words(status)),
    )
    lines += [Line(words, Type.SMALL, colour=COLOURS.quiet) for words in quiet if words]
    lost = status.counters.lost_source + status.counters.lost_ring > 0
    mark = notice_mark if lost else None
    lines.append(Line(lost_line(status), weight=Weight.FIRM, gap=0.6, mark=mark))
    return lines


def _rough(time_s: float) -> float:
    """As fine as the ring can show, so that nothing is painted twice the same."""
    return round(time_s / AGE_S) * AGE_S

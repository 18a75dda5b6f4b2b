"""The blocks of words on the Show page."""

from __future__ import annotations

from liveview.gui.actions import VIEW_WORDS
from liveview.gui.audience_screens import Stage, screen_words
from liveview.gui.lines import Line
from liveview.gui.marks import choice_mark, notice_mark
from liveview.gui.show_board import Board
from liveview.gui.show_desk import ShowDesk
from liveview.gui.show_words import state_words
from liveview.gui.theme import COLOURS, Type, Weight
from liveview.gui.words import THIN, first_up, lost_line, warnings
from liveview.model import Reading, SessionStatus
from liveview.settings import Caption


def stage_words(stage: Stage) -> tuple[str, str]:
    """Where the show is, and a line below it."""
    place = stage.place
    if stage.waiting_for:
        return "Screen gone", f"Waiting for {stage.waiting_for}; the audience sees nothing of it."
    if not stage.running:
        where = "no screen" if place is None else screen_words(place)
        return "Off screen", f"It would go to {where}."
    assert place is not None
    if stage.covers_presenter:
        return "On screen", f"It covers this window on {place.name()}; Esc leads back here."
    return "On screen", f"The audience sees it on {screen_words(place)}."


def seen_words(desk: ShowDesk, elapsed_s: float | None) -> str:
    """In a few words what the audience sees at this moment."""
    if desk.board.blank:
        return "blank"
    parts = []
    if desk.frozen:
        parts.append("frozen")
    elif desk.replaying:
        parts.append("slow replay")
    elif desk.stalled:
        parts.append("last good picture")
    else:
        parts.append("live")
    edge = desk.board.edge.target
    if edge >= 1.0:
        parts.append("plain")
    elif edge > 0.0:
        parts.append("half plain")
    if desk.board.spot_depth.target > 0.0:
        parts.append("spotlight")
    if desk.boosted:
        parts.append("more gain")
    if desk.stage.running and elapsed_s is not None and elapsed_s >= 60:
        parts.append(f"on for {elapsed_s // 60:.0f}{THIN}min")
    return ", ".join(parts)


def caption_lines(board: Board) -> list[Line]:
    """The caption that is up, the next one, and those after it."""
    captions, at = board.captions, board.at
    if not captions:
        return [
            Line("No captions", Type.LEAD, Weight.STRONG, gap=0.0),
            Line("They stand in a show file:", colour=COLOURS.quiet),
            Line("open one, or start with", colour=COLOURS.quiet),
            Line("liveview --show NAME", weight=Weight.FIRM),
        ]
    now = board.caption
    lines = [Line("Up now", Type.SMALL, colour=COLOURS.quiet, gap=0.0)]
    if now is None:
        lines.append(Line("No caption yet", Type.BODY, Weight.FIRM, colour=COLOURS.quiet))
    else:
        hidden = "" if board.caption_on else " (put away)"
        lines += _caption(now, Type.BODY, hidden)
    if at + 1 < len(captions):
        lines.append(Line("Next", Type.SMALL, colour=COLOURS.brass, gap=1.4))
        lines += _caption(captions[at + 1], Type.LEAD, "")
    else:
        lines.append(Line("That was the last one.", Type.SMALL, colour=COLOURS.quiet, gap=1.4))
    after = captions[at + 2 : at + 4]
    if after:
        lines.append(Line("Then", Type.SMALL, colour=COLOURS.quiet, gap=1.4))
        lines += [Line(caption.text, Type.SMALL, colour=COLOURS.quiet) for caption in after]
    return lines


def _caption(caption: Caption, size: Type, hidden: str) -> list[Line]:
    lines = [Line((caption.text or "(no words)") + hidden, size, Weight.FIRM)]
    if caption.view is not None:
        words = VIEW_WORDS.get(caption.view, caption.view)
        lines.append(Line(f"View: {words.lower()}", Type.SMALL, colour=COLOURS.quiet))
    if caption.note:
        lines.append(Line(caption.note, Type.SMALL, Weight.FIRM, colour=COLOURS.shade))
    return lines


def screen_lines(stage: Stage) -> list[Line]:
    """All screens: whose each is."""
    lines = [Line("Screens", Type.SMALL, colour=COLOURS.quiet, gap=0.0)]
    own, place = stage.presenters, stage.place
    for screen in stage.screens:
        whose = []
        if screen is own:
            whose.append("yours")
        if screen is place and not stage.waiting_for:
            whose.append("the audience's" if stage.running else "for the audience")
        words = screen_words(screen) + (f": {' and '.join(whose)}" if whose else "")
        on = screen is place and stage.running
        lines.append(Line(words, Type.SMALL, mark=choice_mark(on), gap=0.5))
    if stage.waiting_for:
        lines.append(Line(f"{stage.waiting_for}: gone", Type.SMALL, mark=notice_mark, gap=0.5))
    return lines


def guard_lines(desk: ShowDesk) -> list[Line]:
    """What the flash guard does."""
    headline, below = desk.guard_words()
    on = desk.frame.guarded
    colour = COLOURS.text if on else COLOURS.ember
    mark = None if on else notice_mark
    return [
        Line(headline, Type.BODY, Weight.STRONG, colour, gap=0.0, mark=mark),
        Line(below, Type.SMALL, colour=COLOURS.quiet),
    ]


MOST_FAULTS = 3


def fault_lines(
    status: SessionStatus, own_words: tuple[str, ...], newest: Reading | None = None
) -> list[Line]:
    """Faults, and what the newest picture says of itself: for the presenter's eyes only."""
    of_picture = () if newest is None else newest.words
    told = warnings(status, (*own_words, *of_picture))[: MOST_FAULTS - 1]
    words = [state_words(status, seen=newest is not None), *told]
    lines = [Line(first_up(word), Type.SMALL, mark=notice_mark) for word in words if word]
    if status.counters.lost_source + status.counters.lost_ring:
        lines.append(Line(lost_line(status), Type.SMALL))
    return lines

"""Orders for aids cross from the window to the chain thread."""

from __future__ import annotations

from support.plain_frames import frame, info, reading

from liveview.engine.aids import Target
from liveview.engine.aidsdesk import AidsDesk
from liveview.settings import Settings


def serve(desk: AidsDesk, number: int) -> None:
    of = frame(number, 0.4)
    desk.serve(of, reading(of), Settings(), info())


def test_nothing_is_computed_while_nobody_asks() -> None:
    desk = AidsDesk()
    serve(desk, 0)
    assert desk.newest() is None
    desk.want(True)
    serve(desk, 1)
    newest = desk.newest()
    assert newest is not None
    assert newest.time_s == frame(1, 0.4).time_s
    desk.want(False)
    serve(desk, 2)
    assert desk.newest() is newest


def test_orders_are_obeyed_once_each() -> None:
    desk = AidsDesk()
    desk.want(True)
    for number in range(3):
        serve(desk, number)
    sharp = desk.newest()
    assert sharp is not None and sharp.focus is not None
    desk.focus_on((60.0, 60.0, 30.0))
    serve(desk, 3)
    moved = desk.newest()
    assert moved is not None
    assert moved.focus is None
    assert moved.focus_patch != sharp.focus_patch
    serve(desk, 4)
    again = desk.newest()
    assert again is not None
    assert again.focus is not None
    desk.look_at(Target.CARD)
    serve(desk, 5)
    card = desk.newest()
    assert card is not None
    assert card.target is Target.CARD
    assert card.focus is None


def test_other_settings_make_other_aids() -> None:
    desk = AidsDesk()
    desk.want(True)
    serve(desk, 0)
    of = frame(1, 0.4)
    desk.serve(of, reading(of), Settings().replaced("camera", transfer="linear"), info())
    newest = desk.newest()
    assert newest is not None
    assert newest.focus is None

"""The pages beside Watch, made after the first picture: it does not wait for them."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from PyQt6.QtCore import QTimer

from liveview.gui.bridge import Bridge
from liveview.gui.rig_match import OWN_RIG
from liveview.gui.window import Window
from liveview.settings import Settings

NO_PICTURE_MS = 2500
"""Without a picture the pages come after this time."""


def add_other_pages(window: Window, bridge: Bridge) -> None:
    """Add all of them now."""
    from liveview.gui.align_page import AlignPage
    from liveview.gui.catch_page import join_catch
    from liveview.gui.plan_page import PlanPage
    from liveview.gui.review_page import join_review
    from liveview.gui.show_page import join_show

    plan = PlanPage(bridge.settings)
    plan.used.connect(partial(use_rig, window, bridge))
    plan.said.connect(window.say)
    for action in plan.own_actions():
        window.keys.add(action)
    plan.make_pads(window.keys)
    window.add_page("Plan", plan)
    align = AlignPage(bridge, window.keys)
    for action in align.own_actions():
        window.keys.add(action)
    align.make_pads()
    window.add_page("Align", align)
    catch = join_catch(window, bridge)
    review = join_review(window, bridge)
    if "Show" not in window.pages.pages:  # there from the start when a show file was given
        join_show(window, bridge)

    def look_at(path: str) -> None:
        window.turn_to("Review")
        review.open(Path(path))

    catch.review_asked.connect(look_at)


def use_rig(window: Window, bridge: Bridge, settings: Settings) -> None:
    """Settings of another rig: a simulated rig that is built like the set-up is built anew."""
    window.use_settings(settings)
    if bridge.other_rig and bridge.address == OWN_RIG:
        bridge.open(OWN_RIG)


def add_other_pages_later(window: Window, bridge: Bridge) -> None:
    """Add them once the first picture is on the screen, or none comes."""
    picture = window.page.dial.picture
    timer = QTimer(window)
    timer.setSingleShot(True)

    def after_picture(reading: object) -> None:
        timer.start(0)

    def add() -> None:
        picture.painted.disconnect(after_picture)
        add_other_pages(window, bridge)

    picture.painted.connect(after_picture)
    timer.timeout.connect(add)
    timer.start(NO_PICTURE_MS)

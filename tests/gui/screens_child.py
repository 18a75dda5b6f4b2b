"""Run by ``test_show_screens``: a Show page on a display whose screens come and go (xrandr)."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable

from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication
from support.window_rig import WindowRig, disc_frames, scripted

from liveview.gui.show_page import join_show
from liveview.gui.theme import dress
from liveview.settings import validated

DESK = ("640/200x480/150+0+0", "screen")
HALL = ("640/200x400/150+640+0", "none")


def xrandr(*arguments: str) -> None:
    """Change the display's screens."""
    subprocess.run(["xrandr", *arguments], check=True, capture_output=True, timeout=10)


def main() -> int:
    """Play it through; facts as JSON on standard output."""
    xrandr("--setmonitor", "DESK", *DESK)
    xrandr("--setmonitor", "HALL", *HALL)
    app = QApplication(["liveview"])
    dress(app)
    rig = WindowRig(
        app,
        scripted(disc_frames),
        settings=validated({"show": {"captions": ["one", "two"]}}, "test"),
        size=(640, 480),
    )
    page = join_show(rig.window, rig.bridge)
    desk, stage = page.desk, page.desk.stage
    facts: dict[str, object] = {}

    def settle(what: Callable[[], bool]) -> None:
        rig.wait(what, 15.0)
        QTest.qWait(400)

    def note(name: str) -> None:
        place = desk.audience.geometry()
        where = [place.x(), place.y(), place.width(), place.height()]
        frame = desk.audience.frame
        facts[name] = {
            "visible": desk.audience.isVisible(),
            "where": where if desk.audience.isVisible() else None,
            "frame": None if frame is None else list(frame.shape[:2]),
            "covers": stage.covers_presenter,
            "waiting": stage.waiting_for,
            "presenter": rig.window.screen().name(),
            "said": rig.window.answer.words(),
            "words": page.stage_lines.words(),
        }

    rig.first_picture()
    facts["screens"] = [screen.name() for screen in stage.screens]
    rig.press("F7")
    rig.press("O")
    settle(lambda: desk.audience.isVisible() and desk.audience.frame is not None)
    note("on")
    xrandr("--delmonitor", "HALL")
    settle(lambda: len(stage.screens) == 1)
    note("gone")
    rig.press("PgDown")
    facts["caption while gone"] = desk.board.at
    xrandr("--setmonitor", "HALL", *HALL)
    settle(lambda: len(stage.screens) == 2 and desk.audience.isVisible())
    note("back")
    rig.press("X")
    settle(lambda: desk.audience.geometry().x() == 0)
    note("swapped")
    rig.press("X")
    settle(lambda: desk.audience.geometry().x() == 640)
    rig.press("O")
    xrandr("--delmonitor", "HALL")
    settle(lambda: len(stage.screens) == 1)
    rig.press("O")
    settle(lambda: stage.covers_presenter)
    note("one screen")
    QTest.keySequence(desk.audience, "Escape")
    settle(lambda: not desk.audience.isVisible())
    note("way back")
    rig.close()
    print(json.dumps(facts))
    return 0


if __name__ == "__main__":
    sys.exit(main())

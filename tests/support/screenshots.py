"""Screenshots of the window, made by the program itself on the simulated rig.

``python tests/support/screenshots.py [--size 1280x800] [--scene candle] [--view lifted] OUT.png``
calibrates the rig as a person would (cap, blade out, blade set) and saves the window.
``assets/screenshot.png`` is made with the defaults. Needs a display, or ``xvfb-run``.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

from PyQt6.QtTest import QTest
from PyQt6.QtWidgets import QApplication

from liveview.app import VIEWS, House
from liveview.bench.scene import load_scene
from liveview.engine.crew import SWITCH_INTERVAL_S
from liveview.engine.session import Session
from liveview.gui.bridge import Bridge
from liveview.gui.other_pages import add_other_pages
from liveview.gui.show_page import ShowPage
from liveview.gui.theme import dress
from liveview.gui.window import Window
from liveview.model import CalibrationKind
from liveview.settings import Settings
from liveview.shows import load_show


def wait(what: Callable[[], object], seconds: float = 60.0) -> None:
    """Let the window run until something is so."""
    end = time.monotonic() + seconds
    while not what():
        if time.monotonic() > end:
            raise SystemExit("the window did not get there in time")
        QTest.qWait(20)


def take(session: Session, kind: CalibrationKind, **knobs: float) -> None:
    """Set the rig's knobs, let the picture settle, take one calibration picture."""
    rig = session.rig
    assert rig is not None
    for name, value in knobs.items():
        rig.set(name, value)
    QTest.qWait(1200)
    session.take(kind)
    wait(lambda: kind in session.status().has)


def calibrate(session: Session, scene: str) -> None:
    """Dark, open and reference, with the flows off; then the scene's flows."""
    rig = session.rig
    assert rig is not None
    wanted = load_scene(scene).flows
    flows = {f"flow_{name}": float(getattr(wanted, name).on) for name in type(wanted).model_fields}
    quiet = dict.fromkeys(flows, 0.0)
    take(session, CalibrationKind.DARK, lens_capped=1.0, **quiet)
    take(session, CalibrationKind.OPEN, lens_capped=0.0, blade_out=1.0)
    take(session, CalibrationKind.REFERENCE, blade_out=0.0)
    for name, value in flows.items():
        rig.set(name, value)


def main() -> int:
    """Make one screenshot."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("out", type=Path)
    parser.add_argument("--size", default="1280x800")
    parser.add_argument("--scene", default="candle")
    parser.add_argument("--view", default="lifted", choices=VIEWS)
    parser.add_argument("--page", default="Watch")
    parser.add_argument("--rate", type=float, default=12.0, help="frames a second; keep it low")
    parser.add_argument("--wait", type=float, default=5.0, help="seconds of flow before the shot")
    parser.add_argument("--show", default="", help="show file to start from")
    parser.add_argument("--audience", type=Path, help="the audience's window, on the screen")
    parser.add_argument("--keys", default="", help="keys pressed before the shot, with commas")
    parser.add_argument(
        "--knob", action="append", default=[], metavar="NAME=VALUE", help="a turn of the rig"
    )
    parser.add_argument("--text-scale", type=float, default=1.0)
    parser.add_argument("--linger", type=float, default=0.0, help="seconds after the keys")
    options = parser.parse_args()
    sys.setswitchinterval(SWITCH_INTERVAL_S)
    app = QApplication(["liveview"])
    dress(app)
    with TemporaryDirectory() as folder:
        settings = (
            (load_show(options.show) if options.show else Settings())
            .replaced("store", folder=folder)
            .replaced("camera", rate_hz=options.rate)
            .replaced("enhance", view=options.view)
            .replaced("screen", text_scale=options.text_scale)
        )
        house = House(settings)
        bridge = Bridge(house.supplies(), settings)
        window = Window(bridge, VIEWS)
        window.resize(*(int(part) for part in options.size.split("x")))
        window.show()
        window.activateWindow()
        QTest.qWaitForWindowActive(window)
        bridge.open(f"simulated:{options.scene}")
        bridge.start()
        wait(lambda: window.page.dial.picture.reading is not None)
        add_other_pages(window, bridge)
        assert bridge.session is not None
        calibrate(bridge.session, options.scene)
        for knob in options.knob:
            name, value = knob.split("=")
            assert bridge.session.rig is not None
            bridge.session.rig.set(name, float(value))
        bridge.session.arm()
        QTest.qWait(round(options.wait * 1e3))
        window.turn_to(options.page)
        QTest.qWait(900)
        show = window.findChild(ShowPage)
        assert show is not None
        if options.audience:
            show.desk.begin()
            QTest.qWait(800)
            window.activateWindow()
        for key in filter(None, options.keys.split(",")):
            QTest.keySequence(app.focusWidget() or window, key)
            QTest.qWait(400)
        QTest.qWait(round(options.linger * 1e3))
        window.grab().save(str(options.out))
        if options.audience:
            show.desk.audience.grab().save(str(options.audience))
        window.close()
        house.close()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())

"""The panels of the Watch page that share one place: one of them is open, or none."""

from __future__ import annotations

from collections.abc import Callable

from PyQt6.QtCore import QRectF
from PyQt6.QtWidgets import QWidget

from liveview.gui.camera_panel import WIDE, CameraPanel
from liveview.gui.hand import HandPanel
from liveview.gui.steps_panel import StepsPanel
from liveview.gui.theme import Look
from liveview.gui.tuning import CATCH, ENHANCE, TuningPanel
from liveview.model import Reading
from liveview.settings import Settings

HAND_STEPS = 17.0
ABOVE_BOTTOM = 17.5
"""Where the panels end, in steps above the lower edge: the notices stand below. A tall panel
lies over them rather than over the pads for calibrating."""

BELOW_MIDDLE = 8.2
"""Where the pads for calibrating end, in steps below the page's middle."""


class Panels:
    """Opens, closes, places and turns them.

    Parameters
    ----------
    parent : QWidget
    wanted : callable
        Asked to change a setting: section, name, value.
    covering : callable, optional
        Told down to which height (pixels) the open panel covers the page; 0 for none, and for the
        camera's, which lies over all words below it.
    """

    def __init__(
        self,
        parent: QWidget,
        wanted: Callable[[str, str, object], None],
        covering: Callable[[float], None] = lambda low: None,
    ) -> None:
        self._covering = covering
        self.hand = HandPanel(parent)
        self.enhance = TuningPanel("Enhance", ENHANCE, parent)
        self.catch = TuningPanel("Catch", CATCH, parent)
        self.steps = StepsPanel(parent)
        self.camera = CameraPanel(parent)
        self.camera.grown.connect(self._place_camera)
        self.steps.grown.connect(self._place)
        self._all: tuple[QWidget, ...] = (
            *(self.hand, self.enhance, self.catch, self.steps),
            self.camera,
        )
        for panel in (self.enhance, self.catch):
            panel.wanted.connect(wanted)
        self._look = Look()
        self._edge: Callable[[float, float], float] = lambda top, bottom: 300.0
        self._height = 800

    @property
    def open_one(self) -> QWidget | None:
        """The open panel."""
        return next((panel for panel in self._all if panel.isVisible()), None)

    def toggle(self, panel: QWidget) -> None:
        """Open this one and close the others, or close it."""
        on = not panel.isVisible()
        self.close()
        self._place()
        panel.setVisible(on)
        panel.raise_()
        self._tell()

    def _tell(self) -> None:
        panel = self.open_one
        there = panel is not None and panel is not self.camera
        self._covering(float(panel.geometry().bottom()) if panel is not None and there else 0.0)

    def close(self) -> bool:
        """Close what is open; False when nothing was."""
        panel = self.open_one
        if panel is not None:
            panel.hide()
            self._tell()
        return panel is not None

    def turn(self, steps: int) -> None:
        """Turn what is in hand."""
        panel = self.open_one
        if isinstance(panel, (HandPanel, CameraPanel)):
            panel.turn(steps)
        elif isinstance(panel, TuningPanel):
            panel.turn(1 if steps > 0 else -1)

    def choose(self, by: int) -> None:
        """Take the next (or an earlier) thing in hand."""
        panel = self.open_one
        if isinstance(panel, (HandPanel, TuningPanel, CameraPanel)):
            panel.choose(by)

    def set_settings(self, settings: Settings) -> None:
        """The settings in force."""
        for panel in (self.enhance, self.catch):
            panel.set_settings(settings)
        self.camera.set_settings(settings)

    def show_reading(self, reading: Reading) -> None:
        """A new reading."""
        self.steps.show_reading(reading)

    def lay_out(self, look: Look, height: int, edge: Callable[[float, float], float]) -> None:
        """Place them; ``edge`` tells the free width between two heights."""
        self._look, self._height, self._edge = look, height, edge
        for panel in (self.hand, self.enhance, self.catch, self.steps, self.camera):
            panel.set_look(look)
        self._place()

    def _place(self) -> None:
        look = self._look
        highest = self._height / 2 + look.px(BELOW_MIDDLE)
        heights = {
            self.hand: HAND_STEPS,
            self.enhance: self.enhance.steps_high,
            self.catch: self.catch.steps_high,
            self.steps: self.steps.steps_high,
        }
        for panel, steps in heights.items():
            tall = look.px(steps)
            top = max(self._height - look.px(ABOVE_BOTTOM) - tall, highest)
            bottom = top + tall
            room = self._edge(top, bottom) - look.px(0.5)
            panel.setGeometry(QRectF(look.px(1.5), top, room, tall).toRect())
        self._place_camera()
        self._tell()

    def _place_camera(self) -> None:
        """At the lower left corner, over the notices but below the pads for calibrating."""
        look = self._look
        tall = min(look.px(self.camera.steps_high), self._height / 2 - look.px(BELOW_MIDDLE + 1.5))
        top = self._height - tall - look.px(1.5)
        room = max(look.px(WIDE), self._edge(top, self._height) - look.px(0.5))
        self.camera.setGeometry(QRectF(look.px(1.5), top, room, tall).toRect())

"""An animated drawing of how the blade turns bent light into brightness, on the rig at hand.

Four slow scenes, one after the other; the blade follows the live reading, the rig the settings.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import replace

from PyQt6.QtCore import QRectF, QSize, QTimer
from PyQt6.QtGui import QHideEvent, QImage, QPainter, QPaintEvent, QShowEvent
from PyQt6.QtWidgets import QWidget

from liveview.gui import explain_ink
from liveview.gui.explain_model import STORIES, Moment, RigNow, moment, rig_now
from liveview.model import Reading
from liveview.settings import Settings

TICK_MS = 50
FOLLOW_S = 0.35
"""Time constant with which the drawn blade follows the reading."""


class Explanation:
    """The drawing without a widget: its rig, its blade, its place in the story.

    Parameters
    ----------
    clock : callable
        Seconds; handed in by tests.
    """

    def __init__(self, clock: Callable[[], float] = time.perf_counter) -> None:
        self._clock = clock
        self._rig: RigNow | str = rig_now(Settings())
        self._uncut: float | None = None
        self._wanted: float | None = None
        self._scene = 0
        self._only: int | None = None
        self._began = self._drawn = clock()

    @property
    def scene(self) -> int:
        """The scene that is on, counted from 0."""
        self._go_on()
        return self._scene

    @property
    def words(self) -> str:
        """What is written beside the drawing just now."""
        self._go_on()
        if isinstance(self._rig, str):
            return self._rig
        now = self._story_at(self._rig)
        return "\n".join(
            part for part in (STORIES[self._scene].title, now.words, now.figure) if part
        )

    def set_rig(self, settings: Settings) -> None:
        """Draw the rig of these settings."""
        self._rig = rig_now(settings)

    def set_reading(self, reading: Reading | None) -> None:
        """Where the blade stands now; None when nothing is known."""
        self._wanted = None if reading is None else reading.blade.uncut
        if self._wanted is None or self._uncut is None:
            self._uncut = self._wanted

    def show_only(self, scene: int | None) -> None:
        """Repeat one scene; None goes through all of them.

        Raises
        ------
        IndexError
            There is no such scene.
        """
        if scene is not None:
            _ = STORIES[scene]
            self._scene, self._began = scene, self._clock()
        self._only = scene

    def begin(self) -> None:
        """From the beginning, for somebody who has just come."""
        self._scene = 0 if self._only is None else self._only
        self._began = self._clock()

    def next_scene(self) -> None:
        """Go to the next scene at once."""
        self._scene, self._began = (self._scene + 1) % len(STORIES), self._clock()

    def draw(self, painter: QPainter, box: QRectF, *, far: bool = False) -> None:
        """Paint the present moment into ``box``; ``far``: to be read across a room."""
        self._go_on()
        if isinstance(self._rig, str):
            explain_ink.paint_words(painter, box, self._rig)
            return
        rig = replace(self._rig, uncut=self._uncut)
        title = STORIES[self._scene].title
        explain_ink.paint(painter, box, rig, self._story_at(self._rig), title, far=far)

    def picture(self, width: int, height: int, *, far: bool = False) -> QImage:
        """The present moment as a picture of this many pixels, 32 bit."""
        image = QImage(width, height, QImage.Format.Format_RGB32)
        painter = QPainter(image)
        self.draw(painter, QRectF(0, 0, width, height), far=far)
        painter.end()
        return image

    def _story_at(self, rig: RigNow) -> Moment:
        since = self._clock() - self._began
        return moment(replace(rig, uncut=self._uncut), self._scene, since)

    def _go_on(self) -> None:
        """The blade follows its reading, the story the clock."""
        now = self._clock()
        if self._wanted is not None and self._uncut is not None:
            share = 1.0 - math.exp(-(now - self._drawn) / FOLLOW_S)
            self._uncut += (self._wanted - self._uncut) * share
        self._drawn = now
        length = STORIES[self._scene].seconds
        if now - self._began < length:
            return
        # After a long pause it begins anew instead of running through what was missed.
        late = now - self._began - length
        self._began = now - late if late < 1.0 else now
        if self._only is None:
            self._scene = (self._scene + 1) % len(STORIES)


class ExplainWidget(QWidget):
    """The drawing in a widget; moves only while it can be seen.

    From about 320 x 200 pixels upwards, in any shape.
    """

    def __init__(
        self,
        parent: QWidget | None = None,
        *,
        clock: Callable[[], float] = time.perf_counter,
    ) -> None:
        super().__init__(parent)
        self.explanation = Explanation(clock)
        self._timer = QTimer(self)
        self._timer.setInterval(TICK_MS)
        self._timer.timeout.connect(self.update)
        self.setMinimumSize(200, 120)
        self.setAccessibleName("How the blade turns bent light into brightness")
        self.setToolTip(
            "How the blade turns bent light into brightness, with the numbers of this rig"
        )

    def sizeHint(self) -> QSize:
        """The size for a corner."""
        return QSize(round(explain_ink.SMALL_WIDTH), round(explain_ink.SMALL_HEIGHT))

    def set_rig(self, settings: Settings) -> None:
        """Draw the rig of these settings."""
        self.explanation.set_rig(settings)
        self.update()

    def set_reading(self, reading: Reading | None) -> None:
        """Where the blade stands now."""
        self.explanation.set_reading(reading)

    def show_only(self, scene: int | None) -> None:
        """Repeat one scene; None goes through all of them."""
        self.explanation.show_only(scene)
        self.update()

    def next_scene(self) -> None:
        """Go to the next scene at once."""
        self.explanation.next_scene()
        self.update()

    @property
    def moving(self) -> bool:
        """True while it is animated."""
        return self._timer.isActive()

    def showEvent(self, event: QShowEvent | None) -> None:
        self.explanation.begin()
        self._timer.start()

    def hideEvent(self, event: QHideEvent | None) -> None:
        self._timer.stop()

    def paintEvent(self, event: QPaintEvent | None) -> None:
        p = QPainter(self)
        self.explanation.draw(p, QRectF(self.rect()))
        p.end()

"""Bigger gain for a moment: raised, and back as it was when the time is over."""

from __future__ import annotations

from collections.abc import Callable

from PyQt6.QtCore import QObject, QTimer, pyqtSignal

from liveview.gui.controls import Controls
from liveview.model import Reading
from liveview.settings import Settings

LEAST, MOST = 1e-4, 10.0
"""Ends of ``enhance.gain_contrast``."""


class MoreGain(QObject):
    """Changes the gain for the whole window and changes it back.

    Parameters
    ----------
    parent : QObject
    controls : Controls
    say : callable
        Words for the presenter.
    """

    ended = pyqtSignal()
    """The time is over."""

    def __init__(self, parent: QObject, controls: Controls, say: Callable[[str], None]) -> None:
        super().__init__(parent)
        self._controls = controls
        self._say = say
        self._settings = Settings()
        self._before: tuple[float | None, float] | None = None
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.timeout.connect(self._over)

    @property
    def on(self) -> bool:
        """The gain is raised."""
        return self._before is not None

    def set_settings(self, settings: Settings) -> None:
        """The settings in force."""
        self._settings = settings

    def toggle(
        self, settings: Settings, reading: Reading | None, times: float, seconds: float
    ) -> None:
        """Raise it ``times`` for so many seconds; when it is raised: back at once."""
        self._settings = settings
        if self.on:
            self._back()
            return
        fixed = settings.enhance.gain_contrast
        scale = fixed
        if scale is None and reading is not None and reading.unit == "contrast":
            scale = reading.scale
        if scale is None:
            self._say("This view has no gain that could be raised.")
            return
        more = min(max(scale / times, LEAST), MOST)
        self._before = (fixed, more)
        self._controls.set("enhance", "gain_contrast", more)
        self._timer.start(round(seconds * 1e3))

    def stop(self) -> None:
        """The window closes."""
        self._timer.stop()

    def _over(self) -> None:
        self._back()
        self.ended.emit()

    def _back(self) -> None:
        """As it was, unless somebody has set another gain meanwhile."""
        self._timer.stop()
        if self._before is not None:
            (before, more), self._before = self._before, None
            if self._settings.enhance.gain_contrast == more:
                self._controls.set("enhance", "gain_contrast", before)

"""Which screen the audience's window is on, and what happens when screens come and go.

::

    off --begin--> on a screen --its screen goes--> waiting --it comes back--> on a screen
     ^                 |  '--on the presenter's own screen: covers it, Esc leads back
     '------ end ------'------------ end ------------'
"""

from __future__ import annotations

from collections.abc import Sequence

from PyQt6.QtCore import QObject, QRect, QTimer, pyqtSignal
from PyQt6.QtGui import QGuiApplication, QScreen
from PyQt6.QtWidgets import QWidget

from liveview.gui.audience import AudienceWindow
from liveview.gui.words import THIN

SETTLE_MS = 250
"""Window systems move windows about when a screen changes; after this they are put right."""


def screen_words(screen: QScreen) -> str:
    """Name and size of a screen."""
    size = screen.size() * screen.devicePixelRatio()
    return f"{screen.name()}, {size.width()}{THIN}×{THIN}{size.height()}"


class Stage(QObject):
    """Puts the audience's window on a screen.

    Parameters
    ----------
    presenter : QWidget
        Any widget of the presenter's window.
    audience : AudienceWindow
    """

    changed = pyqtSignal()
    said = pyqtSignal(str)
    """For the presenter."""

    def __init__(self, presenter: QWidget, audience: AudienceWindow) -> None:
        super().__init__(presenter)
        self._presenter = presenter
        self.audience = audience
        self.wanted = ""
        """Name of the screen that is wanted; empty: a second one."""
        self.running = False
        self.waiting_for = ""
        """Name of the screen that has gone while the show was on it."""
        self._on: QScreen | None = None
        app = QGuiApplication.instance()
        assert isinstance(app, QGuiApplication)
        self._app = app
        app.screenAdded.connect(self._added)
        app.screenRemoved.connect(self._removed)
        audience.closed.connect(self.end)

    # --- what is there

    @property
    def screens(self) -> Sequence[QScreen]:
        """All screens there are."""
        return self._app.screens()

    @property
    def presenters(self) -> QScreen | None:
        """The presenter's screen."""
        return self._presenter.window().screen()  # type: ignore[union-attr]

    @property
    def place(self) -> QScreen | None:
        """The screen that the audience's window is on, or would be put on."""
        if self.running and self._on is not None:
            return self._on
        named = next((s for s in self.screens if s.name() == self.wanted), None)
        if named is not None:
            return named
        own = self.presenters
        return next((s for s in self.screens if s is not own), own)

    @property
    def covers_presenter(self) -> bool:
        """It is on the presenter's own screen."""
        return self.running and self._on is not None and self._on is self.presenters

    # --- what can be done

    def begin(self) -> None:
        """On the screen, at once."""
        place = self.place
        if place is None:
            self.said.emit("There is no screen.")
            return
        self.running, self.waiting_for = True, ""
        self._put(place)
        self.changed.emit()

    def end(self) -> None:
        """Off the screen."""
        was_over = self.covers_presenter
        self.running, self.waiting_for, self._on = False, "", None
        self.audience.hide()
        if was_over:
            self._to_presenter()
        self.changed.emit()

    def next_screen(self) -> None:
        """To the next screen there is."""
        screens, place = list(self.screens), self.place
        if len(screens) < 2 or place is None:
            self.said.emit("There is only one screen.")
            return
        following = screens[(screens.index(place) + 1) % len(screens)]
        self.wanted = following.name()
        if self.running:
            self._put(following)
        self.changed.emit()

    def swap(self) -> None:
        """The presenter's window to the audience's screen and the other way round."""
        own, place = self.presenters, self.place
        if own is None or place is None or own is place:
            self.said.emit("There is only one screen to swap with.")
            return
        self.wanted = own.name()
        self._move_presenter(place)
        if self.running:
            self._put(own)
        self.changed.emit()

    # --- inside

    def _put(self, place: QScreen) -> None:
        self._on = place
        audience = self.audience
        audience.setScreen(place)
        handle = audience.windowHandle()
        if handle is not None:
            handle.setScreen(place)
        if audience.isVisible():
            audience.showNormal()  # a full-screen window does not change screens
        audience.put_on(place.geometry(), full=True)
        if self.covers_presenter:
            audience.raise_()
            audience.activateWindow()
        else:
            self._to_presenter()
        QTimer.singleShot(SETTLE_MS, self._settle)

    def _settle(self) -> None:
        """Put it right where the window system has moved it."""
        on = self._on
        if not self.running or on is None or on not in self.screens:
            return
        if self.audience.geometry() != on.geometry():
            self.audience.setGeometry(on.geometry())
        if self.covers_presenter:
            self.audience.raise_()
            self.audience.activateWindow()

    def _to_presenter(self) -> None:
        window = self._presenter.window()
        if window is not None and window.isVisible():
            window.raise_()
            window.activateWindow()

    def _move_presenter(self, place: QScreen) -> None:
        window = self._presenter.window()
        if window is None:
            return
        full = window.isFullScreen()
        if full:
            window.showNormal()
        room = place.availableGeometry()
        size = window.size().boundedTo(room.size())
        box = QRect(room.topLeft(), size)
        box.moveCenter(room.center())
        window.setScreen(place)
        window.setGeometry(box)
        if full:
            window.showFullScreen()

    def _removed(self, screen: QScreen) -> None:
        if self.running and screen is self._on:
            self.waiting_for, self._on = screen.name(), None
            self.audience.hide()
            self._to_presenter()
            self.said.emit(f"The audience's screen {screen.name()} is gone; it is waited for.")
        self.changed.emit()

    def _added(self, screen: QScreen) -> None:
        if self.running and self._on is None and screen.name() == self.waiting_for:
            self.waiting_for = ""
            self._put(screen)
            self.said.emit(f"The audience's screen {screen.name()} is back.")
        self.changed.emit()

"""The pages of the window in the order of the work, one of them open."""

from __future__ import annotations

from typing import Protocol, cast, runtime_checkable

from PyQt6.QtWidgets import QWidget

from liveview.gui.theme import Look
from liveview.settings import Settings

PAGE_ORDER = ("Plan", "Align", "Watch", "Catch", "Review", "Show")
"""The order of the work; the bar shows those that are there."""

PAGE_KEYS = dict(zip(PAGE_ORDER, ("F2", "F3", "F4", "F5", "F6", "F7"), strict=True))

ALWAYS = ("Pages", "Window")
"""Key groups that work on every page. A page names the others that work on it as ``KEY_GROUPS``."""


@runtime_checkable
class SelfClosing(Protocol):
    """A page that opens things over itself."""

    def close_own(self) -> bool:
        """Put away what is open; False when nothing was."""


@runtime_checkable
class Working(Protocol):
    """A page with threads of its own."""

    def finish(self, timeout_s: float) -> tuple[str, ...]:
        """End them; words about what is stuck."""


class Page(Protocol):
    """What a page must offer, besides being a widget."""

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""

    def set_settings(self, settings: Settings) -> None:
        """The settings in force."""


class Book:
    """The pages. All lie one over the other; only the open one is shown."""

    def __init__(self) -> None:
        self._pages: dict[str, QWidget] = {}

    def add(self, name: str, page: QWidget) -> None:
        """One more, see ``PAGE_ORDER``; it must be a :class:`Page`, too. The first one is open."""
        page.setVisible(not self._pages)
        page.lower()
        self._pages[name] = page

    def __getitem__(self, name: str) -> QWidget:
        return self._pages[name]

    @property
    def names(self) -> list[str]:
        """Those that are there, in the order of the work."""
        return [known for known in PAGE_ORDER if known in self._pages]

    @property
    def open_page(self) -> str:
        """Name of the page that is open."""
        return next(name for name, page in self._pages.items() if not page.isHidden())

    def turn_to(self, name: str) -> None:
        """Open a page."""
        for known, page in self._pages.items():
            page.setVisible(known == name)

    def key_groups(self, name: str) -> tuple[str, ...]:
        """Key groups that work on a page."""
        groups: tuple[str, ...] = getattr(self._pages[name], "KEY_GROUPS", ALWAYS)
        return groups

    def close_own(self) -> bool:
        """Put away what the open page has over itself; False when there was nothing."""
        page = self._pages[self.open_page]
        return page.isVisible() and isinstance(page, SelfClosing) and page.close_own()

    def set_settings(self, settings: Settings) -> None:
        """The settings in force, for all pages."""
        for page in self._pages.values():
            cast(Page, page).set_settings(settings)

    def lay_out(self, width: int, height: int, look: Look) -> None:
        """Every page as large as the window."""
        for page in self._pages.values():
            page.setGeometry(0, 0, width, height)
            cast(Page, page).set_look(look)

    def finish(self, timeout_s: float) -> list[str]:
        """End the threads of all pages; words about what is stuck."""
        words: list[str] = []
        for page in self._pages.values():
            if isinstance(page, Working):
                words.extend(page.finish(timeout_s))
        return words

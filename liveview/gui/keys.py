"""Everything that can be done, with its keys: for shortcuts, tool tips and the key sheet."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from PyQt6.QtGui import QKeySequence, QShortcut
from PyQt6.QtWidgets import QWidget


@dataclass(frozen=True, slots=True)
class Action:
    """One thing to do.

    ``keys`` are portable key names (``"Ctrl+Z"``); the first is shown. ``group`` is the heading
    on the key sheet.
    """

    name: str
    keys: tuple[str, ...]
    title: str
    group: str
    run: Callable[[], None]

    @property
    def key(self) -> str:
        """The key as shown."""
        return shown_key(self.keys[0]) if self.keys else ""


_SHOWN = {"Ctrl+": "Ctrl ", "Shift+": "Shift ", "Escape": "Esc", "Return": "Enter"}
_SHOWN |= {"Left": "\u2190", "Right": "\u2192", "Up": "\u2191", "Down": "\u2193"}


def shown_key(key: str) -> str:
    """``Ctrl+Z`` as it stands on a keycap."""
    for name, shown in _SHOWN.items():
        key = key.replace(name, shown)
    return key


class KeyMap:
    """The actions by name, bound to a window's keys.

    Raises
    ------
    ValueError
        Two actions with one name or one key.
    """

    def __init__(self, actions: Iterable[Action]) -> None:
        self._actions: dict[str, Action] = {}
        self._shortcuts: list[QShortcut] = []
        used: dict[str, str] = {}
        for action in actions:
            if action.name in self._actions:
                raise ValueError(f"two actions are called '{action.name}'")
            self._actions[action.name] = action
            for key in action.keys:
                if key in used:
                    raise ValueError(f"'{key}' is bound to {used[key]} and {action.name}")
                used[key] = action.name

    def __getitem__(self, name: str) -> Action:
        return self._actions[name]

    def __contains__(self, name: str) -> bool:
        return name in self._actions

    def bind(self, window: QWidget) -> None:
        """Make the keys work in this window."""
        for action in self._actions.values():
            for key in action.keys:
                shortcut = QShortcut(QKeySequence(key), window)
                shortcut.setAutoRepeat(action.name in REPEATING)
                shortcut.activated.connect(action.run)
                self._shortcuts.append(shortcut)

    def set_enabled(self, on: bool) -> None:
        """Switch all keys off while text is typed."""
        for shortcut in self._shortcuts:
            shortcut.setEnabled(on)

    def groups(self) -> dict[str, list[Action]]:
        """Actions with keys by heading, in the order given."""
        found: dict[str, list[Action]] = {}
        for action in self._actions.values():
            if action.keys:
                found.setdefault(action.group, []).append(action)
        return found


REPEATING = {"gain up", "gain down", "hand less", "hand more", "hand less fast", "hand more fast"}
"""Actions that go on while the key is held."""

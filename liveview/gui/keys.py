"""Everything that can be done, with its keys: for shortcuts, tool tips and the key sheet."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
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


_SHOWN = {"Escape": "Esc", "Return": "Enter", "Delete": "Del"}
_SHOWN |= {"Left": "\u2190", "Right": "\u2192", "Up": "\u2191", "Down": "\u2193"}


def shown_key(key: str) -> str:
    """``Ctrl+Z`` as it stands on a keycap."""
    held, plus, last = key.rpartition("+")
    if not last:  # the plus key itself
        held, plus, last = key[:-2], key[-2:-1], "+"
    return f"{held.replace('+', ' ')}{plus and ' '}{_SHOWN.get(last, last)}"


def in_order(heading: str, actions: Sequence[Action]) -> Sequence[Action]:
    """Actions as they are listed: pages are added as they are ready, and listed by their key."""
    return sorted(actions, key=lambda action: action.keys[0]) if heading == "Pages" else actions


class KeyMap:
    """The actions by name, bound to a window's keys.

    Raises
    ------
    ValueError
        Two actions with one name, or one key in one group.
    """

    def __init__(self, actions: Iterable[Action] = ()) -> None:
        self._actions: dict[str, Action] = {}
        self._used: dict[tuple[str, str], str] = {}
        self._shortcuts: list[tuple[Action, QShortcut]] = []
        self._window: QWidget | None = None
        self._allowed: frozenset[str] | None = None
        self._on = True
        for action in actions:
            self.add(action)

    def __getitem__(self, name: str) -> Action:
        return self._actions[name]

    def __contains__(self, name: str) -> bool:
        return name in self._actions

    def add(self, action: Action) -> None:
        """One more; works at once when the map is bound. Raises ValueError as the constructor."""
        if action.name in self._actions:
            raise ValueError(f"two actions are called '{action.name}'")
        self._claim(action)
        self._actions[action.name] = action
        if self._window is not None:
            self._bind(action, self._window)

    def replace(self, actions: Sequence[Action]) -> None:
        """Actions that are there get other keys. Raises ValueError as the constructor."""
        names = {action.name for action in actions}
        self._used = {used: name for used, name in self._used.items() if name not in names}
        for action, shortcut in self._shortcuts:
            if action.name in names:
                shortcut.setEnabled(False)
                shortcut.deleteLater()
        self._shortcuts = [pair for pair in self._shortcuts if pair[0].name not in names]
        for action in actions:
            self._claim(action)
            self._actions[action.name] = action
            if self._window is not None:
                self._bind(action, self._window)

    def _claim(self, action: Action) -> None:
        for key in action.keys:
            there = self._used.setdefault((action.group, key), action.name)
            if there != action.name:
                raise ValueError(f"'{key}' is bound to {there} and {action.name}")

    def bind(self, window: QWidget) -> None:
        """Make the keys work in this window."""
        self._window = window
        for action in self._actions.values():
            self._bind(action, window)

    def _bind(self, action: Action, window: QWidget) -> None:
        for key in action.keys:
            shortcut = QShortcut(QKeySequence(key), window)
            shortcut.setAutoRepeat(action.name in REPEATING)
            shortcut.activated.connect(action.run)
            self._shortcuts.append((action, shortcut))
        self._refresh()

    def set_enabled(self, on: bool) -> None:
        """Switch all keys off while text is typed."""
        self._on = on
        self._refresh()

    def allow(self, groups: Iterable[str] | None) -> None:
        """Only the keys of these groups work; all when None.

        Groups that never work together may share keys. Raises ValueError when two of these do.
        """
        self._check(None if groups is None else frozenset(groups))
        self._allowed = None if groups is None else frozenset(groups)
        self._refresh()

    def _check(self, groups: frozenset[str] | None) -> None:
        bound: dict[str, str] = {}
        for (group, key), name in self._used.items():
            if groups is None or group in groups:
                there = bound.setdefault(key, name)
                if there != name:
                    raise ValueError(f"'{key}' is bound to {there} and {name}")

    def _refresh(self) -> None:
        for action, shortcut in self._shortcuts:
            allowed = self._allowed is None or action.group in self._allowed
            shortcut.setEnabled(self._on and allowed)

    def groups(self, *, working: bool = False) -> dict[str, list[Action]]:
        """Actions with keys by heading, in the order given; ``working``: those allowed now."""
        found: dict[str, list[Action]] = {}
        for action in self._actions.values():
            allowed = not working or self._allowed is None or action.group in self._allowed
            if action.keys and allowed:
                found.setdefault(action.group, []).append(action)
        return found


REPEATING = {
    *("gain up", "gain down", "less", "more", "less fast", "more fast"),
    *(f"review {name}" for name in ("on", "back", "far on", "far back", "gain up", "gain down")),
    *(f"review {name}" for name in ("newer", "older", "edge left", "edge right")),
}
"""Actions that go on while the key is held."""

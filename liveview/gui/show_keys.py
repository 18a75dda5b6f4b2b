"""The presenter's keys: what each does, the usual keys, and a show file's own.

A clicker types PageUp, PageDown, a full stop or B; a foot-switch whatever it was set to, often F13
and up. Any key or combination that the keyboard can type may stand in the show file. A key held
down counts once.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from PyQt6.QtGui import QKeySequence

from liveview.errors import BadRequest
from liveview.gui.keys import Action

GROUP = "Show"


@dataclass(frozen=True, slots=True)
class Deed:
    """Something a presenter can do: its name in show files, the usual keys, and in words."""

    name: str
    keys: tuple[str, ...]
    title: str


DEEDS = (
    Deed("next", ("PgDown", "Right"), "Next caption"),
    Deed("previous", ("PgUp", "Left"), "Caption before"),
    Deed("blank", (".", "B"), "Blank screen, and back"),
    Deed("freeze", ("Space",), "Freeze the picture, go on"),
    Deed("wipe", ("W",), "Wipe to the plain picture, and back"),
    Deed("half", ("Shift+W",), "Wipe half-way"),
    Deed("replay", ("R",), "Last spark slowly, or live again"),
    Deed("replay_by_itself", ("A",), "Replay every spark by itself"),
    Deed("spotlight", ("L",), "Spotlight, and back"),
    Deed("spotlight_left", ("Ctrl+Left",), "Spotlight to the left"),
    Deed("spotlight_right", ("Ctrl+Right",), "Spotlight to the right"),
    Deed("spotlight_up", ("Ctrl+Up",), "Spotlight up"),
    Deed("spotlight_down", ("Ctrl+Down",), "Spotlight down"),
    Deed("more_gain", ("G",), "More gain for a moment"),
    Deed("view", ("V",), "Next view"),
    Deed("caption", ("Down",), "Caption away, and back"),
    Deed("clock", ("C",), "Clock"),
    Deed("legend", ("N",), "Legend"),
    Deed("explanation", ("E",), "Drawing of the rig in the corner"),
    Deed("screen", ("O",), "On the audience's screen, or off it"),
    Deed("next_screen", ("M",), "Another screen"),
    Deed("swap", ("X",), "Swap the two screens"),
    Deed("guard", ("Ctrl+G",), "Flash guard off (asks), or on"),
)

TAKEN = (
    *("F1", "F2", "F3", "F4", "F5", "F6", "F7", "F8", "F11", "?", "S"),
    *("Escape", "Ctrl+Q", "Shift+F1", "Ctrl+P"),
    *("Ctrl+O", "Y", "K"),
)
"""Keys of the window and its pages, and those of the Show page's sheets."""


_ALSO = {"pageup": "PgUp", "pagedown": "PgDown", "period": ".", "full stop": "."}
"""Other names of clickers' keys."""


def keys_for(own: Mapping[str, Sequence[str]]) -> dict[str, tuple[str, ...]]:
    """Keys of every deed: a show file's own go before the usual ones.

    A usual key that the show file gives to something else is taken from what had it.

    Raises
    ------
    BadRequest
        An unknown deed, an unknown key, one key twice, or a key of the window.
    """
    names = {deed.name for deed in DEEDS}
    given: dict[str, str] = {}
    for name, keys in own.items():
        if name not in names:
            raise _wrong(name, f"unknown; known are {', '.join(sorted(names))}", "correct the name")
        for key in keys:
            plain = _portable(name, key)
            if plain in (_portable("", taken) for taken in TAKEN):
                raise _wrong(name, f"'{key}' belongs to the window", "choose another key")
            if given.setdefault(plain, name) != name:
                raise _wrong(name, f"'{key}' is given to {given[plain]}, too", "give it to one")
    found = {}
    for deed in DEEDS:
        if deed.name in own:
            found[deed.name] = tuple(_portable(deed.name, key) for key in own[deed.name])
        else:
            usual = (_portable(deed.name, key) for key in deed.keys)
            found[deed.name] = tuple(key for key in usual if key not in given)
    return found


def show_actions(
    keys: Mapping[str, tuple[str, ...]], do: Callable[[str], Callable[[], None]]
) -> tuple[Action, ...]:
    """The actions of the show; ``do`` gives what a deed's name stands for."""
    return tuple(
        Action(f"show {deed.name}", keys[deed.name], deed.title, GROUP, do(deed.name))
        for deed in DEEDS
    )


def _portable(name: str, key: str) -> str:
    """A key as Qt spells it."""
    sequence = QKeySequence(_ALSO.get(key.lower(), key))
    text = sequence.toString(QKeySequence.SequenceFormat.PortableText)
    if sequence.count() != 1 or not text:
        raise _wrong(name, f"'{key}' is no key", "name one such as PgDown, F13, Ctrl+B or '.'")
    return text


def _wrong(name: str, what: str, remedy: str) -> BadRequest:
    return BadRequest(what, f"show.keys.{name}", remedy)

"""The list of everything the keyboard can do in the window."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Protocol

from liveview.gui.controls import Controls
from liveview.gui.keys import Action
from liveview.model import CalibrationKind

VIEW_WORDS = {
    "plain": "Plain, as the camera sees it",
    "lifted": "Lifted from its background",
    "signed": "In signed colours",
    "movement": "Movement only",
    "trail": "Peaks of the last seconds",
    "arrows": "With arrows of the flow",
    "significance": "Against its own noise",
}

LOOK, CALIBRATE, CATCH = "Look", "Calibrate", "Catch"
PANELS, WINDOW = "Panels", "Window"


class Deeds(Protocol):
    """What the window itself can do."""

    def do(self, name: str) -> None:
        """``freeze``, ``whole``, ``place``, ``find``, ``source``, ``full``, ``keys``, ``guide``,
        ``explain``, ``card``, ``clock``, ``back``, ``quit``, or the panels ``hand``, ``enhance``,
        ``catch``, ``steps``, ``camera``."""

    def turn(self, steps: int) -> None:
        """Turn what the open panel has in hand."""

    def choose(self, by: int) -> None:
        """Another thing in the open panel."""


def actions_for(window: Deeds, c: Controls, views: Sequence[str]) -> list[Action]:
    """All actions, in the order of the key sheet."""
    return [
        *_looking(window, c, views),
        *_calibrating(c),
        *_panels(window),
        Action("arm", ("A",), "Arm or disarm the trigger", CATCH, c.arm),
        Action("trigger", ("T",), "Keep what happens now", CATCH, c.trigger),
        *_window(window),
    ]


def _do(window: Deeds, name: str) -> Callable[[], None]:
    return partial(window.do, name)


def _looking(window: Deeds, c: Controls, views: Sequence[str]) -> list[Action]:
    return [
        Action("freeze", ("Space",), "Freeze the picture, go on", LOOK, _do(window, "freeze")),
        *(
            Action(
                f"view {view}",
                (str(k + 1),),
                VIEW_WORDS.get(view, view),
                LOOK,
                partial(c.view, view),
            )
            for k, view in enumerate(views)
        ),
        Action("gain", ("G",), "Gain automatic or fixed", LOOK, c.gain),
        Action("gain up", ("+", "="), "More gain", LOOK, partial(c.gain_by, 1)),
        Action("gain down", ("-",), "Less gain", LOOK, partial(c.gain_by, -1)),
        Action("whole", ("W",), "Whole picture, or the disc", LOOK, _do(window, "whole")),
        Action("place", ("P",), "Place the disc by hand", LOOK, _do(window, "place")),
        Action("find", ("F",), "Find the disc", LOOK, _do(window, "find")),
    ]


def _calibrating(c: Controls) -> list[Action]:
    keys = {
        CalibrationKind.DARK: "D",
        CalibrationKind.OPEN: "O",
        CalibrationKind.REFERENCE: "R",
    }
    return [
        *(
            Action(
                f"take {kind.value}",
                (key,),
                f"Take the {kind.value} picture",
                CALIBRATE,
                partial(c.take, kind),
            )
            for kind, key in keys.items()
        ),
        Action("undo", ("Ctrl+Z",), "Undo the last one", CALIBRATE, c.undo),
        Action("side", ("B",), "Side the blade comes from", CALIBRATE, c.blade_side),
    ]


def _panels(window: Deeds) -> list[Action]:
    return [
        Action("enhance", ("E",), "How it is enhanced", PANELS, _do(window, "enhance")),
        Action("catch", ("C",), "What is caught", PANELS, _do(window, "catch")),
        Action(
            "camera", ("L",), "The camera: exposure, gain, format", PANELS, _do(window, "camera")
        ),
        Action(
            "clock",
            ("Shift+L",),
            "Check its clock by flash and sound",
            PANELS,
            _do(window, "clock"),
        ),
        Action("steps", ("I",), "What each step takes", PANELS, _do(window, "steps")),
        Action("hand", ("H",), "Hand on the simulated rig", PANELS, _do(window, "hand")),
        Action("earlier", ("Up",), "The setting above", PANELS, partial(window.choose, -1)),
        Action("later", ("Down",), "The setting below", PANELS, partial(window.choose, 1)),
        Action("less", ("Left",), "Less of it", PANELS, partial(window.turn, -1)),
        Action("more", ("Right",), "More of it", PANELS, partial(window.turn, 1)),
        Action("less fast", ("Shift+Left",), "Much less of it", PANELS, partial(window.turn, -10)),
        Action("more fast", ("Shift+Right",), "Much more of it", PANELS, partial(window.turn, 10)),
    ]


def _window(window: Deeds) -> list[Action]:
    return [
        Action("source", ("S",), "Choose the source", WINDOW, _do(window, "source")),
        Action("full", ("F11",), "Full screen", WINDOW, _do(window, "full")),
        Action("keys", ("F1", "?"), "These keys", WINDOW, _do(window, "keys")),
        Action("guide", ("Shift+F1",), "The user guide", WINDOW, _do(window, "guide")),
        Action("explain", ("F8",), "How the blade works", WINDOW, _do(window, "explain")),
        Action("key card", ("Ctrl+P",), "All keys on paper (PDF)", WINDOW, _do(window, "card")),
        Action("back", ("Escape",), "Put sheets away", WINDOW, _do(window, "back")),
        Action("quit", ("Ctrl+Q",), "Quit", WINDOW, _do(window, "quit")),
    ]

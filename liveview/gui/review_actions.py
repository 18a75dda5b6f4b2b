"""Everything that can be done on the Review page, with its keys."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from liveview.gui.actions import VIEW_WORDS
from liveview.gui.keys import Action
from liveview.gui.review_replay import Replay

if TYPE_CHECKING:
    from liveview.gui.review_page import ReviewPage

GROUP = "Review"

TOOL_KEYS = {
    "length": ("D", "Length", "Measure a length"),
    "angle": ("A", "Angle", "Measure an angle"),
    "front": ("F", "Front speed", "Measure the speed of a round front"),
    "rise": ("R", "Rise speed", "Measure how fast something rises"),
    "flicker": ("H", "Flicker", "Measure the flicker of a patch"),
    "plume": ("T", "Plume temperature", "Measure a plume's temperature"),
    "scale": ("U", "Known length", "Set the scale by a known length"),
}


def review_actions(page: ReviewPage, replay: Replay, views: tuple[str, ...]) -> tuple[Action, ...]:
    """All of them, in the order of the key sheet."""

    def act(name: str, keys: tuple[str, ...], title: str, run: Callable[[], object]) -> Action:
        return Action(f"review {name}", keys, title, GROUP, partial(page.act, run))

    return (
        act("play", ("Space",), "Play, or stand still", replay.toggle_play),
        act("on", ("Right",), "One frame on", partial(page.step, 1)),
        act("back", ("Left",), "One frame back", partial(page.step, -1)),
        act("far on", ("Shift+Right",), "Ten frames on", partial(page.step, 10)),
        act("far back", ("Shift+Left",), "Ten frames back", partial(page.step, -10)),
        act("first", ("Home",), "To the stretch's start", partial(page.end_of_stretch, 0)),
        act("last", ("End",), "To the stretch's end", partial(page.end_of_stretch, 1)),
        act("spark", ("K",), "To the next spark", replay.to_spark),
        act("slower", (",",), "Slower", partial(replay.faster, -1)),
        act("faster", (".",), "Faster", partial(replay.faster, 1)),
        act("loop", ("L",), "Begin again at the end", replay.toggle_loop),
        act("start", ("[",), "The stretch starts here", replay.start_here),
        act("end", ("]",), "The stretch ends here", replay.end_here),
        act("whole", ("W",), "The whole event again", replay.whole_stretch),
        *(
            act(f"view {view}", (str(k + 1),), VIEW_WORDS.get(view, view), run)
            for k, view in enumerate(views)
            for run in (partial(page.see_view, view),)
        ),
        act("gain", ("G",), "Gain automatic or fixed", replay.toggle_gain),
        act("gain up", ("+", "="), "More gain", partial(replay.gain_by, 1)),
        act("gain down", ("-",), "Less gain", partial(replay.gain_by, -1)),
        act("compare", ("C",), "Compare with the plain picture", replay.toggle_compare),
        act("hold", ("V",), "Hold this picture to compare with", replay.hold),
        act("edge left", ("Alt+Left",), "Edge to the left", partial(page.move_edge, -1)),
        act("edge right", ("Alt+Right",), "Edge to the right", partial(page.move_edge, 1)),
        act("newer", ("Up",), "The event above", partial(page.library.open_neighbour, -1)),
        act("older", ("Down",), "The event below", partial(page.library.open_neighbour, 1)),
        act("elsewhere", ("O",), "Open a recording elsewhere", page.ask_elsewhere),
        act("bin", ("Delete",), "Put the event into the bin", page.library.bin),
        act("undo", ("Ctrl+Z",), "Put it back", page.library.undo),
        act("measure", ("M",), "Measure", page.toggle_measure),
        *(
            act(f"tool {tool}", (key,), words, partial(page.take_tool, tool))
            for tool, (key, _, words) in TOOL_KEYS.items()
        ),
        act("keep", ("Return", "Enter"), "Keep what was measured", page.desk.keep),
        act("export", ("E",), "Write it to a file", page.open_export),
    )

"""From what the presenter has set to the scene that is composed: words, legend and drawing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from PyQt6.QtCore import QRectF

from liveview.gui.audience_scene import Legend, Scene, Spotlight, Words
from liveview.gui.show_board import Board
from liveview.gui.show_drawing import CornerDrawing
from liveview.gui.show_words import CalmLegend
from liveview.model import Reading
from liveview.settings import Settings


@dataclass(frozen=True, slots=True)
class Source:
    """What the audience is told about where the picture comes from."""

    reading: Reading | None
    """None while there has been no picture."""
    mark: str = ""
    """What is unusual about it: a slow replay, a frozen picture."""
    stalled: bool = False
    simulated: bool = False


class SceneMaker:
    """Makes scenes; keeps the drawing and the calm figures of the legend from one to the next.

    Parameters
    ----------
    board : Board
    clock : callable
        Seconds, never running back.
    """

    def __init__(self, board: Board, clock: Callable[[], float]) -> None:
        self._board = board
        self._clock = clock
        self._drawing = CornerDrawing(clock)
        self._drawn = False
        self._legend = CalmLegend()

    def set_rig(self, settings: Settings) -> None:
        """The rig to draw."""
        self._drawing.set_rig(settings)

    def set_reading(self, reading: Reading) -> None:
        """Where the blade stands, for the drawing."""
        if self._board.drawing_on:
            self._drawing.set_reading(reading)

    def scene(self, source: Source, drawing_box: QRectF) -> Scene:
        """The scene of this moment.

        Parameters
        ----------
        source : Source
        drawing_box : QRectF
            The drawing's place in the audience's frame, pixels.
        """
        board = self._board
        x, y = board.spot
        drawing = None
        if board.drawing_on and not self._drawn:
            self._drawing.begin()
        self._drawn = board.drawing_on
        if board.drawing_on:
            size = round(drawing_box.width()), round(drawing_box.height())
            drawing = self._drawing.pixels(*size)
        return Scene(
            words=self._words(source),
            edge=board.edge.value,
            light=board.light.value,
            spotlight=Spotlight(x, y, board.show.spotlight_size, board.spot_depth.value),
            drawing=drawing,
            column=board.has_words,
            room_for_drawing=board.drawing_on,
        )

    def _words(self, source: Source) -> Words:
        board = self._board
        caption = board.caption
        return Words(
            title=board.show.title,
            caption=caption.text if caption is not None and board.caption_on else "",
            legend=self._legend_of(source.reading),
            clock=datetime.now().strftime("%H:%M") if board.clock_on else "",
            mark=source.mark,
            stalled=source.stalled,
            simulated=source.simulated,
        )

    def _legend_of(self, reading: Reading | None) -> Legend | None:
        if reading is None or not self._board.legend_on:
            return None
        return self._legend.of(reading, self._board.edge.value, self._clock())

"""The tools of the Review page at work: from marks in the picture to a result that can be kept."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from PyQt6.QtCore import QObject, pyqtSignal

from liveview.errors import LiveviewError
from liveview.gui.review_marks import Drawing, Point, ReviewMarks, Shape
from liveview.gui.review_measure_panel import MeasurePanel
from liveview.gui.review_measuring import Measuring, Result, with_hand_point
from liveview.gui.review_task import Task
from liveview.review.export.job import Job
from liveview.review.measure import (
    FrontPoint,
    Measurement,
    Scale,
    add_measurement,
    load_measurements,
    scale_from_length,
)
from liveview.units import parse_quantity

SHAPES = {
    "length": Shape.LINE,
    "angle": Shape.POINT,
    "front": Shape.POINT,
    "rise": Shape.LINE,
    "flicker": Shape.BOX,
    "plume": Shape.LINE,
    "scale": Shape.LINE,
}
"""What each tool draws."""

TOOLS = tuple(SHAPES)


class MeasureDesk(QObject):
    """One tool in hand, one task at most.

    ::

        no tool --take up--> drawing --at once--> result --keep--> saved with the event
                               |  '--task--> working --poll--> result
                               '<-- a new drawing replaces all of it

    Parameters
    ----------
    measuring : callable
        The event, stretch and frame that are shown; None while nothing is open.
    """

    said = pyqtSignal(str)
    worked = pyqtSignal()
    """A task was started: poll until it has ended."""

    def __init__(
        self, marks: ReviewMarks, panel: MeasurePanel, measuring: Callable[[], Measuring | None]
    ) -> None:
        super().__init__()
        self._marks = marks
        self._panel = panel
        self._measuring = measuring
        self.tool = ""
        self._points: list[Point] = []
        self._by_hand: tuple[FrontPoint, ...] = ()
        self._scale: Scale | None = None
        self._line: tuple[Point, Point] | None = None
        self._task: Task | None = None
        self._leaving: list[Task] = []
        self.result: Result | None = None
        self._unit = "mm"
        marks.drawn.connect(self._drawn)
        panel.keep.clicked.connect(self.keep)
        panel.length_field.returnPressed.connect(self._length_typed)

    @property
    def working(self) -> bool:
        """True while a task runs."""
        return self._task is not None or bool(self._leaving)

    def set_unit(self, unit: str) -> None:
        """Unit of lengths on the screen."""
        self._unit = unit

    def take_up(self, tool: str) -> None:
        """Take a tool in hand; none when empty."""
        self._give_up()
        self.tool = tool
        self._points, self._by_hand, self.result = [], (), None
        self._marks.draw(SHAPES.get(tool, Shape.NONE), straight=tool == "plume")
        self._marks.show_drawing(Drawing())
        self._panel.show_result(None, None, "")
        self._panel.show_tool(tool)

    def event_changed(self, kept: bool = False) -> None:
        """Another event is open: nothing drawn belongs to it."""
        self._scale = None
        self.take_up(self.tool)
        self.refresh_kept()

    def refresh_kept(self) -> None:
        """Read what is saved with the event."""
        m = self._measuring()
        kept: tuple[Measurement, ...] = ()
        if m is not None:
            try:
                kept = load_measurements(m.facts.path)
            except LiveviewError as error:
                self.said.emit(str(error))
        self._panel.show_kept(kept, self._unit)

    def frame_changed(self) -> None:
        """Another frame is shown: the ring of the front follows."""
        m, result = self._now(), self.result
        if m is None or result is None or self.tool != "front" or not self._points:
            return
        here = [p for p in result.points if p.frame == m.stretch.at]
        centre = self._points[0]
        rings = tuple((centre, p.radius_px) for p in here)
        self._marks.show_drawing(Drawing(points=(centre,), rings=rings))

    def _now(self) -> Measuring | None:
        m = self._measuring()
        if m is None:
            return None
        return Measuring(m.facts, m.stretch, self._scale, self._by_hand)

    # --- drawing

    def _drawn(self, a: Point, b: Point) -> None:
        m = self._now()
        if m is None:
            return
        draw: Callable[[Measuring, Point, Point], None] = getattr(self, f"_draw_{self.tool}")
        try:
            draw(m, a, b)
        except (LiveviewError, ValueError) as error:
            self._show(Result(None, self._marks.drawing, None, str(error)))

    def _draw_length(self, m: Measuring, a: Point, b: Point) -> None:
        self._show(m.length(a, b))

    def _draw_angle(self, m: Measuring, a: Point, b: Point) -> None:
        if len(self._points) >= 3:
            self._points = []
        self._points.append(a)
        self._marks.show_drawing(Drawing(points=tuple(self._points)))
        if len(self._points) == 3:
            self._show(m.angle(*self._points))

    def _draw_front(self, m: Measuring, a: Point, b: Point) -> None:
        if not self._points:
            self._points = [a]
        else:
            m = with_hand_point(m, self._points[0], a)
            self._by_hand = m.by_hand
        centre = self._points[0]
        rings = tuple((centre, p.radius_px) for p in m.by_hand if p.frame == m.stretch.at)
        self._marks.show_drawing(Drawing(points=(centre,), rings=rings))
        self._begin("front", partial(m.front, centre))

    def _draw_rise(self, m: Measuring, a: Point, b: Point) -> None:
        self._marks.show_drawing(Drawing(lines=((a, b),)))
        self._begin("rise speed", partial(m.rise, a, b))

    def _draw_flicker(self, m: Measuring, a: Point, b: Point) -> None:
        self._marks.show_drawing(Drawing(boxes=((a, b),)))
        self._begin("flicker", partial(m.flicker, a, b))

    def _draw_plume(self, m: Measuring, a: Point, b: Point) -> None:
        self._marks.show_drawing(Drawing(lines=((a, b),)))
        self._begin("plume", partial(m.plume, a, b))

    def _draw_scale(self, m: Measuring, a: Point, b: Point) -> None:
        self._line = (a, b)
        self._marks.show_drawing(Drawing(lines=((a, b),)))
        self._panel.length_field.show()
        self._panel.length_field.setFocus()
        self._panel.lay_out()

    def _length_typed(self) -> None:
        """The length of what was marked: from now on the scale of this event."""
        if self._line is None:
            return
        try:
            length = parse_quantity(self._panel.length_field.text(), "m", "length")
            self._scale = scale_from_length(*self._line, length)
        except (LiveviewError, ValueError) as error:
            self.said.emit(str(error))
            return
        self._panel.length_field.hide()
        self._marks.setFocus()
        self._show(Result(self._scale.measurement(), Drawing(lines=(self._line,))))

    # --- working

    def _begin(self, name: str, body: Callable[[Job], Result]) -> None:
        self._give_up()
        self._task = Task(name, body)
        self._task.start()
        self._panel.show_busy(None)
        self.worked.emit()

    def _give_up(self) -> None:
        if self._task is not None:
            self._task.cancel()
            self._leaving.append(self._task)
            self._task = None

    def poll(self) -> None:
        """See how far the task is; called on a timer while one runs."""
        self._leaving = [task for task in self._leaving if task.running]
        task = self._task
        if task is None:
            return
        if task.running:
            self._panel.show_busy(task.share)
            return
        self._task = None
        words = task.words
        found: Any = task.result
        if found is None:
            found = Result(None, self._marks.drawing, None, words)
        self._show(found)

    def cancel(self) -> bool:
        """Leave what is being worked out; False when nothing is."""
        if self._task is None:
            return False
        self._give_up()
        self._panel.show_result(None, None, "left")
        return True

    def _show(self, result: Result) -> None:
        self.result = result
        self._marks.show_drawing(result.drawing)
        self._panel.show_result(result.measurement, result.plot, result.words)
        self.frame_changed()

    # --- keeping

    def keep(self) -> None:
        """Save the result with the event; while a length is typed, take that."""
        if self._panel.length_field.isVisible():
            self._length_typed()
            return
        m, result = self._measuring(), self.result
        if m is None or result is None or result.measurement is None:
            return
        try:
            kept = add_measurement(m.facts.path, result.measurement)
        except LiveviewError as error:
            self.said.emit(str(error))
            return
        self.result = Result(None, result.drawing, result.plot, "", result.points)
        self._panel.show_result(None, result.plot, "")
        self._panel.show_kept(kept, self._unit)
        self.said.emit("Kept with the event.")

    def finish(self, timeout_s: float) -> None:
        """End what runs. Raises WorkerStuck."""
        self._give_up()
        for task in self._leaving:
            task.finish(timeout_s)
        self._leaving = []

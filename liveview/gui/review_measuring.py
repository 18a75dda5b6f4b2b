"""What the tools of the Review page do with an event; run by a task, never by the window."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from liveview.errors import BadRequest, InputUnreadable
from liveview.gui.review_marks import Drawing, Point
from liveview.gui.review_reader import EventFacts
from liveview.gui.review_side import started_by
from liveview.gui.words import count
from liveview.model import Cause, Light, Side
from liveview.optics.scale import geometry
from liveview.recorder.reading import StoredEvent
from liveview.review.enhance import Enhancer
from liveview.review.export.job import Job
from liveview.review.measure import (
    FrontPoint,
    Measurement,
    Scale,
    find_front,
    front_table,
    hand_point,
    measure_angle,
    measure_flicker,
    measure_front_speed,
    measure_length,
    measure_plume,
    measure_rise_speed,
    plume_table,
    radial_profile,
    scale_from_disc,
    space_time,
    space_time_table,
    spectrum,
    spectrum_table,
    uncut_of,
)
from liveview.review.measure.fronts import has_left, track_front
from liveview.review.measure.rise import strip_around

MOST_FRONT_FRAMES = 120
MOST_BYTES = 400_000_000
"""Memory that the contrast frames of one measurement may take."""

MOST_RISE_FRAMES = 1200
"""Neighbouring frames that a rise speed is told from: more say little and take long."""

PLUME_FRAMES = 8
"""Frames averaged for a plume's temperature."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Plot:
    """A diagram: points with error bars, a line, or an image; ``table`` is its CSV."""

    name: str
    x_name: str
    y_name: str
    x: Floats
    y: Floats
    sigma: Floats | None = None
    joined: bool = False
    line: tuple[Floats, Floats] | None = None
    image: Floats | None = None
    """(along y, along x): drawn from ``x[0]``..``x[1]`` and ``y[0]``..``y[1]``."""
    table: str = ""


@dataclass(frozen=True, slots=True)
class Result:
    """What came out: to be shown, and to be kept if the user says so."""

    measurement: Measurement | None
    drawing: Drawing = field(default_factory=Drawing)
    plot: Plot | None = None
    words: str = ""
    points: tuple[FrontPoint, ...] = ()


@dataclass(frozen=True, slots=True)
class Stretch:
    """Frames first..last of an event, and the one that is shown."""

    first: int
    last: int
    at: int


class Looking:
    """Goes through the frames of one measurement; damaged ones are left out and counted."""

    def __init__(self, job: Job) -> None:
        self._job = job
        self._damaged = 0

    def at(
        self, frames: Sequence[int], look: Callable[[int], Light]
    ) -> Iterator[tuple[int, Light]]:
        """Each frame's index and what is seen of it.

        Raises
        ------
        InputUnreadable
            None of them can be read.
        """
        self._job.total = len(frames)
        for index in frames:
            self._job.step()
            try:
                seen = look(index)
            except InputUnreadable:
                self._damaged += 1
                if self._damaged == len(frames):
                    raise
                continue
            yield index, seen

    def noted(self, result: Result) -> Result:
        """The result, which says what was left out."""
        if self._damaged == 0:
            return result
        more = f"{count(self._damaged, 'damaged frame', 'damaged frames')} left out"
        made = result.measurement
        if made is None:
            return replace(result, words="; ".join(filter(None, (result.words, more))))
        words = "; ".join(filter(None, (made.words, more)))
        return replace(result, measurement=replace(made, words=words))


@dataclass(frozen=True, slots=True)
class Measuring:
    """An event that is measured. ``scale`` None: the event's own, from the mirror's diameter."""

    facts: EventFacts
    stretch: Stretch
    scale: Scale | None = None
    by_hand: tuple[FrontPoint, ...] = field(default=())

    def metres(self) -> Scale:
        """The scale in use.

        Raises
        ------
        BadRequest
            The mirror's disc is not known and no length was marked.
        """
        if self.scale is not None:
            return self.scale
        if self.facts.disc is None:
            raise BadRequest(
                "there is no scale", "the mirror's disc is not known", "mark a known length first"
            )
        return scale_from_disc(self.facts.disc, geometry(self.facts.settings).object_field_m)

    @property
    def side(self) -> Side:
        """From where the blade came in."""
        return self.facts.settings.blade.side

    @property
    def spark_s(self) -> float | None:
        """When the spark was; None where a person kept the event: a key pressed is no spark."""
        start = self.facts.start
        return None if start.cause in (Cause.HAND, Cause.COUNT) else start.spotted.time_s

    @contextmanager
    def enhancer(self) -> Iterator[Enhancer]:
        """The event opened once more, for one thread."""
        facts = self.facts
        with StoredEvent.open(facts.path) as event:
            settings = facts.settings.replaced("enhance", view="lifted", gain_contrast=facts.scale)
            yield Enhancer(event, settings, calibration=facts.calibration, disc=facts.disc)

    # --- at once

    def length(self, a: Point, b: Point) -> Result:
        """Distance of two points."""
        return Result(measure_length(a, b, self.metres()), Drawing(lines=((a, b),)))

    def angle(self, a: Point, vertex: Point, b: Point) -> Result:
        """Angle at the vertex."""
        return Result(measure_angle(vertex, a, b), Drawing(lines=((a, vertex), (vertex, b))))

    # --- in a task

    def front(self, centre: Point, job: Job) -> Result:
        """The round front about a point, in the stretch, from its spark on if it holds one.

        Points set by hand take the place of those found in their frames.
        """
        source = self.facts.start.source
        first = self.stretch.first
        if self.spark_s is not None and first <= self.facts.spark_index <= self.stretch.last:
            first = self.facts.spark_index
        most = min(most_frames(source.width * source.height), MOST_FRONT_FRAMES)
        frames = evenly(first, self.stretch.last, most)
        by_hand = {point.frame: point for point in self.by_hand}
        kept: list[tuple[int, float, Light]] = []
        rough: list[float] = []
        look = Looking(job)
        with self.enhancer() as enhancer:
            for index, contrast in look.at(frames, enhancer.contrast):
                if has_left(rough):
                    break
                kept.append((index, self.middle_s(index, centre), contrast))
                found = find_front(radial_profile(contrast, centre, self.side))
                if found is not None:
                    rough.append(found.edge_px)
        found_points = track_front(kept, centre, self.side)
        merged = (*(p for p in found_points if p.frame not in by_hand), *self.by_hand)
        points = tuple(sorted(merged, key=lambda p: p.time_s))
        return look.noted(front_result(self, centre, points))

    def middle_s(self, index: int, place: Point) -> float:
        """When a place of a frame was in the middle of its exposure, seconds.

        Rows of a rolling shutter follow each other; a ring about ``place`` is seen at its row's
        time on the average. Where the source does not tell, the frame's own time.
        """
        source, camera = self.facts.start.source, self.facts.settings.camera
        exposure_s = source.exposure_s or camera.exposure_s or 0.0
        row_s = source.row_time_s or camera.row_time_s or 0.0
        return self.facts.times_s[index] + exposure_s / 2 + row_s * place[1]

    def rise(self, start: Point, end: Point, job: Job) -> Result:
        """Speed of what moves along a line."""
        source = self.facts.start.source
        box, low, high = strip_around(source.shape, start, end)
        look = Looking(job)
        frames = self._contrasts(box, look)
        scale = self.metres()
        measurement = measure_rise_speed(frames, low, high, scale)
        measurement = replace(
            measurement, inputs={**measurement.inputs, "line_px": [list(start), list(end)]}
        )
        diagram = space_time(frames, low, high)
        reach = scale.length(diagram.values.shape[1] - 1) * 1e3
        since = diagram.times_s - self.facts.start.spotted.time_s
        plot = Plot(
            "space-time diagram",
            f"ms from the {started_by(self.facts)}",
            "mm along the line",
            np.array([since[0], since[-1]]) * 1e3,
            np.array([0.0, reach]),
            image=diagram.values.T,
            table=space_time_table(diagram),
        )
        return look.noted(Result(measurement, Drawing(lines=((start, end),)), plot))

    def flicker(self, a: Point, b: Point, job: Job) -> Result:
        """Flicker of a patch."""
        facts = self.facts
        source = facts.start.source
        left, right = _inside(a[0], b[0], source.width)
        top, bottom = _inside(a[1], b[1], source.height)
        look, found = Looking(job), []
        with self.enhancer() as enhancer:
            frames = range(self.stretch.first, self.stretch.last + 1)
            for index, light in look.at(frames, enhancer.light):
                found.append((facts.times_s[index], light[top:bottom, left:right].mean()))
        times, signal = np.array(found, np.float64).T
        shown = spectrum(times, signal)
        mean = max(float(signal.mean()), 1e-12)
        plot = Plot(
            "spectrum",
            "Hz",
            "% of the patch's light",
            shown.frequency_hz,
            shown.amplitude / mean * 100,
            joined=True,
            table=spectrum_table(shown),
        )
        drawing = Drawing(boxes=((a, b),))
        try:
            patch = (left, top, right - left, bottom - top)
            return look.noted(Result(measure_flicker(times, signal, patch), drawing, plot))
        except ValueError as error:
            return look.noted(Result(None, drawing, plot, str(error)))

    def plume(self, a: Point, b: Point, job: Job) -> Result:
        """Temperature of a round plume from a line across it, about the frame that is shown."""
        facts, at = self.facts, self.stretch.at
        rows = self.side in (Side.LEFT, Side.RIGHT)
        k = 0 if rows else 1
        line = round((a[1 - k] + b[1 - k]) / 2)
        limit = (facts.start.source.width, facts.start.source.height)[k]
        first, stop = _inside(a[k], b[k], limit)
        frames = range(max(0, at - PLUME_FRAMES // 2), len(facts.times_s))[:PLUME_FRAMES]
        look = Looking(job)
        with self.enhancer() as enhancer:
            contrasts = [contrast for _, contrast in look.at(frames, enhancer.contrast)]
        measurement, profile = measure_plume(
            contrasts,
            facts.settings,
            uncut_of(facts.calibration, facts.disc),
            self.metres(),
            line,
            first,
            stop - 1,
        )
        plot = Plot(
            "temperature",
            "mm from the axis",
            "\u00b0C",
            profile.r_m * 1e3,
            profile.temperature_k - 273.15,
            profile.temperature_sigma_k,
            joined=True,
            table=plume_table(profile),
        )
        ends = ((first, line), (stop - 1, line)) if rows else ((line, first), (line, stop - 1))
        return look.noted(Result(measurement, Drawing(lines=(ends,)), plot))

    def _contrasts(self, box: tuple[slice, slice], look: Looking) -> list[tuple[float, Light]]:
        """Part of the contrast of neighbouring frames, with their times."""
        facts = self.facts
        rows, columns = (part.stop - part.start for part in box)
        frames = around(self.stretch, min(most_frames(rows * columns), MOST_RISE_FRAMES))
        with self.enhancer() as enhancer:
            return [
                (facts.times_s[index], contrast[box].copy())
                for index, contrast in look.at(frames, enhancer.contrast)
            ]


def evenly(first: int, last: int, most: int) -> list[int]:
    """Whole numbers from first to last, at most so many, evenly apart."""
    every = max(1, math.ceil((last - first + 1) / most))
    return list(range(first, last + 1, every))


def around(stretch: Stretch, most: int) -> range:
    """At most so many neighbouring frames of the stretch, about the one that is shown."""
    first = max(stretch.first, min(stretch.at - most // 2, stretch.last + 1 - most))
    return range(first, min(first + most, stretch.last + 1))


def most_frames(pixels: int) -> int:
    """How many contrast pictures of so many pixels fit into the memory meant for them; 8 do."""
    return max(8, MOST_BYTES // (4 * pixels))


def _inside(one: float, other: float, size: int) -> tuple[int, int]:
    """Pixels from one to the other inside the picture, the end not included."""
    low, high = sorted((round(one), round(other)))
    low = min(max(low, 0), size - 1)
    return low, min(max(high + 1, low + 1), size)


def front_result(m: Measuring, centre: Point, points: tuple[FrontPoint, ...]) -> Result:
    """Speed and diagram of a front whose places are known."""
    here = [p for p in points if p.frame == m.stretch.at]
    drawing = Drawing(points=(centre,), rings=tuple((centre, p.radius_px) for p in here))
    if len(points) < 3:
        found = f"a front stands out in {len(points)} frames only" if points else "no front found"
        return Result(None, drawing, None, f"{found}: click it in three frames or more", points)
    scale, facts = m.metres(), m.facts
    measurement = measure_front_speed(
        points,
        scale,
        temperature_k=facts.settings.rig.temperature_k,
        pressure_pa=facts.settings.rig.pressure_pa,
        since_s=m.spark_s,
    )
    since = np.array([p.time_s for p in points]) - facts.start.spotted.time_s
    radii = np.array([scale.length(p.radius_px) for p in points])
    straight = np.polyfit(since, radii, 1)
    ends = np.array([since[0], since[-1]])
    plot = Plot(
        "front",
        f"ms from the {started_by(facts)}",
        "mm radius",
        since * 1e3,
        radii * 1e3,
        np.array([scale.length(p.sigma_px) for p in points]) * 1e3,
        line=(ends * 1e3, np.polyval(straight, ends) * 1e3),
        table=front_table(points, scale),
    )
    return Result(measurement, drawing, plot, "", points)


def with_hand_point(m: Measuring, centre: Point, place: Point) -> Measuring:
    """With a place of the front clicked in the frame that is shown."""
    at = m.stretch.at
    point = hand_point(at, m.middle_s(at, centre), centre, place)
    others = tuple(p for p in m.by_hand if p.frame != at)
    return replace(m, by_hand=(*others, point))

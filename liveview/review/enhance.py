"""A stored event through the chain again: the same picture for the same frame, in any order.

Live, the chain learns as it goes (background from the first frames, display gain that follows) and
leaves steps out when it is late. Here background and gain are settled once per event and nothing is
left out, so that a frame's picture depends on the event and the settings only and can be made again
bit for bit. Where the settings look back (trails, averaging, a background that follows ...) the
chain sees all frames of the event up to the wanted one, as it did live.

A frame that cannot be read is left out of all this, in words; only when it is itself wished for
is that an error.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from liveview.engine.chain import Chain
from liveview.errors import BadRequest, InputUnreadable
from liveview.imaging.autogain import wanted_scale
from liveview.imaging.background import PictureAverager
from liveview.model import (
    Bytes,
    Calibration,
    CalibrationKind,
    Disc,
    Frame,
    Light,
    Reading,
)
from liveview.recorder.reading import StoredEvent
from liveview.review.measure.fronts import flashes_among
from liveview.settings import Settings, validated

BACKGROUND_FRAMES = 16
PROBES = 24
PROBE_STEP = 4
BEYOND = 0.03
"""Share of an event's pixels that may be beyond the palette's end."""
DARKEST = 1.0
"""Contrast of a place without light, either way the end of what can be told apart at half cut."""
VIEWS_OF_ONE_FRAME = frozenset({"plain", "lifted", "signed"})
HISTORY_FRAMES = 32
"""Frames run before the wanted one when looking back need not be exact."""


def looks_back(settings: Settings) -> bool:
    """True when a frame's picture depends on the frames before it."""
    enhance = settings.enhance
    return (
        enhance.view not in VIEWS_OF_ONE_FRAME
        or enhance.background != "reference"
        or enhance.lamp_correction == "rows"
        or enhance.average_frames > 1
        or enhance.steady
    )


def event_settings(event: StoredEvent) -> Settings:
    """The settings stored with an event.

    Raises
    ------
    InputUnreadable
        They cannot be used by this version.
    """
    try:
        return validated(event.start.settings, str(event.path / "event.json"))
    except BadRequest as error:
        raise InputUnreadable(f"its settings cannot be used: {error}", str(event.path)) from error


class Enhancer:
    """Pictures and contrast of an event's frames.

    Parameters
    ----------
    event : StoredEvent
        Stays open as long as this is used.
    settings : Settings, optional
        Instead of those stored with the event.
    calibration : Calibration, optional
        Instead of the one stored with the event.
    disc : Disc, optional
        Instead of the one stored with the event.
    exact : bool
        Where the settings look back: from the event's first frame, else from 32 frames before
        the wanted one, which is quick anywhere in a long event but depends on where one came
        from. Without looking back it makes no difference.

    Raises
    ------
    InputUnreadable
        The event holds no frame that can be read, or its settings cannot be used.
    """

    def __init__(
        self,
        event: StoredEvent,
        settings: Settings | None = None,
        *,
        calibration: Calibration | None = None,
        disc: Disc | None = None,
        exact: bool = True,
    ) -> None:
        if not len(event):
            raise InputUnreadable("holds no frames", str(event.path))
        self.event = event
        self._settings = settings or event_settings(event)
        self._words: list[str] = []
        self._damaged: set[int] = set()
        """Frames that were met and could not be read."""
        beginning = self._first_readable()
        self._calibration = calibration or event.start.calibration
        given = disc or event.start.disc
        self._chain = self._make_chain(self._settings, given)
        if self._calibration.reference is None:
            self._calibration = self._with_background(beginning)
            self._chain.set_calibration(self._calibration)
        self._chain.run(event.frame(beginning))
        self.disc = self._chain.disc
        """The mirror in the picture; None where it is not found."""
        self._chain.set_disc(self.disc)
        self.scale = self._settings.enhance.gain_contrast or self._probed_scale()
        """Contrast at the palette's end (with movement: change of contrast)."""
        fixed = self._settings
        if fixed.enhance.view != "significance":  # that one has an end of its own
            fixed = fixed.replaced("enhance", gain_contrast=self.scale)
        self._chain.apply(fixed)
        self._settings = fixed
        self._exact = exact
        self._seen: tuple[int, Frame, Reading] | None = None
        """The newest reading, as long as its picture is valid: index, frame, what was told."""
        self._start = 0
        self._last = -1
        """Indices of the first and the newest frame that the chain was to see; they count only
        where it looks back."""
        if looks_back(fixed):
            self._restart(0)

    @property
    def settings(self) -> Settings:
        """The settings in use, with the display gain fixed."""
        return self._settings

    @property
    def calibration(self) -> Calibration:
        """The pictures in use; the reference may have been taken from the event itself."""
        return self._calibration

    @property
    def words(self) -> tuple[str, ...]:
        """What had to be assumed, and what could not be read so far."""
        return (*self._words, *_left_out(len(self._damaged), "of the event, which cannot be read"))

    def _frame(self, index: int) -> Frame | None:
        """A frame that others need; None where it cannot be read, which the words tell."""
        try:
            return self.event.frame(index)
        except InputUnreadable:
            self._damaged.add(index)
            return None

    def _frames(self, first: int, end: int) -> Iterator[Frame]:
        """Frames ``first`` .. ``end`` - 1 as far as they can be read."""
        found = (self._frame(index) for index in range(first, end))
        return (frame for frame in found if frame is not None)

    def _first_readable(self) -> int:
        for index in range(len(self.event)):
            if self._frame(index) is not None:
                return index
        raise InputUnreadable("none of its frames can be read", str(self.event.path))

    def _make_chain(self, settings: Settings, disc: Disc | None) -> Chain:
        chain = Chain(settings, replace(self.event.start.source, live=False))
        chain.set_calibration(self._calibration)
        chain.set_disc(disc)
        return chain

    def _with_background(self, beginning: int) -> Calibration:
        """A reference from the quiet frames before the spark, or the first that can be read."""
        event = self.event
        quiet = max(1, min(BACKGROUND_FRAMES, event.spark_index, len(event)))
        averager = PictureAverager(event.start.source.camera_state, CalibrationKind.REFERENCE)
        for frame in self._frames(beginning, max(quiet, beginning + 1)):
            averager.add(self._chain.to_light(frame))
        average = averager.result(event.stamps[0].time_s, event.start.started_at, judge=False)
        self._words.append(
            f"no reference was stored: the first {averager.frames} frames serve as one"
        )
        return self._calibration.with_picture(CalibrationKind.REFERENCE, average)

    def _probed_scale(self) -> float:
        """Contrast that nearly all pixels of the event's usual frames stay within.

        Frames lit by a flash tell nothing of the air and are left out. A spark's kernel is small
        and short, but so strong that it alone would make all else faint: three pixels in a
        hundred may be beyond the end, and what counts is the usual frame, not the strongest.
        """
        count = len(self.event)
        probes = np.unique(np.linspace(0, count - 1, min(PROBES, count)).round().astype(int))
        self._chain.apply(self._settings.replaced("enhance", unit="contrast"))
        if self._settings.enhance.view == "movement":
            wanted = [self._movement_scale(int(index)) for index in probes if index > 0]
        else:
            wanted = self._contrast_scales([int(index) for index in probes])
        known = [scale for scale in wanted if scale is not None]
        return min(float(np.quantile(known, 0.6)), DARKEST) if known else 0.1

    def _contrast_scales(self, probes: list[int]) -> list[float | None]:
        found: list[float | None] = []
        medians, unknown = [], []
        for index in probes:
            frame = self._frame(index)
            if frame is None:
                continue
            shown = self._chain.run(frame).histogram
            contrast = self._chain.contrast(frame)[::PROBE_STEP, ::PROBE_STEP]
            known = contrast[np.isfinite(contrast)]
            medians.append(float(np.median(known)) if known.size else np.inf)
            unknown.append(1.0 - known.size / contrast.size)
            found.append(
                None
                if shown is None
                else wanted_scale(shown.edges, shown.counts, shown.noise_sigma, BEYOND)
            )
        lit = flashes_among(medians, unknown)
        dark = [scale for scale, flash in zip(found, lit, strict=True) if not flash]
        return dark or found

    def _movement_scale(self, index: int) -> float | None:
        """What the chain itself would choose for a frame after the one before it."""
        pair = list(self._frames(index - 1, index + 1))
        if len(pair) < 2:
            return None
        self._chain.retake_background()
        return [self._chain.run(frame).scale for frame in pair][-1]

    def reading(self, index: int) -> Reading:
        """Everything the chain tells of frame ``index``; its picture is valid until the next.

        Views that look back see the frames just before this one.

        Raises
        ------
        InputUnreadable
            The frame is damaged.
        """
        # The chain would show the same frame again against a background that it has changed.
        if self._seen is None or self._seen[0] != index:
            frame = self.event.frame(index)
            self.come_to(index)
            reading = self._chain.run(frame)
            words = (*reading.words, *self._missing_before(index))
            self._seen = (index, frame, replace(reading, words=words))
        return self._seen[2]

    def picture(self, index: int) -> Bytes:
        """The frame as the view shows it, uint8 (rows, columns, 4) blue green red unused; a copy.

        The same for the same event and settings, bit for bit, where ``exact``.
        """
        return self.reading(index).picture.copy()

    def contrast(self, index: int) -> Light:
        """Signed contrast, float32 (rows, columns), NaN outside the disc and where clipped."""
        if looks_back(self._settings):
            self.reading(index)  # pictures after this one look back on its picture, too
        seen = self._seen
        here = seen is not None and seen[0] == index
        return self._chain.contrast(seen[1] if seen and here else self.event.frame(index))

    def light(self, index: int) -> Light:
        """Linear light of the whole frame, float32 (rows, columns)."""
        return self._chain.to_light(self.event.frame(index))

    def come_to(self, index: int) -> None:
        """Let the chain see what it must have seen before frame ``index``; the words then tell
        what of that cannot be read.
        """
        if not looks_back(self._settings) or index == self._last:
            return
        self._seen = None
        start = 0 if self._exact else max(0, index - HISTORY_FRAMES)
        if not (self._last < index and self._last + 1 >= start):
            self._restart(start)
        for frame in self._frames(self._last + 1, index):
            self._chain.run(frame)
        self._last = index

    def _missing_before(self, index: int) -> tuple[str, ...]:
        if not looks_back(self._settings):
            return ()
        missing = sum(self._start <= one < index for one in self._damaged)
        return _left_out(missing, "before this one, which this view looks back on")

    def _restart(self, start: int) -> None:
        self._chain = self._make_chain(self._settings, self.disc)
        self._start, self._last = start, start - 1


def _left_out(count: int, where: str) -> tuple[str, ...]:
    """Words about damaged frames, if there are any."""
    if count == 0:
        return ()
    return (f"{count} damaged frame{'s' * (count > 1)} left out {where}",)

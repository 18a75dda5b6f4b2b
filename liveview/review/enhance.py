"""A stored event through the chain again: the same picture for the same frame, in any order.

Live, the chain learns as it goes (background from the first frames, display gain that follows) and
leaves steps out when it is late. Here background and gain are settled once per event and nothing is
left out, so that a frame's picture depends on the event and the settings only and can be made again
bit for bit. Where the settings look back (trails, averaging, a background that follows ...) the
chain sees all frames of the event up to the wanted one, as it did live.
"""

from __future__ import annotations

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
        The event holds no frames, or its settings cannot be used.
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
        self._calibration = calibration or event.start.calibration
        given = disc or event.start.disc
        self._chain = self._make_chain(self._settings, given)
        if self._calibration.reference is None:
            self._calibration = self._with_background()
            self._chain.set_calibration(self._calibration)
        self._chain.run(event.frame(0))
        self.disc = self._chain.disc
        self._chain.set_disc(self.disc)
        """The mirror in the picture; None where it is not found."""
        self.scale = self._settings.enhance.gain_contrast or self._probed_scale()
        """Contrast at the palette's end (with movement: change of contrast)."""
        fixed = self._settings
        if fixed.enhance.view != "significance":  # that one has an end of its own
            fixed = fixed.replaced("enhance", gain_contrast=self.scale)
        self._chain.apply(fixed)
        self._settings = fixed
        self._exact = exact
        self._last = -1
        """Index of the newest frame the chain has seen; counts only where it looks back."""
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
        """What had to be assumed."""
        return tuple(self._words)

    def _make_chain(self, settings: Settings, disc: Disc | None) -> Chain:
        chain = Chain(settings, replace(self.event.start.source, live=False))
        chain.set_calibration(self._calibration)
        chain.set_disc(disc)
        return chain

    def _with_background(self) -> Calibration:
        """A reference from the quiet frames before the spark."""
        event = self.event
        count = max(1, min(BACKGROUND_FRAMES, event.spark_index, len(event)))
        averager = PictureAverager(event.start.source.camera_state, CalibrationKind.REFERENCE)
        for frame in event.frames(0, count):
            averager.add(self._chain.to_light(frame))
        average = averager.result(event.stamps[0].time_s, event.start.started_at, judge=False)
        self._words.append(f"no reference was stored: the first {count} frames serve as one")
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
            try:
                frame = self.event.frame(index)
            except InputUnreadable:
                continue  # told when that frame itself is wished for
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
        self._chain.retake_background()
        self._chain.run(self.event.frame(index - 1))
        return self._chain.run(self.event.frame(index)).scale

    def reading(self, index: int) -> Reading:
        """Everything the chain tells of frame ``index``; its picture is valid until the next.

        Views that look back see the frames just before this one.

        Raises
        ------
        InputUnreadable
            The frame is damaged.
        """
        frame = self.event.frame(index)
        self._come_to(index)
        return self._chain.run(frame)

    def picture(self, index: int) -> Bytes:
        """The frame as the view shows it, uint8 (rows, columns, 4) blue green red unused; a copy.

        The same for the same event and settings, bit for bit, where ``exact``.
        """
        return self.reading(index).picture.copy()

    def contrast(self, index: int) -> Light:
        """Signed contrast, float32 (rows, columns), NaN outside the disc and where clipped."""
        frame = self.event.frame(index)
        self._come_to(index)
        return self._chain.contrast(frame)

    def light(self, index: int) -> Light:
        """Linear light of the whole frame, float32 (rows, columns)."""
        return self._chain.to_light(self.event.frame(index))

    def _come_to(self, index: int) -> None:
        """Let the chain see what it must have seen before frame ``index``."""
        if not looks_back(self._settings) or index == self._last:
            return
        start = 0 if self._exact else max(0, index - HISTORY_FRAMES)
        if not (self._last < index and self._last + 1 >= start):
            self._restart(start)
        for frame in self.event.frames(self._last + 1, index):
            self._chain.run(frame)
        self._last = index

    def _restart(self, start: int) -> None:
        self._chain = self._make_chain(self._settings, self.disc)
        self._last = start - 1

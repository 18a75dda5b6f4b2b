"""A stored event through the chain again: the same picture for the same frame, in any order.

Live, the chain learns as it goes (background from the first frames, display gain that follows).
Here both are settled once per event, so that a frame's picture depends on the event and the
settings only and can be made again bit for bit.
"""

from __future__ import annotations

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
from liveview.settings import Settings, validated

BACKGROUND_FRAMES = 16
PROBES = 12
HISTORY_VIEWS = frozenset({"movement", "trail", "arrows", "significance"})
HISTORY_FRAMES = 32
"""Frames run before the wanted one for views that look back."""


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
        self._next = -1
        self.scale = self._settings.enhance.gain_contrast or self._probed_scale()
        fixed = self._settings.replaced("enhance", gain_contrast=self.scale)
        self._chain.apply(fixed)
        self._settings = fixed

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
        chain = Chain(settings, self.event.start.source)
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
        """Contrast that nearly all pixels of nearly all frames stay within."""
        count = len(self.event)
        probes = np.unique(np.linspace(0, count - 1, min(PROBES, count)).round().astype(int))
        self._chain.apply(self._settings.replaced("enhance", unit="contrast"))
        wanted = []
        for index in probes:
            shown = self._chain.run(self.event.frame(int(index))).histogram
            if shown is not None:
                wanted.append(wanted_scale(shown.edges, shown.counts, shown.noise_sigma))
        return float(np.quantile(wanted, 0.8)) if wanted else 0.1

    def reading(self, index: int) -> Reading:
        """Everything the chain tells of frame ``index``; its picture is valid until the next.

        Views that look back see the frames just before this one.

        Raises
        ------
        InputUnreadable
            The frame is damaged.
        """
        return self._at(index).run(self.event.frame(index))

    def picture(self, index: int) -> Bytes:
        """The frame as the view shows it, uint8 (rows, columns, 4) blue green red unused; a copy.

        The same for the same event, settings and (for views that look back) the same 32 frames
        before it, bit for bit.
        """
        return self.reading(index).picture.copy()

    def contrast(self, index: int) -> Light:
        """Signed contrast, float32 (rows, columns), NaN outside the disc and where clipped."""
        return self._chain.contrast(self.event.frame(index))

    def light(self, index: int) -> Light:
        """Linear light of the whole frame, float32 (rows, columns)."""
        return self._chain.to_light(self.event.frame(index))

    def _at(self, index: int) -> Chain:
        """The chain, its memory as if it had just seen the frames before ``index``."""
        if self._settings.enhance.view not in HISTORY_VIEWS:
            return self._chain
        if index != self._next:
            self._chain = self._make_chain(self._settings, self.disc)
            for frame in self.event.frames(max(0, index - HISTORY_FRAMES), index):
                self._chain.run(frame)
        self._next = index + 1
        return self._chain

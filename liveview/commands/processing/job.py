"""The work of ``process``: calibration first, then every frame once, then the report.

::

    reader thread: source -> ring --queue--> main thread: chain -> files, summary
                              ^                            '--queue--> watch: catching -> recorder
                              '----------- frames before a spark -----------'
"""

from __future__ import annotations

import contextlib
import dataclasses
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from liveview.commands.processing.ahead import AHEAD, AHEAD_LIVE, ReadAhead
from liveview.commands.processing.calibrate import (
    Taker,
    assumed_reference,
    disc_of,
    for_this_camera,
    picture_from,
    read_through,
)
from liveview.commands.processing.catching import Catching, Caught, ring_megabytes
from liveview.commands.processing.doubts import (
    TopCode,
    assumed_curve,
    believable_exposure,
    impossible_words,
    possible,
    unused_rate,
    useless_open,
)
from liveview.commands.processing.folder import EVENTS, REPORT, clear, held
from liveview.commands.processing.growing import Files, growing
from liveview.commands.processing.progress import Progress, say_where
from liveview.commands.processing.recorded import recorded_at
from liveview.commands.processing.report import Summary, build_report, report_text, write_report
from liveview.commands.processing.request import Request, Stretch
from liveview.commands.processing.selfcal import found_words, own_stretches
from liveview.commands.processing.watching import BEHIND, Watched, Watching
from liveview.engine.chain import Chain
from liveview.engine.clock import SessionClock
from liveview.engine.crew import SWITCH_INTERVAL_S
from liveview.engine.ring import FrameRing, RingLease
from liveview.engine.sayings import PROCESSED, TAKE_AGAIN
from liveview.errors import InputUnreadable
from liveview.model import (
    Calibration,
    CalibrationKind,
    Disc,
    FrameSource,
    Reading,
    SoundSource,
    SourceInfo,
)
from liveview.sources import Input, frame_source, sound_source
from liveview.sources.container import LOSSY

INTERRUPTED = 130
NAME_ANOTHER = "name a stretch with light like it as --reference"
"""In place of ``TAKE_AGAIN``, for a recording that cannot be taken again."""


def run_job(request: Request) -> int:
    """Do what was asked for and return the exit code."""
    with _quick_turns():
        return _done(dataclasses.replace(request, out=request.out.absolute()))


@contextlib.contextmanager
def _quick_turns() -> Iterator[None]:
    """Reader and chain take turns often: otherwise each waits for the other for milliseconds."""
    before = sys.getswitchinterval()
    sys.setswitchinterval(min(before, SWITCH_INTERVAL_S))
    try:
        yield
    finally:
        sys.setswitchinterval(before)


def _done(request: Request) -> int:
    entry = Input(request.recording, request.settings, clock=SessionClock(), live=False)
    source = entry.frames()
    try:
        said = source.open()
        info = _with_stated_transfer(said, request)
        sound = entry.sound() if entry.has_sound and request.sound is None else None
        with held(request.out):
            aside = clear(request.out, request.inputs, overwrite=request.overwrite)
            job = Job(request, source, info, sound)
            job.warn(*aside, *assumed_curve(said, request), *unused_rate(said, request))
            report = job.run()
            write_report(report, request.out / REPORT)
    finally:
        source.close()
    if request.json:
        sys.stdout.write(report_text(report))
    frames = report["recording"]["frames"]
    if not job.interrupted:
        say_where(sys.stderr, request.out / REPORT, frames, len(report["events"]))
        return 0
    print(f"liveview: ended by the keyboard; {request.out} has {frames} frames", file=sys.stderr)
    return INTERRUPTED


def _source(request: Request, address: str) -> FrameSource:
    return frame_source(address, request.settings, clock=SessionClock(), live=False)


def _picture_source(request: Request, kind: CalibrationKind, wanted: str) -> FrameSource:
    try:
        return _source(request, wanted)
    except InputUnreadable as error:
        raise InputUnreadable(
            f"'{wanted}' is neither a stretch nor a file that is there",
            f"--{kind.value}",
            "write seconds like 0.5:2, or name a picture",
        ) from error


def _with_stated_transfer(info: SourceInfo, request: Request) -> SourceInfo:
    """The curve somebody stated goes before the one the file names."""
    if "camera.transfer" in request.given or info.transfer is None:
        return dataclasses.replace(info, transfer=request.settings.camera.transfer)
    return info


class Job:
    """One run over one open source, with the sound that belongs to it, if any."""

    def __init__(
        self, request: Request, source: FrameSource, info: SourceInfo, sound: SoundSource | None
    ) -> None:
        self.interrupted = False
        settings = request.settings.replaced("camera", transfer=info.transfer)
        self._info, self._settings, self._warnings = believable_exposure(info, settings)
        self._request = request
        self._source = source
        self._own_sound = sound
        self._top_code = TopCode(info, settings.camera.white)
        self._recorded_at = recorded_at(source, info)
        self._event_disc: Disc | None = None
        self._summary = Summary()
        self._chain = Chain(self._settings, self._info, pictures=request.picture)
        self._calibration = Calibration()
        self._taker: Taker | None = None
        self._caught: list[Caught] = []
        self._stalled = ""
        self._left_out = 0
        self._seconds = 0.0

    def warn(self, *words: str) -> None:
        """Say more in the report."""
        self._warnings += words

    def run(self) -> dict[str, Any]:
        """Calibrate, pass over all frames, and give the report."""
        self._calibrate()
        self._all_frames()
        if self._summary.frames == 0 and self.interrupted:
            raise KeyboardInterrupt
        if self._summary.frames == 0:
            raise InputUnreadable(
                "holds no frames", self._request.recording, "record it again or check the file"
            )
        return build_report(
            recording=self._request.recording,
            info=self._info,
            summary=self._summary,
            disc=self._chain.disc,
            transfer=self._settings.camera.transfer,
            calibration=self._calibration,
            caught=self._caught,
            out=self._request.out,
            seconds=self._seconds,
            side_is_known="blade.side" in self._request.given,
            warnings=self._all_warnings(),
        )

    def _all_warnings(self) -> Iterator[str]:
        if self._info.note:
            yield self._info.note
        yield from self._warnings
        yield from self._top_code.words()
        yield from impossible_words(self._left_out, self._summary.measured)
        yield from getattr(self._source, "warnings", ())
        if self._stalled:
            yield f"the stream ended: {self._stalled}"
        if self.interrupted:
            yield "ended by the keyboard; what was read until then is here"
        for words in self._summary.warnings:
            if not (LOSSY in self._info.note and words.startswith(PROCESSED)):
                yield words if self._info.live else words.replace(TAKE_AGAIN, NAME_ANOTHER)

    # Calibration.

    def _calibrate(self) -> None:
        """Pictures from files and events now; from stretches now or, of a stream, on the way."""
        stretches: dict[CalibrationKind, Stretch] = {}
        calibration = self._event_calibration()
        if not self._request.pictures and calibration == Calibration() and not self._info.live:
            self._find_own_stretches()
        for kind, wanted in self._request.pictures.items():
            if isinstance(wanted, Stretch):
                stretches[kind] = wanted
                continue
            source = _picture_source(self._request, kind, wanted)
            picture, words = picture_from(source, wanted, kind, self._info, self._settings)
            self._warnings += words
            calibration = calibration.with_picture(kind, picture)
        if calibration.reference is None and CalibrationKind.REFERENCE not in stretches:
            stretch = stretches[CalibrationKind.REFERENCE] = assumed_reference(stretches)
            self._warnings.append(
                f"no reference was given: the frames from {stretch.since_s:g} s to "
                f"{stretch.until_s:g} s serve as one; what stands still in them is not seen"
            )
        self._calibration = calibration
        self._taker = Taker(self._info, self._settings, stretches, self._recorded_at)
        if stretches and not self._info.live:
            read_through(_source(self._request, self._request.recording), self._taker)
            self._take_finished(all_read=True)
        self._use_calibration()

    def _find_own_stretches(self) -> None:
        source = _source(self._request, self._request.recording)
        found = own_stretches(source, self._settings)
        if found:
            self._request = dataclasses.replace(self._request, pictures=found)
            self._warnings.append(found_words(found))

    def _event_calibration(self) -> Calibration:
        from liveview.recorder import StoredEvent, is_event

        path = Path(self._request.recording)
        if not is_event(path):
            return Calibration()
        with StoredEvent.open(path) as event:
            self._event_disc = event.start.disc
            return for_this_camera(event.start.calibration, self._info)

    def _take_finished(self, *, all_read: bool) -> None:
        assert self._taker is not None
        assumed = CalibrationKind.REFERENCE not in self._request.pictures
        if all_read and assumed and CalibrationKind.REFERENCE in self._taker.stretches:
            self._taker.forget_if_empty(CalibrationKind.REFERENCE)
        self._calibration = self._taker.finished(self._calibration, all_read=all_read)
        self._warnings += self._taker.warnings
        self._taker.warnings.clear()

    def _use_calibration(self) -> None:
        words = useless_open(self._calibration)
        if words:
            self.warn(words)
            self._calibration = dataclasses.replace(self._calibration, open=None)
        disc = disc_of(self._settings, self._calibration) or self._event_disc
        self._chain.set_calibration(self._calibration)
        if disc is not None:
            self._chain.set_disc(disc)

    # Every frame.

    def _all_frames(self) -> None:
        request, info = self._request, self._info
        ahead = AHEAD_LIVE if info.live else AHEAD
        ring = FrameRing(info, ring_megabytes(self._settings, info, ahead + BEHIND))
        reader = ReadAhead(self._source, info, ring, ahead, request.seconds)
        progress = Progress(sys.stderr, info.frames)
        with contextlib.ExitStack() as stack:
            files = stack.enter_context(growing(request, info))
            catching, watching = self._catching(), None
            if catching is not None:
                stack.callback(catching.close)
                watching = Watching(catching, ring)
                stack.callback(watching.close)
            stack.callback(reader.close)
            stack.callback(progress.done)
            began_s = time.perf_counter()
            try:
                for lease in reader.leases():
                    self._one_frame(lease, files, watching)
                    progress.show(self._summary.frames)
            except KeyboardInterrupt:
                self.interrupted = True
            self._seconds = time.perf_counter() - began_s
            self._stalled = reader.stalled
            if watching is not None:
                watching.finish()
            if catching is not None and self._summary.frames:
                self._caught = catching.finish(ring)
                self._warnings += catching.warnings

    def _catching(self) -> Catching | None:
        if self._settings.catch.on == "off":
            return None
        return Catching(
            self._settings,
            self._info,
            self._sound_source(),
            self._request.out / EVENTS,
            lambda: self._calibration,
            sound_needed=self._request.sound is not None,
            recorded_at=self._recorded_at,
        )

    def _sound_source(self) -> SoundSource | None:
        named = self._request.sound
        if named is None:
            return self._own_sound
        return sound_source(named, self._settings, clock=SessionClock(), live=False)

    def _one_frame(self, lease: RingLease, files: Files, watching: Watching | None) -> None:
        frame = lease.frame
        self._top_code.see(frame.pixels)
        if self._info.live:
            self._calibrate_on_the_way(lease)
        found = self._chain.run(frame)
        reading = self._known_only(found)
        contrast = (
            self._chain.contrast(frame) if files.wants_contrast(self._summary.frames) else None
        )
        files.add(self._summary.frames, reading, contrast)
        handled = self._request.handled_at(self._since_first_s(lease))
        self._summary.add(reading, measured=not handled)
        self._left_out += not handled and reading.blade.uncut != found.blade.uncut
        if watching is None:
            lease.release()
        else:
            watching.see(Watched(lease, reading.disc, handled))

    def _since_first_s(self, lease: RingLease) -> float:
        first = self._summary.first or lease.frame.stamp
        return lease.frame.time_s - first.time_s

    def _calibrate_on_the_way(self, lease: RingLease) -> None:
        assert self._taker is not None
        if not self._taker.stretches:
            return
        self._taker.see(lease.frame, self._since_first_s(lease))
        before = self._calibration
        self._take_finished(all_read=False)
        if self._calibration is not before:
            self._use_calibration()

    def _known_only(self, reading: Reading) -> Reading:
        """Without what would rest on the defaults of a rig that nobody described."""
        request, blade = self._request, possible(reading.blade)
        travel_m = blade.travel_m if request.lamp_is_known else None
        place_is_known = request.lamp_is_known and request.place_is_known
        offset_m = blade.axial_offset_m if place_is_known else None
        if blade is reading.blade and (travel_m, offset_m) == (
            blade.travel_m,
            blade.axial_offset_m,
        ):
            return reading
        blade = dataclasses.replace(blade, travel_m=travel_m, axial_offset_m=offset_m)
        return dataclasses.replace(reading, blade=blade)

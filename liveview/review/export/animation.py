"""Endless animations for slides: GIF with one palette for all pictures, or WebP."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import av.filter
import numpy as np
from numpy.typing import NDArray

from liveview.errors import BadRequest, OutputFailed
from liveview.model import Bytes
from liveview.review.enhance import Enhancer
from liveview.review.export.clip import Timing, schedule
from liveview.review.export.coding import to_yuv420
from liveview.review.export.common import Stretch, Studio, auto_rate, stretch_of
from liveview.review.export.flashcheck import FlashCheck, Flashes, FlashReport
from liveview.review.export.images import needs_ending
from liveview.review.export.job import Job, whole_file
from liveview.review.export.look import Look
from liveview.review.export.metadata import (
    as_text,
    export_metadata,
    gif_with_text,
    webp_with_text,
)

MOST_PICTURES = 2000
PROBES = 8
WARM_UP_S = 2
"""Of the end, before the beginning of an animation that is softened."""


def export_animation(
    enhancer: Enhancer,
    path: Path,
    *,
    timing: Timing | None = None,
    look: Look | None = None,
    stretch: Stretch | None = None,
    flashes: Flashes = "check",
    job: Job | None = None,
    overwrite: bool = False,
) -> FlashReport:
    """Write an endless animation for slides: .gif or .webp.

    The flash check (see :func:`liveview.review.export.clip.export_clip`) sees the seam between two
    rounds, too: softening begins with the end of the round before, and the first second of the
    next is judged as it was written.

    Raises
    ------
    BadRequest
        Another ending, an existing file, or more than 2000 pictures.
    OutputFailed, Cancelled, InputUnreadable
        Nothing is left behind.
    """
    needs_ending(path, (".gif", ".webp"), "an animation")
    look, job = look or Look(width=640), job or Job()
    timing = timing or Timing(fps=Fraction(20))
    event = enhancer.event
    stretch = stretch or stretch_of(event)
    rate = timing.rate or auto_rate(event, float(timing.fps))
    times = [stamp.time_s for stamp in event.stamps[stretch.first : stretch.last + 1]]
    plan = schedule(times, rate, timing.fps)
    if len(plan) > MOST_PICTURES:
        raise BadRequest(
            f"{len(plan)} pictures are too many for an animation",
            str(path),
            "choose a faster rate or a shorter stretch, or make a clip",
        )
    job.total = len(plan)
    gif = path.suffix.lower() == ".gif"
    studio = Studio(enhancer, look, rate=rate, even=not gif)
    enhancer.come_to(stretch.first)  # its words tell what of that cannot be read
    about = export_metadata(
        enhancer,
        "animation",
        (stretch.first, stretch.last),
        rate=str(rate),
        fps=str(timing.fps),
        flashes=flashes,
    )
    finish = gif_with_text if gif else webp_with_text
    with whole_file(path, overwrite=overwrite) as part:
        frames = [stretch.first + index for index in plan]
        report = _write_checked(part, studio, frames, timing.fps, flashes == "soften", gif, job)
        about["flash_check"] = report.words
        part.write_bytes(finish(part.read_bytes(), as_text(about)))
    return report


def _write_checked(
    part: Path,
    studio: Studio,
    frames: list[int],
    fps: Fraction,
    soften: bool,
    gif: bool,
    job: Job,
) -> FlashReport:
    """Write it, and once more with a calm seam if softening could not keep that in the limits."""
    size = (studio.canvas.width, studio.canvas.height)
    check = FlashCheck(soften, size, endless=True)
    _write_animation(part, studio, _Checked(studio, frames, fps, check), fps, gif, job)
    check.begin_again(float(len(frames) / fps))
    if soften and check.report().over:
        job.total += len(frames)
        check = FlashCheck(soften, size, endless=True)
        checked = _Checked(studio, frames, fps, check, calm_seam=True)
        _write_animation(part, studio, checked, fps, gif, job)
        check.begin_again(float(len(frames) / fps))
    return check.report()


class _Checked:
    """The pictures of an animation, each through the flash check."""

    def __init__(
        self,
        studio: Studio,
        frames: list[int],
        fps: Fraction,
        check: FlashCheck,
        *,
        calm_seam: bool = False,
    ) -> None:
        self._studio, self._frames, self._fps, self._check = studio, frames, fps, check
        self._calm_seam = calm_seam
        self._shown, self._picture = -1, np.empty((0, 0, 3), np.uint8)

    def picture(self, frame: int) -> Bytes:
        """A picture as it would be without the check; a repeated one is the same array."""
        if frame != self._shown:
            self._shown, self._picture = frame, self._studio.picture(frame)
        return self._picture

    def __iter__(self) -> Iterator[Bytes]:
        count, check = len(self._frames), self._check
        calm_from = max(0, count - math.ceil(self._fps))
        if check.softens:
            self._warm_up()
        before = self.picture(self._frames[-1])
        for number, frame in enumerate(self._frames):
            if self._calm_seam and number in (0, calm_from):
                check.hold_still(before, self._time_s(number - 1))
            before = check.admit(self.picture(frame), self._time_s(number))
            yield before

    def _time_s(self, number: int) -> float:
        return float(number / self._fps)

    def _warm_up(self) -> None:
        """The end goes before the beginning: the first of its seconds is for the guard itself."""
        count = min(len(self._frames), math.ceil(WARM_UP_S * self._fps))
        for left in range(count, 0, -1):
            self._check.warm_up(self.picture(self._frames[-left]), self._time_s(-left))

    def probes(self) -> list[Bytes]:
        """A few pictures from all over."""
        picks = np.unique(np.linspace(0, len(self._frames) - 1, PROBES).round().astype(int))
        return [self._studio.picture(self._frames[int(n)]) for n in picks]


def _write_animation(
    path: Path, studio: Studio, checked: _Checked, fps: Fraction, gif: bool, job: Job
) -> None:
    canvas = studio.canvas
    with av.open(str(path), "w", format="gif" if gif else "webp", options={"loop": "0"}) as file:
        options = {} if gif else {"lossless": "0", "quality": "80"}
        stream: Any = file.add_stream("gif" if gif else "libwebp_anim", rate=fps, options=options)
        stream.width, stream.height = canvas.width, canvas.height
        stream.pix_fmt = "pal8" if gif else "yuv420p"
        stream.codec_context.time_base = 1 / fps
        frames = _indexed(checked) if gif else map(to_yuv420, checked)
        try:
            for number, frame in enumerate(frames):
                frame.pts, frame.time_base = number, 1 / fps
                file.mux(stream.encode(frame))
                job.step()
            file.mux(stream.encode(None))
        except av.error.FFmpegError as error:
            if isinstance(error, OSError) and error.errno:
                raise OSError(error.errno, error.strerror) from error
            raise OutputFailed(f"the coder failed ({error})", str(path)) from error


def _indexed(checked: _Checked) -> Iterator[av.VideoFrame]:
    """Pictures as codes of one palette."""
    colours = common_palette(checked.probes())
    grey = bool(np.all(colours == colours[:, :1]))
    table = None if grey else nearest_colours(colours)
    alpha_first = np.concatenate((np.full((256, 1), 255, np.uint8), colours[:, ::-1]), axis=1)
    for picture in checked:
        codes = picture[..., 0].copy() if table is None else _codes(picture, table)
        yield av.VideoFrame.from_ndarray((codes, alpha_first), format="pal8")  # type: ignore[arg-type]


def common_palette(pictures: Sequence[Bytes]) -> NDArray[np.uint8]:
    """256 colours (blue, green, red) for all pictures: all greys if there is nothing else."""
    if all(
        np.array_equal(p[..., 0], p[..., 1]) and np.array_equal(p[..., 1], p[..., 2])
        for p in pictures
    ):
        return np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)
    graph = av.filter.Graph()
    height, width = pictures[0].shape[:2]
    source = graph.add_buffer(
        width=width, height=height, format=av.VideoFormat("bgr24"), time_base=Fraction(1, 25)
    )
    choose = graph.add("palettegen", "reserve_transparent=0")
    sink = graph.add("buffersink")
    source.link_to(choose)
    choose.link_to(sink)
    graph.configure()
    for number, picture in enumerate(pictures):
        frame = av.VideoFrame.from_ndarray(picture, format="bgr24")
        frame.pts = number
        source.push(frame)
    source.push(None)
    found = sink.pull()
    assert isinstance(found, av.VideoFrame)
    return np.ascontiguousarray(found.to_ndarray(format="bgr24").reshape(-1, 3)[:256])


def nearest_colours(colours: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """For each colour of 6 bits a channel, the code of the nearest one in the palette.

    Returns
    -------
    ndarray (64 * 64 * 64,) uint8
        At ``(blue >> 2) << 12 | (green >> 2) << 6 | red >> 2``.
    """
    from scipy.spatial import KDTree

    steps = np.arange(64, dtype=np.float64) * 4 + 1.5
    blue, green, red = np.meshgrid(steps, steps, steps, indexing="ij")
    wanted = np.stack((blue.ravel(), green.ravel(), red.ravel()), axis=1)
    return np.asarray(KDTree(colours.astype(np.float64)).query(wanted)[1], dtype=np.uint8)


def _codes(picture: Bytes, table: NDArray[np.uint8]) -> NDArray[np.uint8]:
    six = (picture >> 2).astype(np.int32)
    return np.ascontiguousarray(table[six[..., 0] << 12 | six[..., 1] << 6 | six[..., 2]])

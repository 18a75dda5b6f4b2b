"""What stays the same from frame to frame: the disc's box, masks and the calibration in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.blade import BladeMeter
from liveview.imaging.contrast import ContrastPlan, contrast_plan
from liveview.imaging.cv import cv2
from liveview.imaging.disc import disc_box, disc_mask
from liveview.imaging.lamp import block_side
from liveview.imaging.steadiness import MARGIN
from liveview.model import Average, Bytes, Calibration, Disc, Light, Side

_SAMPLES = 4000


@dataclass(frozen=True, slots=True)
class Place:
    """The disc in the frame and in its own box.

    ``inside`` is 255 in the disc, over the box, ``count`` how many pixels that are.
    ``disc`` is in frame pixels, ``disc_in_box`` in pixels of the box. ``wide`` is the box with a
    margin for steadying (less where the frame ends), ``corner`` the box's row and column in it.
    """

    disc: Disc | None
    box: tuple[slice, slice]
    disc_in_box: Disc | None
    wide: tuple[slice, slice]
    corner: tuple[int, int]
    disc_in_wide: Disc | None
    inside: Bytes
    count: int

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the box."""
        rows, columns = self.inside.shape
        return rows, columns


def place_in(shape: tuple[int, ...], disc: Disc | None) -> Place:
    """Box and masks of ``disc`` in frames of ``shape``; the whole frame without a disc."""
    box = disc_box(shape, disc)
    wide = (_wider(box[0], shape[0]), _wider(box[1], shape[1]))
    local = _moved(disc, box)
    rows, columns = box[0].stop - box[0].start, box[1].stop - box[1].start
    inside = disc_mask((rows, columns), local)
    corner = (box[0].start - wide[0].start, box[1].start - wide[1].start)
    count = cv2.countNonZero(inside)
    return Place(disc, box, local, wide, corner, _moved(disc, wide), inside, count)


def _wider(span: slice, size: int) -> slice:
    return slice(max(span.start - MARGIN, 0), min(span.stop + MARGIN, size))


def _moved(disc: Disc | None, box: tuple[slice, slice]) -> Disc | None:
    """The disc in pixels of a box."""
    if disc is None:
        return None
    return Disc(disc.cx - box[1].start, disc.cy - box[0].start, disc.radius, disc.by_hand)


@dataclass(frozen=True, slots=True)
class Ground:
    """One background and everything that follows from it, over the box.

    ``usable`` is 255 where contrast can be told: inside the disc, reference bright enough,
    calibration not clipped. ``block_share`` is the usable share of each square block
    (``imaging.lamp``). The samples are some thousand pixels of the reference and the dark
    picture, for the noise. ``uncut`` is the uncut fraction of the reference itself where dark and
    open tell it.
    """

    plan: ContrastPlan
    usable: Bytes
    block_share: NDArray[np.float64]
    frames: int
    reference_samples: Light
    dark_samples: Light
    dark_level: float
    uncut: float | None


def boxed(picture: Average | None, place: Place) -> Light | None:
    """The part of a calibration picture over the box, contiguous."""
    return None if picture is None else np.ascontiguousarray(picture.light[place.box])


def unclipped_in(picture: Average | None, place: Place) -> Bytes:
    """255 where a calibration picture is not clipped (everywhere without one)."""
    if picture is None or picture.clipped is None:
        return np.full(place.shape, 255, np.uint8)
    return np.where(picture.clipped[place.box], 0, 255).astype(np.uint8)


def make_ground(
    place: Place, reference: Light, unclipped: Bytes, frames: int, calibration: Calibration
) -> Ground:
    """Prepare a background over the box: ``reference`` is a mean of ``frames`` frames."""
    dark = boxed(calibration.dark, place)
    inside = place.inside & unclipped & unclipped_in(calibration.dark, place)
    plan = contrast_plan(reference, dark, inside)
    usable = plan.valid
    count = cv2.countNonZero(usable)
    step = max(1, int(np.sqrt(max(count, 1) / _SAMPLES)))
    grid = (slice(step // 2, None, step),) * 2
    chosen = usable[grid] > 0
    reference_samples = reference[grid][chosen]
    dark_samples = np.zeros_like(reference_samples) if dark is None else dark[grid][chosen]
    return Ground(
        plan=plan,
        usable=usable,
        block_share=_block_share(usable),
        frames=frames,
        reference_samples=reference_samples,
        dark_samples=dark_samples,
        dark_level=float(np.median(dark_samples)) if dark_samples.size else 0.0,
        uncut=_uncut_of(reference, place, calibration),
    )


def _block_share(usable: Bytes) -> NDArray[np.float64]:
    side = block_side(usable.shape)
    rows, columns = (size // side for size in usable.shape)
    blocks = usable[: rows * side, : columns * side].reshape(rows, side, columns, side)
    return np.asarray((blocks > 0).mean(axis=(1, 3)))


def blade_meter(place: Place, calibration: Calibration, side: Side) -> BladeMeter | None:
    """The blade meter over the box; None without dark and open pictures."""
    dark, open_light = boxed(calibration.dark, place), boxed(calibration.open, place)
    if dark is None or open_light is None:
        return None
    usable = unclipped_in(calibration.dark, place) & unclipped_in(calibration.open, place)
    return BladeMeter(dark, open_light, usable, place.disc_in_box, side)


def _uncut_of(reference: Light, place: Place, calibration: Calibration) -> float | None:
    meter = blade_meter(place, calibration, Side.LEFT)
    if meter is None:
        return None
    fit = meter.read(reference, np.full(place.shape, 255, np.uint8))
    return None if fit is None else fit.uncut

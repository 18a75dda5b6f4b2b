"""Where a recording shows its own dark, open and reference: lamp off, blade out, blade set.

Judged on block means of linear light, frame after frame. A dark stretch is even and far below
everything else; an open stretch is the brightest there is, and stands still; both count only when
the rest of the recording is clearly darker than the open one, that is when the blade came in.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from liveview.imaging.cv import cv2
from liveview.model import CalibrationKind, Light

BLOCKS = (24, 32)
"""Rows and columns of block means kept of each frame."""
LEAST_FRAMES = 16
_DARK = 0.04
"""A dark frame's mean above the lowest, as a share of the open light."""
_EVEN = 0.04
"""Spread of a dark frame's blocks, as a share of the open light."""
_OPEN = 0.97
_CUT = 0.90
_STILL = 0.015
"""Change of a block from frame to frame, as a share of the open light, that is still."""
_LIKE_NOISE = 4.0
"""How much the largest change may exceed that which a tenth of the blocks reach: more is a hand or
a flow. Small pictures have few pixels to a block, whose noise alone passes ``_STILL``."""

Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Run:
    """Frames ``first`` to ``last``, both included."""

    first: int
    last: int


def block_means(light: Light) -> Light:
    """Means over ``BLOCKS`` blocks, float32."""
    rows, columns = (min(block, size) for block, size in zip(BLOCKS, light.shape, strict=True))
    means: Light = cv2.resize(light, (columns, rows), interpolation=cv2.INTER_AREA).astype(
        np.float32, copy=False
    )
    return means


def find_stretches(blocks: NDArray[np.float32]) -> dict[CalibrationKind, Run]:
    """Find the calibration stretches of a recording.

    Parameters
    ----------
    blocks : ndarray, float32, (frames, rows, columns)
        :func:`block_means` of each frame in order.

    Returns
    -------
    dict
        The stretches found, their edges trimmed. Empty when dark or open is missing: one alone
        cannot be told from a picture that merely is dark or bright.
    """
    if len(blocks) < 3 * LEAST_FRAMES:
        return {}
    mean = blocks.mean(axis=(1, 2), dtype=np.float64)
    low, top = float(mean.min()), float(np.percentile(mean, 99))
    span = top - low
    if span <= 0.0 or low > 0.25 * top:
        return {}
    spread = np.ptp(np.percentile(blocks, (5, 95), axis=(1, 2)), axis=0)
    brightest = float(np.percentile(blocks[mean >= _OPEN * top], 95))
    still = np.concatenate([[False], _are_still(blocks, _STILL * max(brightest, 1e-9))])
    dark = _longest((mean - low < _DARK * span) & (spread < _EVEN * brightest) & still)
    opened = _longest((mean - low > _OPEN * span) & still)
    if dark is None or opened is None:
        return {}
    later = mean[max(dark.last, opened.last) + 1 :]
    if len(later) < LEAST_FRAMES or float(np.median(later)) - low > _CUT * span:
        return {}
    found = {CalibrationKind.DARK: dark, CalibrationKind.OPEN: opened}
    set_in = (mean - low > _DARK * span) & (mean - low < _CUT * span) & still
    set_in[: max(dark.last, opened.last) + 1] = False
    reference = next(_runs(set_in), None)
    if reference is not None:
        found[CalibrationKind.REFERENCE] = reference
    return {kind: _trimmed(run) for kind, run in found.items()}


def _are_still(blocks: NDArray[np.float32], most: float) -> Flags:
    """Whether each frame differs from the one before by noise at most."""
    change = np.abs(np.diff(blocks, axis=0)).reshape(len(blocks) - 1, -1)
    largest, usual = change.max(axis=1), np.percentile(change, 90, axis=1)
    return np.asarray((largest < most) | ((largest < _LIKE_NOISE * usual) & (usual < most)))


def _runs(flags: Flags) -> Iterator[Run]:
    """Runs of true of at least ``LEAST_FRAMES``, in order."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    for first, past in edges.reshape(-1, 2).tolist():
        if past - first >= LEAST_FRAMES:
            yield Run(first, past - 1)


def _longest(flags: Flags) -> Run | None:
    return max(_runs(flags), key=lambda run: run.last - run.first, default=None)


def _trimmed(run: Run) -> Run:
    """Without the frames next to the change: a hand, or a shutter half open."""
    edge = min(3, (run.last - run.first + 1 - LEAST_FRAMES) // 2)
    return Run(run.first + edge, run.last - edge)

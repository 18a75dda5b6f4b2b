"""The event's sound stretched with the pictures: slower and lower, in step with them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from liveview.model import SoundBlock

Mono = NDArray[np.float32]

_REACH = 10
"""Of SciPy's polyphase filter to either side, samples of the slower of both rates."""
_PIECE = 2048


def assembled(blocks: Sequence[SoundBlock], start_s: float, end_s: float) -> tuple[Mono, int]:
    """The sound between two times as one run, gaps silent, all channels averaged.

    Returns
    -------
    samples, rate
        Rate rounded to whole hertz.
    """
    rate = round(blocks[0].rate_hz)
    track = np.zeros(max(0, math.ceil((end_s - start_s) * rate)), np.float32)
    for block in blocks:
        at = round((block.start_s - start_s) * rate)
        mono = block.samples.mean(axis=1, dtype=np.float32)
        begin, stop = max(0, at), min(len(track), at + len(mono))
        if stop > begin:
            track[begin:stop] = mono[begin - at : stop - at]
    return track, rate


def stretched(track: Mono, rate: int, slow: Fraction, out_rate: int) -> Iterator[Mono]:
    """Pieces of the track played at ``slow`` of real time, at ``out_rate``.

    Band-limited (polyphase filter of SciPy), piece by piece so that a long clip needs no more
    memory than a short one.
    """
    from scipy.signal import resample_poly

    factor = Fraction(out_rate, rate) / slow
    factor = factor.limit_denominator(2000)
    up, down = factor.numerator, factor.denominator
    piece = max(down, _PIECE // down * down)
    # Before and after each piece, so that the filter sees across its ends.
    margin = math.ceil((_REACH * max(up, down) / up + 1) / down) * down
    padded = np.concatenate((np.zeros(margin, np.float32), track, np.zeros(margin, np.float32)))
    made = 0
    total = math.ceil(len(track) * up / down)
    for start in range(0, len(track), piece):
        part = padded[start : start + piece + 2 * margin]
        whole = resample_poly(part, up, down).astype(np.float32)
        first = margin * up // down
        count = min(piece * up // down, total - made)
        yield whole[first : first + count]
        made += count

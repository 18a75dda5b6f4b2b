"""The histogram's verdict: is anything there, is the blade too far in, is the exposure good?"""

from __future__ import annotations

import numpy as np

from liveview.model import Histogram

MEASURING = "measuring the noise"
"""What is said before the noise is known."""

_CLIPPED = 0.02
_AT_THE_WALL = 0.01
_DROWNED = 0.05
"""Noise of the contrast above which the picture is called too dark."""
_NOISE_SHARE = 0.0027
_SOMETHING = 2.5
"""So many times the share that noise alone puts beyond three sigmas."""
_BLOCKS = 0.01
_WELL_SET = (0.3, 0.7)
"""Uncut fractions between which what reaches an end of the range is the flow, not the blade."""


def verdict(histogram: Histogram, flow_share: float | None) -> str:
    """One line that answers at a glance; the most pressing thing only.

    Parameters
    ----------
    histogram : Histogram
        In any unit.
    flow_share : float or None
        Share of the disc's blocks whose mean stands out of the noise (:func:`flow_share`), which
        sees fainter things than single pixels do.
    """
    total = int(histogram.counts.sum())
    pressing = _pressing(histogram, total)
    if pressing:
        return pressing
    above, sigma = histogram.above_noise, histogram.noise_sigma
    if above is None or sigma is None or total == 0:
        return MEASURING
    if above > _SOMETHING * _NOISE_SHARE:
        return f"something is there: {above:.1%} of the disc stands out of the noise"
    if flow_share is not None and flow_share > _BLOCKS:
        return f"something faint over {flow_share:.0%} of the disc: average or smooth to see it"
    return f"nothing above the noise of {shown(sigma, histogram.unit)}"


def _pressing(histogram: Histogram, total: int) -> str:
    if histogram.clipped_bright > _CLIPPED:
        return f"exposure too long: {histogram.clipped_bright:.0%} of the disc clipped bright"
    low, high = walls(histogram)
    if histogram.clipped_dark > _CLIPPED or low > _AT_THE_WALL:
        share = max(histogram.clipped_dark, low)
        why = _why(histogram, "blade too far in, or too little light", "strong flow or an object")
        return f"{why}: {share:.0%} of the disc fully dark"
    if high > _AT_THE_WALL:
        why = _why(histogram, "blade too far out", "strong flow")
        return f"{why}: {high:.0%} of the disc fully open"
    if total == 0:
        return "no pixel of the disc can be used"
    sigma = histogram.noise_sigma
    if histogram.unit == "contrast" and sigma is not None and sigma > _DROWNED:
        return f"too little light: noise {shown(sigma, 'contrast')}; longer exposure or average"
    return ""


def _why(histogram: Histogram, blade: str, flow: str) -> str:
    """Why an end of the range is reached: what is seen where the blade is well set, else the blade.

    The range reaches from ``-T`` to ``1 - T`` times one length, ``T`` the uncut fraction: in
    contrast and in angle alike.
    """
    low, high = histogram.range_low, histogram.range_high
    if low is None or high is None:
        return blade
    uncut = -low / (high - low)
    return flow if _WELL_SET[0] <= uncut <= _WELL_SET[1] else blade


def walls(histogram: Histogram) -> tuple[float, float]:
    """Shares of the pixels within 5 % of the ends of the blade's range; 0 where not known."""
    total = int(histogram.counts.sum())
    if total == 0 or histogram.range_low is None or histogram.range_high is None:
        return 0.0, 0.0
    slack = 0.05 * (histogram.range_high - histogram.range_low)
    middle = (histogram.edges[1:] + histogram.edges[:-1]) / 2
    low = int(histogram.counts[middle < histogram.range_low + slack].sum())
    high = int(histogram.counts[middle > histogram.range_high - slack].sum())
    return low / total, high / total


def flow_share(
    blocks: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
    gain: float,
    side: int,
    sigma: float | None,
) -> float | None:
    """Share of usable blocks whose mean contrast exceeds four sigmas of a block's noise.

    None without a sigma or blocks.
    """
    usable = np.isfinite(blocks)
    if sigma is None or not usable.any():
        return None
    # Only every second row of a block is averaged (``imaging.lamp``).
    limit = 4.0 * sigma * np.sqrt(2) / side
    return float((np.abs(blocks[usable] / gain - 1.0) > limit).mean())


def shown(value: float, unit: str) -> str:
    """A value with its unit for a sentence: contrast in per cent, angles in arcseconds."""
    if unit == "contrast":
        return f"{value * 100:.2g} % contrast"
    if unit == "arcsec":
        return f"{value:.2g} arcsec"
    return f"{value:.2g} times the noise"

"""When a flash happened, from the rows it lit.

::

    row 0        |<---- exposure E ---->|
    row 1           |<---- E ---->|         each row starts one row time later
    ...                |<---- E ---->|
                           ^ flash at t: lights the rows that are exposed just then,
                             r0 = (t - T - E) / row_time  ..  r1 = (t - T) / row_time

T is the start of the first row's exposure. So t = T + r1 row_time = T + r0 row_time + E.
"""

from __future__ import annotations

import math

from liveview.model import FrameStamp, SourceInfo

UNIFORM_SIGMA = 1.0 / math.sqrt(12.0)
"""Standard deviation of a value known only to lie in an interval of length 1."""


def flash_time(
    stamp: FrameStamp,
    rows: tuple[int, int],
    info: SourceInfo,
    band: int = 1,
    *,
    edges: bool = True,
) -> tuple[float, float]:
    """Time of a flash and its standard uncertainty, seconds on the frames' clock.

    Parameters
    ----------
    stamp : FrameStamp
        The frame (the first of two when the lit band is split).
    rows : tuple of int
        First and last row lit.
    info : SourceInfo
        Row time, exposure, height and rate, each used if known.
    band : int
        Rows that are measured together: how finely ``rows`` is known.
    edges : bool
        Whether ``rows`` end where the shutter ended them. The rows of a compact light end with it:
        then the flash is somewhere within their exposure.

    Notes
    -----
    With an unknown row time or a global shutter the flash is somewhere within the exposure (or
    the frame period): its middle is given, with the uncertainty of that interval.
    """
    row_s = info.row_time_s
    span_s = info.exposure_s or (1.0 / info.rate_hz if info.rate_hz else 0.0)
    if not row_s:
        return stamp.time_s + span_s / 2, math.hypot(stamp.error_s, span_s * UNIFORM_SIGMA)
    first, last = rows
    if not edges:
        middle_s = 0.5 * (first + last) * row_s
        return (
            stamp.time_s + middle_s + span_s / 2,
            math.hypot(stamp.error_s, span_s * UNIFORM_SIGMA),
        )
    fine_s = math.hypot(stamp.error_s, band * row_s * UNIFORM_SIGMA)
    if last < info.height - band:
        return stamp.time_s + last * row_s, fine_s
    if first >= band and info.exposure_s is not None:
        return stamp.time_s + first * row_s + info.exposure_s, fine_s
    return _cut_off(stamp, first, info, row_s, span_s)


def _cut_off(
    stamp: FrameStamp, first: int, info: SourceInfo, row_s: float, span_s: float
) -> tuple[float, float]:
    """The band reaches the bottom row: t lies between that row's start and the first one's end."""
    low = (info.height - 1) * row_s
    high = max(first * row_s + span_s, low)
    return (
        stamp.time_s + (low + high) / 2,
        math.hypot(stamp.error_s, (high - low) * UNIFORM_SIGMA),
    )

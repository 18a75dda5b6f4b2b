"""How much memory the frame ring may take on this machine."""

from __future__ import annotations

import os
from collections.abc import Callable

from liveview.engine.ring import FEWEST_SLOTS, FrameRing
from liveview.errors import InputUnreadable
from liveview.model import SourceInfo

LARGEST_SHARE = 0.5
"""Of the physical memory, so that the rest of the machine keeps working."""


def physical_megabytes() -> float | None:
    """Physical memory in 10^6 bytes, None where the system does not tell."""
    try:
        return os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE") / 1e6
    except (AttributeError, OSError, ValueError):
        return None


def ring_megabytes(wanted: float, physical: float | None = None) -> tuple[float, str]:
    """What the ring gets of ``wanted`` megabytes, and words when that is less.

    Parameters
    ----------
    wanted : float
        The setting.
    physical : float, optional
        Physical memory, 10^6 bytes; asked of the system when absent.
    """
    physical = physical_megabytes() if physical is None else physical
    if physical is None or wanted <= LARGEST_SHARE * physical:
        return wanted, ""
    given = LARGEST_SHARE * physical
    return given, f"pre-trigger memory limited to {given:.0f} MB, half of this machine's"


def fitting_ring(
    info: SourceInfo, wanted: float, published: Callable[[], None] | None = None
) -> tuple[FrameRing, str]:
    """A ring as large as wanted, or as the system will give; words when it is less.

    Parameters
    ----------
    info : SourceInfo
        Format of the frames.
    wanted : float
        The setting, 10^6 bytes.
    published : callable, optional
        See :class:`FrameRing`.

    Raises
    ------
    InputUnreadable
        There is no memory for even the fewest frames.
    """
    megabytes, words = ring_megabytes(wanted)
    while True:
        try:
            return FrameRing(info, megabytes, published), words
        except MemoryError as error:
            if _is_smallest(info, megabytes):
                raise InputUnreadable(
                    "there is no memory for its pictures",
                    info.name,
                    "close other programs or choose a smaller picture",
                ) from error
        megabytes /= 2.0
        words = f"pre-trigger memory limited to {megabytes:.0f} MB: the system gives no more"


def _is_smallest(info: SourceInfo, megabytes: float) -> bool:
    pixels = info.width * info.height * info.channels
    return megabytes * 1e6 <= FEWEST_SLOTS * pixels * info.dtype.itemsize

"""How much memory the frame ring may take on this machine."""

from __future__ import annotations

import os

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

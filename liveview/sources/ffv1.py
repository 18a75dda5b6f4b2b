"""Checksums of FFV1 frames, verified here because the decoder only conceals what is damaged.

Since version 3 every slice of a frame may end in a footer (RFC 9043, section 4.9)::

    ... slice data | size, 3 bytes | error status, 1 byte | parity, 4 bytes |

``size`` counts the data before the footer. The CRC-32 of a whole slice with its footer, with
generator 0x04C11DB7, first bit highest and register starting at 0, comes out as 0.
"""

from __future__ import annotations

import zlib

_FOOTER = 8
_ALL_ONES = 0xFFFFFFFF
_MIRRORED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))
"""Each byte with its bits in reverse: turns zlib's bit order into the standard's."""


def slices_hold(packet: bytes) -> bool | None:
    """Whether all slices of a coded frame pass their checksums.

    Parameters
    ----------
    packet : bytes
        One coded frame.

    Returns
    -------
    bool or None
        None where the data cannot be cut into slices with such footers: damaged sizes, or a
        stream coded without checksums.
    """
    mirrored = packet.translate(_MIRRORED)
    end = len(packet)
    holds = True
    while end > 0:
        if end < _FOOTER:
            return None
        size = int.from_bytes(packet[end - _FOOTER : end - _FOOTER + 3], "big")
        start = end - _FOOTER - size
        if start < 0:
            return None
        register = zlib.crc32(memoryview(mirrored)[start:end], _ALL_ONES)
        holds = holds and register == _ALL_ONES
        end = start
    return holds


class Checksums:
    """Watches one FFV1 stream; says which frames are damaged.

    A stream counts as one with checksums from the first frame that passes; before that nothing
    is held against it. A frame coded with the help of earlier ones is damaged when they were.
    """

    def __init__(self) -> None:
        self._present = False
        self._broken = False

    def damaged(self, packet: bytes, *, key: bool) -> bool:
        """True for a frame that must not be shown.

        Parameters
        ----------
        packet : bytes
            One coded frame.
        key : bool
            Whether it stands by itself.
        """
        holds = slices_hold(packet)
        if holds:
            self._present = True
        self._broken = self._present and (not holds or (self._broken and not key))
        return self._broken

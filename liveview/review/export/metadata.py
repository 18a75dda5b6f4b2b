"""What stays with every exported file: rig, blade, camera, times, settings, program version.

One JSON text: in video containers as ``comment``, in PNG as an ``iTXt`` chunk, in TIFF as
``ImageDescription``, in GIF as a comment block, in WebP as XMP, beside NPY and CSV as a file of
the same name ending in ``.json``.
"""

from __future__ import annotations

import json
import struct
import zlib
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any
from xml.sax.saxutils import escape

from liveview import __version__
from liveview.review.enhance import Enhancer

KEY = "liveview"


def export_metadata(
    enhancer: Enhancer, what: str, frames: tuple[int, int], **options: Any
) -> dict[str, Any]:
    """All that is needed to make the export again from the event.

    Parameters
    ----------
    what : str
        ``"clip"``, ``"still"`` ...
    frames : (first, last)
        Indices in the event, inclusive.
    options : JSON values
        How it was made.
    """
    event = enhancer.event
    first, last = (event.stamps[index].time_s for index in frames)
    return {
        "program": {"name": "liveview", "version": __version__},
        "export": what,
        "options": options,
        "event": event.name,
        "event_complete": event.complete,
        "cause": event.start.cause.value,
        "started_at": event.start.started_at,
        "first_frame": frames[0],
        "last_frame": frames[1],
        "first_time_s": round(first, 9),
        "last_time_s": round(last, 9),
        "spark_time_s": round(event.start.spotted.time_s, 9),
        "source": event.start.source.name,
        "simulated": event.start.source.simulated,
        "contrast_at_palette_end": enhancer.scale,
        "settings": enhancer.settings.to_mapping(),
        "words": list(enhancer.words),
    }


def as_text(data: Mapping[str, Any], *, ascii_only: bool = False) -> str:
    """The one line of JSON that is embedded; keys in order, so equal data give equal bytes.

    ``ascii_only`` escapes all else, for places that hold nothing else.
    """
    return json.dumps(data, ensure_ascii=ascii_only, sort_keys=True, separators=(",", ":"))


def created_at(enhancer: Enhancer, index: int) -> str:
    """Wall time of a frame in ISO 8601, for containers that have a field for it."""
    start = enhancer.event.start
    try:
        trigger = datetime.fromisoformat(start.started_at)
    except ValueError:
        return ""
    offset = enhancer.event.stamps[index].time_s - start.spotted.time_s
    return (trigger + timedelta(seconds=offset)).isoformat(timespec="microseconds")


def png_with_text(png: bytes, text: str) -> bytes:
    """A PNG with the text in an ``iTXt`` chunk after its header (PNG 1.2, 11.3.4.5)."""
    body = KEY.encode("latin-1") + b"\0\0\0\0\0" + text.encode("utf-8")
    chunk = struct.pack(">I", len(body)) + b"iTXt" + body
    chunk += struct.pack(">I", zlib.crc32(b"iTXt" + body))
    head = 8 + 25  # signature and IHDR
    return png[:head] + chunk + png[head:]


def gif_with_text(gif: bytes, text: str) -> bytes:
    """A GIF with the text in a comment block before its end (GIF89a, 24)."""
    raw = text.encode("utf-8")
    blocks = b"".join(
        bytes([len(part)]) + part for part in (raw[i : i + 255] for i in range(0, len(raw), 255))
    )
    return gif[:-1] + b"\x21\xfe" + blocks + b"\0" + gif[-1:]


def webp_with_text(webp: bytes, text: str) -> bytes:
    """A WebP with the text as the description of an XMP packet (WebP container, VP8X).

    Raises
    ------
    ValueError
        Not an extended WebP file, which every animation is.
    """
    if webp[12:16] != b"VP8X":
        raise ValueError("not an extended WebP file")
    packet = (
        '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF '
        'xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description '
        'xmlns:dc="http://purl.org/dc/elements/1.1/"><dc:description><rdf:Alt><rdf:li '
        f'xml:lang="x-default">{escape(text)}</rdf:li></rdf:Alt></dc:description>'
        "</rdf:Description></rdf:RDF></x:xmpmeta>"
    ).encode()
    chunk = b"XMP " + struct.pack("<I", len(packet)) + packet + b"\0" * (len(packet) % 2)
    flags = webp[20] | 0x04
    body = webp[8:20] + bytes([flags]) + webp[21:] + chunk
    return b"RIFF" + struct.pack("<I", len(body)) + body

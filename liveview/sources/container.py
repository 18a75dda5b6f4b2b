"""Opening media files and addresses with PyAV, with foreign errors put into words."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

from liveview.errors import InputUnreadable, SourceStalled
from liveview.sources.limits import MAX_PIXELS

if TYPE_CHECKING:
    from av.container import InputContainer

_ANSI_TEXT = ("tty", "txt")
"""Demuxers that draw a text file as if it were a terminal: never a recording."""


def is_address(name: str) -> bool:
    """True for something on the network rather than a path."""
    return "://" in name


def shown(name: str) -> str:
    """A path or address for messages: without the user's name and password."""
    scheme, mark, rest = name.partition("://")
    host, slash, path = rest.partition("/")
    return scheme + mark + host.rpartition("@")[2] + slash + path if mark else name


def open_container(
    name: str, *, timeouts_s: tuple[float, float] | None = None, **options: str
) -> InputContainer:
    """Open a media file or address for reading.

    Parameters
    ----------
    name : str
        Path or address.
    timeouts_s : (float, float), optional
        Longest time for opening and for one read, seconds; none for files.
    **options
        Options of the demuxer.

    Raises
    ------
    SourceStalled
        The address did not answer in time or refused the connection: it may come back.
    InputUnreadable
        Anything else, in one line.
    """
    import av

    try:
        container = av.open(
            name,
            "r",
            timeout=timeouts_s,
            container_options=options,
            metadata_errors="replace",
        )
    except (av.error.FFmpegError, OSError, ValueError) as error:
        raise translated(error, name) from error
    if container.format.name in _ANSI_TEXT:
        container.close()
        raise InputUnreadable("is text, not a recording", name, _REMEDY_FILE)
    return container


_REMEDY_FILE = "give a video, a folder of images or a multi-page TIFF"


def translated(error: Exception, name: str) -> InputUnreadable:
    """A foreign error of opening or reading as one of ours (raise it ``from`` the foreign one)."""
    on_network = is_address(name) and not name.startswith("file:")
    where = shown(name)
    if (words := _gone_words(error, on_network)) is not None:
        return SourceStalled(words, where, "check the address and that it is on")
    return InputUnreadable(*_refused_words(error, where))


def _gone_words(error: Exception, on_network: bool) -> str | None:
    """Words for what may come back by itself; None for everything else."""
    import av

    if isinstance(error, (av.error.ExitError, TimeoutError)):
        return "nothing came in the time allowed"
    if isinstance(error, ConnectionError):
        return "cannot be reached"
    if on_network and isinstance(error, OSError):
        return "cannot be reached, or sends no pictures"
    return None


def _refused_words(error: Exception, where: str) -> tuple[str, str, str]:
    import av

    reason = getattr(error, "strerror", None) or str(error)
    http = (av.error.HTTPError, av.error.HTTPClientError, av.error.HTTPServerError)
    if isinstance(error, http):
        answer = reason.removeprefix("Server returned ")
        return f"the server answers {answer}", where, "check the address"
    if isinstance(error, av.error.ProtocolNotFoundError):
        return "this kind of address is not known", where, _REMEDY_ADDRESS
    if isinstance(error, av.error.InvalidDataError):
        what = "is not a recording that can be read, or its beginning is damaged"
        return what, where, _REMEDY_FILE
    return f"cannot be opened ({reason})", where, _REMEDY_FILE


_REMEDY_ADDRESS = "use http://, https:// or rtsp://"


def video_stream(container: InputContainer, name: str, *, several: bool = False) -> Any:
    """The first real video stream, set up for exact accounting of damaged frames.

    Slices of one frame are decoded in parallel, frames one after the other: with several frames
    at work at once, which of them was reported as damaged was found to depend on chance. With
    ``several`` they are all the same: for whoever only looks.

    Raises
    ------
    InputUnreadable
        There is none (sound only, cover pictures only), or its coding is unknown.
    """
    streams = [s for s in container.streams.video if not _is_cover(s)]
    if not streams:
        if container.streams.audio:
            raise InputUnreadable(
                "holds sound but no pictures", name, "give the recording, and this with --sound"
            )
        raise InputUnreadable("holds no pictures", shown(name), _REMEDY_FILE)
    stream = streams[0]
    if stream.codec_context is None:
        raise InputUnreadable("its pictures are coded in an unknown way", name, _REMEDY_CODEC)
    stream.codec_context.thread_type = "AUTO" if several else "SLICE"
    stream.codec_context.thread_count = 0
    stream.codec_context.options = {
        "err_detect": "crccheck+explode" if stream.codec_context.name == "ffv1" else "crccheck",
        "max_pixels": str(MAX_PIXELS),
    }
    return stream


LOSSY = "compressed with losses: the noise is at least what is shown"


def is_lossy(stream: Any) -> bool:
    """Whether its pictures are coded with losses, as far as its coding tells."""
    return bool(stream.codec_context.codec.lossy)


def recorded_at(container: InputContainer) -> str:
    """ISO time at which the recording began, as the file says; empty where it does not."""
    for key in ("com.apple.quicktime.creationdate", "creation_time"):
        said = container.metadata.get(key, "")
        if said and said[:4] > _NO_CLOCK:
            return said
    return ""


_NO_CLOCK = "1990"
"""Years up to here are the beginning of a format's clock, which nobody has set."""


def is_predicted(stream: Any) -> bool:
    """Whether its pictures are coded with losses as changes to others."""
    codec = stream.codec_context.codec
    return bool(codec.lossy and not codec.intra_only)


_REMEDY_CODEC = "convert it to FFV1 or H.264 in Matroska or MP4"


def is_still(container: InputContainer) -> bool:
    """Opened by a reader of single pictures, which invents 25 frames a second for them."""
    reader = container.format.name
    return reader == "image2" or reader.endswith("_pipe")


def _is_cover(stream: Any) -> bool:
    return bool(stream.disposition & type(stream.disposition).attached_pic)


def origin_s(container: InputContainer) -> Fraction:
    """Time on the file's own clock that counts as 0, for pictures and sound alike.

    It is the file's own 0 where the file begins within a second of it, else (transport streams,
    recordings of a running clock) the beginning of whatever begins first.
    """
    start_us = container.start_time
    if start_us is None or abs(start_us) <= _NEAR_ZERO_US:
        return Fraction(0)
    return Fraction(start_us, 1_000_000)


_NEAR_ZERO_US = 1_000_000


def promised_seconds(stream: Any, container: InputContainer) -> float | None:
    """How long the file says the pictures last; None where it does not say or talks nonsense."""
    if stream.duration and stream.time_base:
        seconds = float(stream.duration * stream.time_base)
    elif tagged := _tagged_duration(stream.metadata):
        seconds = tagged
    elif container.duration and len(container.streams) == 1:
        seconds = container.duration / 1e6
    else:
        return None
    return seconds if 0 < seconds < 1e7 else None


def _tagged_duration(metadata: dict[str, str]) -> float | None:
    """Matroska's statistics tag, ``00:00:02.400000000``."""
    for key, value in metadata.items():
        parts = value.split(":")
        if key.upper().startswith("DURATION") and len(parts) == 3:
            try:
                return int(parts[0]) * 3600 + int(parts[1]) * 60 + float(parts[2])
            except ValueError:
                return None
    return None


def file_url(path: Path) -> str:
    """A path as the opener wants it: never taken for a protocol, even with a colon in it."""
    return f"file:{path}"

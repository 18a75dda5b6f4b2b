"""How large a picture may be, and the checks that every opening of a file begins with."""

from __future__ import annotations

from pathlib import Path

from liveview.errors import BadRequest, InputUnreadable

MAX_SIDE = 20_000
"""Longest side of a picture in pixels; a header that says more is taken for damaged."""

MAX_PIXELS = 100_000_000
"""Largest picture in pixels (600 MB as 16-bit colour)."""


def check_size(width: int, height: int, where: str) -> None:
    """Refuse sizes that are absurd before memory is asked for.

    Raises
    ------
    InputUnreadable
        No area, a side over ``MAX_SIDE`` or an area over ``MAX_PIXELS``.
    """
    if width <= 0 or height <= 0:
        raise InputUnreadable(
            "says nothing usable of the size of its pictures", where, "the file may be damaged"
        )
    if width > MAX_SIDE or height > MAX_SIDE or width * height > MAX_PIXELS:
        raise InputUnreadable(
            f"says it is {width} x {height} pixels, over the limit of {MAX_SIDE} a side and "
            f"{MAX_PIXELS // 1_000_000} megapixels",
            where,
            "the file may be damaged; otherwise cut it down first",
        )


def checked_file(path: Path) -> Path:
    """The path of a file that exists and is not empty.

    Raises
    ------
    InputUnreadable
        Missing, a folder, empty, or not allowed to be read.
    """
    try:
        if path.is_dir():
            raise InputUnreadable("is a folder, not a file", str(path), "give a file in it")
        with path.open("rb") as file:
            first = file.read(1)
    except FileNotFoundError as error:
        raise InputUnreadable("there is no such file", str(path), "check the path") from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise InputUnreadable(
            f"cannot be opened ({reason})", str(path), "check the path and its permissions"
        ) from error
    if not first:
        raise InputUnreadable(
            "is empty (0 bytes)", str(path), "copy it again from where it was recorded"
        )
    return path


def checked_white(wanted: int | None, native: int, top: int, where: str) -> int:
    """The top code value to use: ``wanted`` from the settings, else ``native``.

    Parameters
    ----------
    wanted : int or None
        From the settings (``camera.white``).
    native : int
        What the source says of itself.
    top : int
        Largest value its samples can hold.

    Raises
    ------
    BadRequest
        ``wanted`` is larger than ``top``.
    """
    if wanted is None:
        return native
    if wanted > top:
        raise BadRequest(
            f"white = {wanted} is above {top}, the largest code of these pictures",
            where,
            "leave camera.white (--white) out or lower it",
        )
    return wanted

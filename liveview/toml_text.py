"""TOML files that people write: read, or refused in one line that says what is wrong."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from liveview.errors import BadRequest

LARGEST_FILE = 1_000_000
LONGEST_LINE = 5000
"""Characters; parsing a much longer key would take minutes."""


def read_toml(path: Path, what: str) -> dict[str, Any]:
    """The tables of a TOML file.

    Parameters
    ----------
    path : Path
        The file.
    what : str
        What it is, for the words of an error: "settings", "show", "scene".

    Raises
    ------
    BadRequest
        It cannot be read, is not text in UTF-8, is too large, or is not TOML.
    """
    where = str(path)
    try:
        text = path.read_bytes().decode("utf-8")
    except OSError as error:
        reason = f"cannot read the {what} ({error.strerror})"
        raise BadRequest(reason, where, "check the path") from error
    except UnicodeDecodeError as error:
        raise BadRequest("is not text in UTF-8", where, "give a TOML file") from error
    longest = max(map(len, text.splitlines()), default=0)
    if len(text) > LARGEST_FILE or longest > LONGEST_LINE:
        size = f"is too large ({len(text)} characters, longest line {longest})"
        raise BadRequest(size, where, f"give a {what} file")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadRequest(f"is not valid TOML: {error}", where, "correct that line") from error
    except RecursionError as error:
        raise BadRequest("is nested too deeply", where, f"give a {what} file") from error

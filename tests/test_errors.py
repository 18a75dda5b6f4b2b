"""The error tree: one line each, exit codes as promised to scripts."""

from __future__ import annotations

import inspect

import pytest

from liveview import errors
from liveview.errors import LiveviewError

EXIT_CODES = {
    "LiveviewError": 1,
    "BadRequest": 2,
    "InputUnreadable": 3,
    "SourceStalled": 3,
    "FormatChanged": 3,
    "OutputFailed": 4,
    "SoundUnavailable": 3,
    "CalibrationRefused": 3,
    "WorkerStuck": 1,
}

CLASSES = {
    name: value
    for name, value in vars(errors).items()
    if inspect.isclass(value) and issubclass(value, Exception)
}


def test_the_tree_is_as_drawn() -> None:
    assert {name: value.exit_code for name, value in CLASSES.items()} == EXIT_CODES
    assert all(name in (errors.__doc__ or "") for name in CLASSES)


@pytest.mark.parametrize("kind", CLASSES.values())
def test_what_where_and_remedy_make_one_line(kind: type[LiveviewError]) -> None:
    error = kind("cannot be\nread", "a\tfile", "check\r\nthe path")
    assert str(error) == "a file: cannot be read; check the path"
    assert (error.what, error.where, error.remedy) == (
        "cannot be\nread",
        "a\tfile",
        "check\r\nthe path",
    )


def test_parts_may_be_missing() -> None:
    assert str(LiveviewError("it broke")) == "it broke"
    assert str(LiveviewError("it broke", "here")) == "here: it broke"
    assert str(LiveviewError("it broke", remedy="mend it")) == "it broke; mend it"

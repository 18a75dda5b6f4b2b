"""What every test gets: no thread survives it, private user folders, a display where needed."""

from __future__ import annotations

import contextlib
import gc
import os
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings
from support.fault_table import Fault

# A slow machine is no fault of the code: drawn examples may take as long as they need.
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")

GRACE_S = 2.0
"""How long a thread may take to end after its test: what the program allows itself, too."""


gc.disable()
"""While tests are collected nearly all stays: looking for garbage takes more than half the time."""


def pytest_collection_finish() -> None:
    """From here on garbage is looked for again, but not in what was collected."""
    gc.freeze()
    gc.enable()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Tests under ``tests/gui`` get the display before anything else of theirs is set up."""
    gui = Path(__file__).parent / "gui"
    for item in items:
        if isinstance(item, pytest.Function) and gui in item.path.parents:
            item.fixturenames.insert(0, "display")


@pytest.fixture(autouse=True)
def no_thread_left() -> Iterator[None]:
    """Fail a test that leaves a thread alive.

    Threads of module and session fixtures are older than the test and do not count.
    """
    before = set(threading.enumerate())
    yield
    deadline = time.monotonic() + GRACE_S
    for thread in set(threading.enumerate()) - before:
        thread.join(max(0.0, deadline - time.monotonic()))
    left = sorted(t.name for t in set(threading.enumerate()) - before if t.is_alive())
    if left:
        pytest.fail(f"threads left alive: {', '.join(left)}", pytrace=False)


@pytest.fixture
def fault(request: pytest.FixtureRequest) -> Iterator[Fault]:
    """What the test's ``fault`` mark declares; fails a test that does not look at its words."""
    mark = request.node.get_closest_marker("fault")
    assert mark is not None, "the fixture 'fault' needs the mark of the same name"
    declared = Fault(*mark.args, **mark.kwargs)
    yield declared
    if not declared.asked:
        pytest.fail("the words of the fault were never looked for", pytrace=False)


@pytest.fixture(scope="session", autouse=True)
def private_folders(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The user's folders (settings, data, cache, videos) are private to the test run."""
    home = tmp_path_factory.mktemp("user")
    names = {
        "XDG_CONFIG_HOME": "config",
        "XDG_DATA_HOME": "data",
        "XDG_STATE_HOME": "state",
        "XDG_CACHE_HOME": "cache",
        "XDG_VIDEOS_DIR": "videos",
    }
    if "XDG_RUNTIME_DIR" not in os.environ:  # a running desktop has its sockets there
        names["XDG_RUNTIME_DIR"] = "run"
    with pytest.MonkeyPatch.context() as patch:
        for variable, folder in names.items():
            (home / folder).mkdir(mode=0o700)
            patch.setenv(variable, str(home / folder))
        yield home


@pytest.fixture(scope="session")
def display() -> Iterator[str]:
    """A display for real windows: the one that is there, else an Xvfb of our own.

    Xvfb chooses a free display number itself and is ended by its process id.
    """
    there = os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    if there or not sys.platform.startswith("linux"):
        yield there or "native"
        return
    program = shutil.which("Xvfb")
    if program is None:
        pytest.fail("no display and no Xvfb: run './start test', or install the package xvfb")
    with _xvfb(program) as name, pytest.MonkeyPatch.context() as patch:
        patch.setenv("DISPLAY", name)
        patch.setenv("QT_QPA_PLATFORM", "xcb")
        yield name


@contextlib.contextmanager
def _xvfb(program: str) -> Iterator[str]:
    reading, writing = os.pipe()
    command = [program, "-displayfd", str(writing), "-screen", "0", "1600x1000x24"]
    command += ["-nolisten", "tcp", "-noreset"]
    process = subprocess.Popen(
        command, pass_fds=(writing,), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    os.close(writing)
    try:
        with os.fdopen(reading) as answer:
            number = answer.readline().strip()
        if not number:
            pytest.fail("Xvfb ended before it opened a display")
        yield f":{number}"
    finally:
        process.terminate()
        process.wait(timeout=10)

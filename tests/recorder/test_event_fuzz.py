"""Damaged and hostile event folders: read, or refused in one line; nothing outside is touched."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from liveview.errors import LiveviewError
from liveview.recorder import StoredEvent, recover
from liveview.recorder.files import Room
from liveview.recorder.spool import SpoolWriter
from liveview.settings import Settings
from liveview.sources import frame_source, sound_source

quick = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)

FILES = (
    "event.json",
    "times.csv",
    "sound.csv",
    "frames.mkv",
    "dark.png",
    "open.png",
    "reference.png",
    "clipped.png",
)

TRICKS = (
    "../outside.png",
    "../../../../../../etc/hostname",
    "/etc/hostname",
    "C:\\windows\\win.ini",
    "\\\\server\\share\\x.png",
    "CON",
    "nul.png",
    "a\x00b.png",
    "",
    ".",
    "..",
    "x" * 5000,
)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A finished event with calibration and sound."""
    yield tmp_path_factory.mktemp("whole")


@pytest.fixture
def event(kit, whole: Path, tmp_path: Path) -> Callable[[], Path]:
    """Gives a fresh copy of a finished event each time it is called."""
    if not (whole / "event").exists():
        shutil.copytree(kit.record(kit.make(6, (24, 32))), whole / "event")

    def fresh() -> Path:
        place = tmp_path / "inner" / "event"
        shutil.rmtree(place, ignore_errors=True)
        shutil.copytree(whole / "event", place)
        return place

    return fresh


def one_line(error: LiveviewError) -> None:
    assert str(error)
    assert "\n" not in str(error)


def read_whole(place: Path) -> bool:
    """Read all there is; False when it is refused in words."""
    try:
        with StoredEvent.open(place) as event:
            assert not event.rate_hz or event.rate_hz > 0
            assert 0 <= event.spark_index <= max(0, len(event) - 1)
            assert len(event.lost_before) == len(event)
            for index in range(len(event)):
                try:
                    frame = event.frame(index)
                except LiveviewError as error:
                    one_line(error)
                    continue
                assert frame.pixels.shape == event.start.source.shape
            event.sound()
    except LiveviewError as error:
        one_line(error)
        return False
    return True


def read_as_source(place: Path) -> None:
    """The same through the sources that ``process`` and the window use."""
    try:
        source = frame_source(str(place), Settings(), clock=float, live=False)
        try:
            info = source.open()
            out = np.empty(info.shape, info.dtype)
            while source.grab() is not None:
                source.read_into(out)
        finally:
            source.close()
        sound = sound_source(str(place), Settings(), clock=float, live=False)
        if sound is not None:
            try:
                sound.open()
                while sound.read(0.1) is not None:
                    pass
            finally:
                sound.close()
    except LiveviewError as error:
        one_line(error)


def tree(folder: Path) -> dict[str, int]:
    """All files below a folder with their sizes."""
    return {
        str(path.relative_to(folder)): path.stat().st_size
        for path in folder.rglob("*")
        if path.is_file()
    }


def test_the_untouched_event_is_read(event) -> None:
    place = event()
    assert set(FILES) <= {path.name for path in place.iterdir()}
    assert read_whole(place)


@pytest.mark.parametrize("name", FILES)
def test_cut_at_every_tenth_and_missing(event, name: str) -> None:
    place = event()
    data = (place / name).read_bytes()
    for tenth in range(10):
        (place / name).write_bytes(data[: len(data) * tenth // 10])
        before = tree(place)
        read_whole(place)
        read_as_source(place)
        assert tree(place) == before
    (place / name).unlink()
    read_whole(place)
    read_as_source(place)


@pytest.mark.slow
@pytest.mark.parametrize("name", FILES)
@quick
@given(flips=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 7)), min_size=1, max_size=8))
def test_flipped_bits(event, name: str, flips: list[tuple[float, int]]) -> None:
    place = event()
    data = bytearray((place / name).read_bytes())
    for where, bit in flips:
        data[min(int(where * where * len(data)), len(data) - 1)] ^= 1 << bit
    (place / name).write_bytes(data)
    read_whole(place)
    read_as_source(place)


def places_in(data: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place of a JSON tree, as a chain of keys."""
    if path:
        yield path
    items = (
        data.items()
        if isinstance(data, dict)
        else enumerate(data)
        if isinstance(data, list)
        else ()
    )
    for key, value in items:
        yield from places_in(value, (*path, key))


JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(10**20), 10**20)
    | st.floats(allow_nan=True)
    | st.text(max_size=12)
    | st.sampled_from(TRICKS),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3)
    ),
    max_leaves=4,
)


def spoil(path: Path, where: float, value: Any) -> None:
    """Put a value in one place of a JSON file; what the settings hold is checked elsewhere."""
    data = json.loads(path.read_text(encoding="utf-8"))
    every = [place for place in places_in(data) if place[0] != "settings"]
    *head, last = every[int(where * len(every))]
    target = data
    for key in head:
        target = target[key]
    target[last] = value
    path.write_text(json.dumps(data), encoding="utf-8")


@pytest.mark.slow
@settings(parent=quick, max_examples=150)
@given(where=st.floats(0, 1, exclude_max=True), value=JSON)
def test_a_description_with_anything_in_it(event, where: float, value: Any) -> None:
    place = event()
    spoil(place / "event.json", where, value)
    read_whole(place)
    read_as_source(place)


def test_a_description_nested_without_end(event) -> None:
    place = event()
    (place / "event.json").write_text("[" * 100_000, encoding="ascii")
    assert not read_whole(place)


@pytest.mark.parametrize("trick", TRICKS)
def test_names_in_the_description_do_not_leave_the_folder(event, trick: str) -> None:
    place = event()
    shutil.copyfile(place / "clipped.png", place.parent / "outside.png")
    data = json.loads((place / "event.json").read_text(encoding="utf-8"))
    data["calibration"]["clipped"]["file"] = trick
    (place / "event.json").write_text(json.dumps(data), encoding="utf-8")
    assert not read_whole(place)


@pytest.mark.parametrize("key", ["width", "height", "channels", "bits", "white"])
@pytest.mark.parametrize("value", [0, -1, 10**6, 10**12, 2**63])
def test_huge_and_senseless_sizes(event, key: str, value: int) -> None:
    place = event()
    data = json.loads((place / "event.json").read_text(encoding="utf-8"))
    data["source"][key] = value
    (place / "event.json").write_text(json.dumps(data), encoding="utf-8")
    read_whole(place)
    read_as_source(place)


@pytest.mark.parametrize("value", [0, -1, 10**9, 10**18])
@pytest.mark.parametrize("column", ["time_ns", "offset", "size"])
def test_huge_numbers_in_the_table(event, column: str, value: int) -> None:
    place = event()
    lines = (place / "times.csv").read_text(encoding="ascii").splitlines()
    head = lines[0].split(",")
    cells = lines[2].split(",")
    at = next(i for i, name in enumerate(head) if column in name)
    cells[at] = str(value)
    lines[2] = ",".join(cells)
    (place / "times.csv").write_text("\n".join(lines) + "\n", encoding="ascii")
    read_whole(place)
    read_as_source(place)


@pytest.fixture(scope="module")
def unfinished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where an unfinished event is kept for copying."""
    return tmp_path_factory.mktemp("raw")


def make_unfinished(kit, place: Path) -> Path:
    """An event whose spool is whole and that nobody has converted yet."""
    part = place / "left.part"
    if not part.exists():
        made = kit.make(4, (24, 32), calibrated=False)
        part.mkdir()
        writer = SpoolWriter(part, made.start, Room(place, 0))
        for frame in made.frames:
            writer.add_frame(frame)
        writer.end(True, 0)
    return part


@pytest.mark.slow
@settings(parent=quick, max_examples=120)
@given(where=st.floats(0, 1, exclude_max=True), value=JSON)
def test_an_unfinished_event_with_anything_in_it(
    kit, tmp_path: Path, unfinished: Path, where: float, value: Any
) -> None:
    """Recovery finishes it or leaves it, and makes nothing anywhere else."""
    inner = tmp_path / "inner"
    shutil.rmtree(inner, ignore_errors=True)
    shutil.copytree(make_unfinished(kit, unfinished), inner / "left.part")
    spoil(next(inner.rglob("start.json")), where, value)
    read_whole(inner / "left.part")
    outside = set(tree(tmp_path)) - {f"inner/{name}" for name in tree(inner)}
    (done,) = recover(inner)
    assert "\n" not in done.words
    assert done.path is None or done.path == inner / "left"
    assert set(tree(tmp_path)) - {f"inner/{name}" for name in tree(inner)} == outside
    assert {path.name for path in inner.iterdir()} <= {"left", "left.part"}

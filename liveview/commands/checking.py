"""The single checks behind ``liveview check``."""

from __future__ import annotations

import importlib.metadata
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from liveview import __version__

if TYPE_CHECKING:
    from liveview.sources.listing import Answer

State = Literal["ok", "weak", "missing"]

NEEDED = {
    "numpy": "numpy",
    "scipy.ndimage": "scipy",
    "liveview.imaging.cv": "opencv-python",
    "av": "av",
    "pydantic": "pydantic",
    "pint": "Pint",
    "tifffile": "tifffile",
    "abel": "PyAbel",
    "PyQt6.QtWidgets": "PyQt6",
    "pyqtgraph": "pyqtgraph",
    "cv2_enumerate_cameras": "cv2_enumerate_cameras",
    "soundfile": "soundfile",
    "sounddevice": "sounddevice",
}
"""Module to import and the distribution it comes from."""

SYSTEM_PACKAGES = {
    "opencv-python": "libgl1 libglib2.0-0",
    "PyQt6": "libegl1 libxkbcommon-x11-0 libxcb-cursor0 libxcb-icccm4 libxcb-keysyms1 libdbus-1-3",
    "sounddevice": "libportaudio2",
}
"""Debian packages without which a library that is installed does not load."""

WITHOUT = {"sounddevice": "no microphone", "soundfile": "no sound files"}
"""Libraries the program runs without, and what is missing then."""

PROBE_S = 30.0
"""Longest time a single check in another process may take."""
DISK_MB = 192
BUDGET_S = 1.0


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the machine is to manage."""

    rate_hz: float
    width: int
    height: int
    folder: Path | None = None

    @property
    def megabytes_a_second(self) -> float:
        """Raw 8-bit colour frames, 10^6 bytes a second."""
        return self.width * self.height * 3 * self.rate_hz / 1e6


@dataclass(frozen=True, slots=True)
class Finding:
    """One line: ``weak`` works with limits, ``missing`` means the program cannot do its work."""

    topic: str
    state: State
    words: str
    remedy: str = ""

    def as_mapping(self) -> dict[str, str]:
        """As plain data."""
        return asdict(self)


def all_findings(wanted: Wanted) -> Iterator[Finding]:
    """Every check, one after another; a check that fails unforeseen says so and the rest go on."""
    yield from (machine(), libraries(), coder())
    yield display()
    yield from (cameras(), industrial(), microphones())
    yield disk_speed(wanted)
    yield frame_budget(wanted)
    yield memory(wanted)


def machine() -> Finding:
    """Versions and processor."""
    words = (
        f"liveview {__version__}, Python {platform.python_version()}, {platform.system()} "
        f"{platform.machine()}, {os.cpu_count()} processors"
    )
    return Finding("machine", "ok", words)


def libraries() -> Finding:
    """Every library is imported in one other process, so that a crash there is only a finding."""
    code = (
        "import importlib, sys\n"
        "for name in sys.argv[1:]:\n"
        "    try: importlib.import_module(name)\n"
        "    except Exception as error:\n"
        "        print(name, type(error).__name__, str(error).splitlines()[:1], sep='\\t')\n"
    )
    done = _probe(code, *NEEDED)
    if done is None or done.returncode != 0:
        return Finding(
            "libraries", "missing", "a library crashed on loading", "install liveview anew"
        )
    failed = [line.split("\t")[0] for line in done.stdout.splitlines()]
    if not failed:
        return Finding("libraries", "ok", ", ".join(_versions()))
    names = [NEEDED[name] for name in failed]
    state: State = "weak" if all(name in WITHOUT for name in names) else "missing"
    lost = [f"{name} ({WITHOUT[name]})" if name in WITHOUT else name for name in names]
    packages = " ".join(SYSTEM_PACKAGES[name] for name in names if name in SYSTEM_PACKAGES)
    remedy = f"Debian: apt-get install {packages}" if packages else "install liveview anew with pip"
    return Finding("libraries", state, f"not usable: {', '.join(lost)}", remedy)


def _versions() -> Iterator[str]:
    for name in sorted(set(NEEDED.values()), key=str.lower):
        try:
            yield f"{name} {importlib.metadata.version(name)}"
        except importlib.metadata.PackageNotFoundError:
            yield f"{name} (version unknown)"


def _probe(code: str, *arguments: str) -> subprocess.CompletedProcess[str] | None:
    """Run a piece of Python in another process; None when it did not end in time."""
    try:
        return subprocess.run(
            [sys.executable, "-c", code, *arguments],
            capture_output=True,
            text=True,
            timeout=PROBE_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return None


def coder() -> Finding:
    """FFV1 and FLAC, in which events are kept."""
    try:
        import av

        for name in ("ffv1", "flac"):
            av.codec.Codec(name, "w")
    except (ImportError, ValueError, OSError) as error:
        return Finding(
            "coder",
            "missing",
            f"events cannot be coded ({error})",
            "install the package av with pip, built with FFmpeg's FFV1 and FLAC",
        )
    return Finding("coder", "ok", "FFV1 pictures and FLAC sound can be written")


def display() -> Finding:
    """A window is opened in another process: Qt ends the process where it finds no display."""
    code = (
        "from PyQt6.QtWidgets import QApplication\n"
        "app = QApplication([])\n"
        "sizes = [s.geometry() for s in app.screens()]\n"
        "print(app.platformName(), *(f'{g.width()}x{g.height()}' for g in sizes))\n"
    )
    done = _probe(code)
    if done is not None and done.returncode == 0:
        name, *sizes = done.stdout.split()
        second = "" if len(sizes) > 1 else "connect a second screen for an audience"
        return Finding("display", "ok", f"{name}, screens: {', '.join(sizes) or 'none'}", second)
    words, remedy = _why_no_display(done)
    return Finding("display", "weak", words, remedy)


def _why_no_display(done: subprocess.CompletedProcess[str] | None) -> tuple[str, str]:
    here = os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    if sys.platform.startswith("linux") and not here:
        return "none: no window, 'liveview process' works", "start it in a graphical session"
    if done is None:
        return "does not answer", "start it in a graphical session of your own"
    return (
        "there is one, but Qt cannot use it",
        f"Debian: apt-get install {SYSTEM_PACKAGES['PyQt6']}",
    )


def _answers(topic: str, answers: Sequence[Answer], lost: str, remedy: str) -> Finding:
    silent = [one for one in answers if not one.answers]
    count = len(answers) - len(silent)
    if count:
        more = f", {len(silent)} do not" if silent else ""
        return Finding(topic, "ok", f"{count} answer{more}; 'liveview list' names them")
    if silent:
        return Finding(topic, "weak", f"{len(silent)} there, none answers: {lost}", remedy)
    return Finding(topic, "weak", f"none: {lost}", remedy)


def cameras() -> Finding:
    """Cameras that answer."""
    from liveview.sources.listing import list_cameras

    return _answers(
        "cameras",
        list_cameras(),
        "the window opens on the simulated rig",
        "plug one in, close other programs that use it; on Linux your user needs the group 'video'",
    )


def industrial() -> Finding:
    """The library for industrial cameras, which few need; looked for in another process."""
    code = (
        "from liveview.errors import LiveviewError\n"
        "from liveview.sources.aravis import find_genicam\n"
        "try: print(len(find_genicam()))\n"
        "except LiveviewError as error: print(error.remedy)\n"
    )
    done = _probe(code)
    words = "" if done is None else done.stdout.strip()
    if words.isdigit():
        return Finding(
            "industrial", "ok", f"GigE and USB3 Vision cameras can be used, {words} found"
        )
    return Finding(
        "industrial",
        "weak",
        "no GigE or USB3 Vision cameras; others are not concerned",
        words or "install Aravis and PyGObject anew",
    )


def microphones() -> Finding:
    """Sound inputs that answer."""
    from liveview.sources.listing import list_microphones

    return _answers(
        "sound",
        list_microphones(),
        "sparks are caught by their flash only",
        "plug a microphone in and allow its use; on Debian: apt-get install libportaudio2",
    )


def disk_speed(wanted: Wanted) -> Finding:
    """Write raw frames where events go, for about as much as a second of them."""
    from liveview.recorder import default_folder

    folder = wanted.folder or default_folder()
    there = next((p for p in (folder, *folder.parents) if p.is_dir()), Path())
    chunk = np.random.default_rng(0).bytes(1 << 20)
    try:
        free = shutil.disk_usage(there).free
        if free < 4 * DISK_MB * 1_000_000:
            return Finding(
                "disk", "weak", f"{free / 1e6:.0f} MB free", "free some space or use --folder"
            )
        with tempfile.TemporaryFile(dir=there) as file:
            began_s = time.perf_counter()
            for _ in range(DISK_MB):
                file.write(chunk)
            file.flush()
            os.fsync(file.fileno())
            seconds = time.perf_counter() - began_s
    except OSError as error:
        return Finding(
            "disk",
            "weak",
            f"the folder of events cannot be written ({error.strerror})",
            "choose another one in the settings, store.folder, or with --folder",
        )
    speed, need = DISK_MB * 1.048576 / seconds, wanted.megabytes_a_second
    room_s = free / 1e6 / need
    words = (
        f"{speed:.0f} MB/s, {need:.0f} MB/s wanted for {_form(wanted)}; room for {room_s:.0f} s raw"
    )
    if speed >= need:
        return Finding("disk", "ok", words)
    return Finding("disk", "weak", words, "shorter events, a lower rate, or a faster disk")


def _form(wanted: Wanted) -> str:
    return f"{wanted.width} x {wanted.height} at {wanted.rate_hz:g} Hz"


def frame_budget(wanted: Wanted) -> Finding:
    """Time of the whole chain and of watching for sparks, for one frame of the wanted size."""
    took_ms = chain_ms(wanted)
    period_ms = 1e3 / wanted.rate_hz
    words = f"{took_ms:.1f} ms a frame of {period_ms:.1f} ms for {_form(wanted)}"
    if took_ms <= 0.8 * period_ms:
        return Finding("chain", "ok", words)
    return Finding(
        "chain",
        "weak",
        words + ": frames are left out on the screen, none in recordings",
        "a smaller picture, a lower rate, or a mono camera",
    )


def chain_ms(wanted: Wanted) -> float:
    """Median time of one colour frame of a plain disc, ms."""
    from liveview.engine.chain import Chain
    from liveview.model import Disc, Frame, FrameStamp, SourceInfo, SourceKind
    from liveview.settings import Settings
    from liveview.trigger.catcher import Catcher

    info = SourceInfo(
        SourceKind.SIMULATED, "check", wanted.width, wanted.height, 3, 8, 255, False, wanted.rate_hz
    )
    disc = Disc(wanted.width / 2, wanted.height / 2, 0.47 * min(wanted.width, wanted.height))
    chain, catcher = Chain(Settings(), info), Catcher(Settings(), info)
    chain.set_disc(disc)
    catcher.set_disc(disc)
    frames = [_plain_frame(info.shape, disc, seed) for seed in range(4)]
    times = []
    began_s = time.perf_counter()
    number = 0
    while number < 8 or time.perf_counter() - began_s < BUDGET_S:
        frame = Frame(frames[number % 4], FrameStamp(number, number / wanted.rate_hz), 255)
        before = time.perf_counter()
        chain.run(frame)
        catcher.see(frame)
        times.append(time.perf_counter() - before)
        number += 1
    return float(np.median(times)) * 1e3


def _plain_frame(shape: tuple[int, ...], disc: Any, seed: int) -> Any:
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[: shape[0], : shape[1]]
    inside = (x - disc.cx) ** 2 + (y - disc.cy) ** 2 < disc.radius**2
    frame = rng.integers(120, 136, shape, np.uint8)
    frame[~inside] = 2
    return frame


def memory(wanted: Wanted) -> Finding:
    """Seconds of frames before a spark that fit into the default ring."""
    from liveview.engine.memory import physical_megabytes, ring_megabytes
    from liveview.settings import Settings

    settings = Settings()
    megabytes, limited = ring_megabytes(settings.store.ring_mb)
    seconds = megabytes / wanted.megabytes_a_second
    total = physical_megabytes()
    of = "" if total is None else f" of {total / 1e3:.0f} GB"
    words = f"{megabytes:.0f} MB{of} hold {seconds:.1f} s before a spark at {_form(wanted)}"
    if seconds >= settings.catch.pre_trigger_s and not limited:
        return Finding("memory", "ok", words)
    return Finding("memory", "weak", words, "set store.ring_mb higher, or catch.pre_trigger lower")

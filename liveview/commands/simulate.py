"""``liveview simulate``: a simulated recording with its truth beside it."""

from __future__ import annotations

import argparse
import contextlib
import csv
import io
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from liveview.errors import BadRequest, OutputFailed
from liveview.units import parse_quantity

if TYPE_CHECKING:
    from liveview.bench.scene import Scene
    from liveview.commands.simulated_truth import TruthBook
    from liveview.sources.simulated import SimulatedBench

RECORDING = "recording.mkv"
_SIZE = re.compile(r"(\d{1,5})x(\d{1,5})")
_SAMPLE_BITS = 24
_CODED = {8: 0.42, 12: 0.6, 16: 0.76}
"""Share that the coder leaves of the shipped scenes' codes, by their bits; most is noise."""
INTERRUPTED = 130

_DESCRIPTION = """
Render a scene of the simulated rig and write into DIR:

  recording.mkv   the frames, FFV1, with the microphone's sound as FLAC
  times.csv       the exact time of every frame
  truth.json      what is true of the recording: rig, disc, gain, sparks, rows lit, quiet stretches
  truth.npz       the same for every frame, and samples of the deflection
  setup.toml      rig, lamp, blade and camera, for 'liveview process --setup'

SCENE is the name of a shipped scene or a .toml file; --scenes lists them.
"""

_EPILOG = """
the same scene, options and seed give the same bytes. Lengths and times take a unit ("2 ms").
The expected size is said at the start; without room for it on the disk nothing is rendered.
exit codes: 0 done, 2 bad arguments or scene, 4 output cannot be written, 130 ended by Ctrl-C (no
half recording is left)
"""


def add_parser(subparsers: Any) -> None:
    """Add ``simulate`` and its options."""
    parser = subparsers.add_parser(
        "simulate",
        help="a simulated recording with its truth beside it",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("scene", metavar="SCENE", nargs="?")
    parser.add_argument("--out", metavar="DIR", type=Path, help="made if missing")
    parser.add_argument("--seed", metavar="N", default="1", help="fixes all that is random (1)")
    parser.add_argument("--seconds", metavar="S", help="length; the scene's own when absent")
    parser.add_argument("--rate", metavar="HZ", help="frames per second")
    parser.add_argument("--size", metavar="WxH", help="of the picture, such as 640x360")
    parser.add_argument("--bits", metavar="N", help="8, 12 or 16 bits a pixel")
    parser.add_argument("--shutter", metavar="KIND", help="rolling or global")
    parser.add_argument("--exposure", metavar="TIME", help="of one frame")
    parser.add_argument("--transfer", metavar="CURVE", help="srgb, bt709, linear or gamma:G")
    parser.add_argument("--no-sound", action="store_true", help="leave the sound track out")
    parser.add_argument(
        "--quick",
        action="store_true",
        help="render like the live rig: several times faster, noise and motion blur approximate",
    )
    parser.add_argument("--scenes", action="store_true", help="list the shipped scenes")


def run(args: argparse.Namespace) -> int:
    """Render and write the recording.

    Raises
    ------
    BadRequest
        An option or the scene cannot be used.
    OutputFailed
        The folder holds a recording already, or cannot be written.
    """
    if args.scenes:
        return _list_scenes()
    if args.scene is None or args.out is None:
        missing = "SCENE" if args.scene is None else "--out DIR"
        raise BadRequest(f"{missing} is missing", "simulate", "see 'liveview simulate --help'")
    scene = _scene(args)
    seed = _whole(args.seed, "--seed", 0, 2**32 - 1)
    from liveview.sources.simulated import SimulatedBench

    bench = SimulatedBench(scene, clock=lambda: 0.0, live=False, seed=seed, exact=not args.quick)
    folder: Path = args.out
    recording = folder / RECORDING
    if recording.exists():
        raise OutputFailed("already holds a recording", str(folder), "give another folder")
    size = _size_words(scene, folder)
    try:
        with _writing(folder):
            folder.mkdir(parents=True, exist_ok=True)
            print(size, file=sys.stderr)
            book = _record(bench, recording, sound=not args.no_sound)
            book.write(folder)
            _write_setup(scene, folder)
    except KeyboardInterrupt:
        kept = "" if recording.exists() else "; the unfinished recording was removed"
        print(f"liveview: ended by the keyboard{kept}", file=sys.stderr)
        return INTERRUPTED
    _say_what_next(scene, folder)
    return 0


def _size_words(scene: Scene, folder: Path) -> str:
    """How much will be written.

    Raises
    ------
    OutputFailed
        The disk is too full.
    """
    from liveview.recorder.files import MEGABYTE, free_bytes

    sensor = scene.sensor
    frames = round(scene.seconds * sensor.rate_hz)
    share = next(share for bits, share in _CODED.items() if sensor.bits <= bits)
    size = round(frames * sensor.width * sensor.height * sensor.bits / 8 * share)
    about = f"{size / 1e9:.1f} GB" if size >= 1e9 else f"{max(1, round(size / MEGABYTE))} MB"
    free = free_bytes(folder.absolute())
    if free is not None and free < size:
        raise OutputFailed(
            f"{frames} frames take about {about}, and {free / 1e9:.1f} GB are free",
            str(folder),
            "give another folder, fewer --seconds, or a smaller --size",
        )
    return f"{frames} frames, about {about}"


def _list_scenes() -> int:
    from liveview.bench.scene import load_scene, scene_names

    for name in scene_names():
        print(f"{name:20} {load_scene(name).title}")
    return 0


def _scene(args: argparse.Namespace) -> Scene:
    """The scene with the options of the command line in it."""
    from liveview.bench.scene import load_scene, with_values

    scene = load_scene(args.scene)
    sensor: dict[str, Any] = {}
    if args.rate is not None:
        sensor["rate_hz"] = _positive(args.rate, "Hz", "--rate")
    if args.size is not None:
        size = _SIZE.fullmatch(args.size)
        if size is None:
            raise BadRequest(f"'{args.size}' is not a size", "--size", "write it like 1280x720")
        sensor["width"], sensor["height"] = int(size[1]), int(size[2])
    if args.bits is not None:
        sensor["bits"] = _whole(args.bits, "--bits", 8, 16)
        if sensor["bits"] not in (8, 12, 16):
            raise BadRequest(f"{args.bits} bits are not offered", "--bits", "use 8, 12 or 16")
    if args.exposure is not None:
        sensor["exposure_s"] = _positive(args.exposure, "s", "--exposure")
    for name in ("shutter", "transfer"):
        if getattr(args, name) is not None:
            sensor[name] = getattr(args, name)
    changes: dict[str, Any] = {"sensor": sensor} if sensor else {}
    if args.seconds is not None:
        changes["seconds"] = _positive(args.seconds, "s", "--seconds")
    return with_values(scene, changes, "simulate") if changes else scene


def _whole(text: str, option: str, low: int, high: int) -> int:
    if not text.isascii() or not text.isdigit() or not low <= int(text) <= high:
        raise BadRequest(f"'{text}' is not a whole number from {low} to {high}", option)
    return int(text)


def _positive(text: str, unit: str, option: str) -> float:
    value = parse_quantity(text, unit, option)
    if value <= 0:
        raise BadRequest(f"'{text}' is not above zero", option)
    return value


def _record(bench: SimulatedBench, path: Path, *, sound: bool) -> TruthBook:
    """Render all frames and sound into the file; returns what was true."""
    import numpy as np

    from liveview.commands.processing.progress import Progress
    from liveview.commands.simulated_truth import TruthBook
    from liveview.recorder.matroska import EventFile, SoundForm, pixel_format

    frames, hearing = bench.frames(), bench.sound()
    info, heard = frames.open(), hearing.open()
    form = SoundForm(round(heard.rate_hz), 1, _SAMPLE_BITS) if sound else None
    partial = path.with_name(path.name + ".part")
    pixels = np.empty(info.shape, info.dtype)
    book = TruthBook(bench)
    progress = Progress(sys.stderr, info.frames)
    file = EventFile(partial, info, pixel_format(info), form, rate_hz=info.rate_hz, title=info.name)
    samples = 0
    with contextlib.ExitStack() as stack:
        stack.enter_context(_no_half(partial))
        stack.callback(progress.done)
        stack.callback(file.close)
        while (stamp := frames.grab()) is not None:
            frames.read_into(pixels)
            file.add_frame(pixels, round(stamp.time_s * 1e6))
            assert frames.last_truth is not None
            book.add(frames.last_truth)
            progress.show(stamp.number + 1)
            while sound and samples < (stamp.number + 1) / bench.rig.rate_hz * heard.rate_hz:
                block = hearing.read(1.0)
                if block is None:
                    break
                file.add_sound(block.samples, samples)
                samples += len(block.samples)
        file.finish()
    _write_times(book, path.with_name("times.csv"))
    partial.replace(path)
    return book


def _write_times(book: TruthBook, path: Path) -> None:
    from liveview.recorder.files import write_whole

    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(("index", "frame", "time_ns"))
    table.writerows((n, n, round(t * 1e9)) for n, t in enumerate(book.times_s))
    write_whole(path, text.getvalue().encode("ascii"))


def _write_setup(scene: Scene, folder: Path) -> None:
    from liveview.settings import save_settings

    sensor = scene.sensor
    camera = {
        "transfer": sensor.transfer,
        "exposure_s": sensor.own_exposure_s,
        "row_time_s": sensor.row_time_s,
        "rate_hz": sensor.rate_hz,
    }
    settings = scene.settings.replaced("camera", **camera)
    settings = settings.replaced("catch", mic_distance_m=scene.microphone.distance_m)
    save_settings(settings, folder / "setup.toml")


def _say_what_next(scene: Scene, folder: Path) -> None:
    """Print where the recording is and the command that measures it."""
    stretches = ""
    at = 0.0
    for name in ("dark", "open", "reference"):
        length = getattr(scene.prelude, f"{name}_s")
        if length and at + length <= scene.seconds:
            stretches += f" --{name} {at:g}:{at + length:g}"
        at += length
    print(f"{folder / RECORDING}: {scene.title}, simulated")
    print(
        f"next: liveview process {folder / RECORDING} --setup {folder / 'setup.toml'}"
        f"{stretches} --out REPORT"
    )


@contextlib.contextmanager
def _no_half(partial: Path) -> Iterator[None]:
    """Take the unfinished file away, whatever ends the work on it."""
    try:
        yield
    except BaseException:
        with contextlib.suppress(OSError):
            partial.unlink(missing_ok=True)
        raise


@contextlib.contextmanager
def _writing(folder: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise OutputFailed(
            f"cannot be written ({error.strerror or error})",
            str(folder),
            "choose another folder; no half recording is left",
        ) from error

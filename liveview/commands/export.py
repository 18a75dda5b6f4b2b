"""``liveview export``: an event as slow clip, still, contact sheet, animation, stack or table."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from liveview.recorder.reading import StoredEvent
    from liveview.review.enhance import Enhancer
    from liveview.review.export import FlashReport, Job, Look, Stretch, Timing
    from liveview.settings import Settings

_DESCRIPTION = """
Write files from a stored event. What each kind is follows from the ending of its name:

  --clip FILE       slow clip: .mp4 (H.264), .webm (VP9), .mkv (lossless FFV1)
  --still FILE      one frame as .png, see --at and --still-kind
  --sheet FILE      contact sheet around the spark as .png
  --animation FILE  endless .gif or .webp for slides
  --stack FILE      contrast of every frame, float32: .tif or .npy
  --table FILE      readings of every frame as .csv
  --out DIR         clip, still, sheet and table into DIR, named after the event
"""

_EPILOG = """
times are seconds from the spark. The rig, blade, camera, times, settings and version stay with
each file. The same event and options give the same files, bit for bit.

caution: flashing pictures can harm people with photosensitive epilepsy. Clips and animations are
checked against published limits (WCAG 2.3.1, ITU-R BT.1702) as they are written; --flashes soften
keeps them inside. Passing is no proof that a clip is harmless to everybody.

exit codes: 0 done, 2 bad arguments or settings, 3 event cannot be read, 4 output cannot be written,
130 ended by Ctrl-C (no half file is left)
"""

VIEWS = ("plain", "lifted", "signed", "movement", "trail", "arrows", "significance")
PRODUCTS = ("clip", "still", "sheet", "animation", "stack", "table")


def add_parser(subparsers: Any) -> None:
    """Add ``export`` and its options."""
    parser = subparsers.add_parser(
        "export",
        help="an event as slow clip, still, contact sheet or contrast stack",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("events", metavar="EVENT", nargs="+", type=Path, help="event folder")
    parser.add_argument("--out", metavar="DIR", type=Path, help="the usual four files into DIR")
    for product in PRODUCTS:
        parser.add_argument(f"--{product}", metavar="FILE", type=Path)
    parser.add_argument("--overwrite", action="store_true", help="replace files that exist")
    _add_time(parser.add_argument_group("time"))
    _add_look(parser.add_argument_group("look"))


def _add_time(group: Any) -> None:
    group.add_argument(
        "--rate",
        metavar="R",
        help="of real time, such as 1/40 (default: so slow that every frame is shown)",
    )
    group.add_argument("--fps", metavar="N", default=None, help="pictures a second (30; 20)")
    group.add_argument("--from", dest="from_s", metavar="S", help="begin this long after the spark")
    group.add_argument("--to", dest="to_s", metavar="S", help="end there")
    group.add_argument("--at", metavar="S", default="0", help="time of the still (0: the spark)")
    group.add_argument(
        "--sound", choices=("stretched", "none"), default="stretched", help="sound of the clip"
    )
    group.add_argument("--frames", metavar="N", type=int, default=12, help="frames on the sheet")
    group.add_argument("--every", metavar="N", type=int, default=1, help="each N-th on the sheet")


def _add_look(group: Any) -> None:
    group.add_argument("--setup", metavar="FILE.toml", help="settings, or a shipped set-up's name")
    group.add_argument("--view", choices=VIEWS, help="as in the window")
    group.add_argument("--gain", metavar="C", help="contrast at the palette's end")
    group.add_argument(
        "--shape",
        choices=("as-is", "wide", "tall", "square"),
        default="as-is",
        help="of the screen",
    )
    group.add_argument("--width", metavar="PX", type=int, help="of the whole picture")
    group.add_argument("--caption", metavar="TEXT", default="", help="written on the picture")
    group.add_argument("--bare", action="store_true", help="write nothing on the picture")
    group.add_argument(
        "--flashes",
        choices=("check", "soften"),
        default="check",
        help="of clip and animation: say when the limits for flashing are exceeded (default), or "
        "soften such pictures",
    )
    group.add_argument(
        "--still-kind",
        choices=("as-seen", "contrast", "raw"),
        default="as-seen",
        help="as seen with writing (8 bit), contrast (16 bit, grey), raw codes",
    )


def run(args: argparse.Namespace) -> int:
    """Write what was asked for.

    Raises
    ------
    LiveviewError
        One line: what, where, how to mend.
    """
    from liveview.errors import BadRequest

    single = [name for name in PRODUCTS if getattr(args, name) is not None]
    if not single and args.out is None:
        raise BadRequest("nothing to write", "export", "give --out DIR or --clip FILE and the like")
    if single and len(args.events) > 1:
        raise BadRequest(
            f"one file (--{single[0]}) cannot hold several events", "export", "use --out DIR"
        )
    for event in args.events:
        _export_event(event, args)
    return 0


def _export_event(path: Path, args: argparse.Namespace) -> None:
    from liveview.recorder.reading import StoredEvent
    from liveview.review.enhance import Enhancer, event_settings

    with StoredEvent.open(path) as event:
        settings = _settings(args, event_settings(event))
        wanted = _wanted(args, event.name)
        _refuse_existing(wanted, args)
        enhancer = Enhancer(event, settings)
        for product, file in wanted.items():
            _write(product, file, enhancer, args)
            print(file)
        for words in enhancer.words:
            print(f"{path}: {words}", file=sys.stderr)


def _settings(args: argparse.Namespace, stored: Settings) -> Settings:
    from liveview.commands.plan import setup_path
    from liveview.settings import load_settings

    settings = stored if args.setup is None else load_settings(setup_path(args.setup))
    if args.view is not None:
        settings = settings.replaced("enhance", view=args.view)
    if args.gain is not None:
        settings = settings.replaced("enhance", gain_contrast=_number(args.gain, "1", "--gain"))
    return settings


def _wanted(args: argparse.Namespace, name: str) -> dict[str, Path]:
    wanted = {p: getattr(args, p) for p in PRODUCTS if getattr(args, p) is not None}
    if args.out is not None:
        usual = {"clip": ".mp4", "still": ".png", "sheet": "_sheet.png", "table": ".csv"}
        for product, ending in usual.items():
            wanted.setdefault(product, args.out / f"{name}{ending}")
    return wanted


def _refuse_existing(wanted: Mapping[str, Path], args: argparse.Namespace) -> None:
    """Before anything is written: no file is replaced unasked."""
    from liveview.errors import BadRequest

    for file in wanted.values():
        if file.exists() and not args.overwrite:
            raise BadRequest(
                "exists already", str(file), "choose another name, or give --overwrite"
            )


def _number(text: str, unit: str, where: str) -> float:
    from liveview.units import parse_quantity

    return parse_quantity(text, unit, where)


def _stretch(enhancer: Enhancer, args: argparse.Namespace) -> Stretch:
    from liveview.review.export import stretch_of

    ends = (
        None if text is None else _number(text, "s", option)
        for text, option in ((args.from_s, "--from"), (args.to_s, "--to"))
    )
    return stretch_of(enhancer.event, *ends)


def _timing(args: argparse.Namespace, usual_fps: int) -> Timing:
    from fractions import Fraction

    from liveview.errors import BadRequest
    from liveview.review.export import Timing
    from liveview.review.player import parse_rate

    try:
        rate = None if args.rate is None else parse_rate(args.rate)
        fps = Fraction(usual_fps if args.fps is None else args.fps)
    except (ValueError, ZeroDivisionError) as error:
        raise BadRequest(str(error), "--rate or --fps", "write it like 1/40, or 30") from error
    if not 1 <= fps <= 240:
        raise BadRequest(f"{args.fps} is not between 1 and 240", "--fps")
    return Timing(rate, fps.limit_denominator(1001))


def _look(args: argparse.Namespace, usual_width: int | None = None) -> Look:
    from liveview.errors import BadRequest
    from liveview.review.export import Look

    if args.width is not None and not 16 <= args.width <= 16384:
        raise BadRequest(f"{args.width} is not between 16 and 16384", "--width")
    shape = {"as-is": "as it is"}.get(args.shape, args.shape)
    marks = not args.bare
    return Look(
        shape=shape,
        width=args.width or usual_width,
        legend=marks,
        scale_bar=marks,
        time_stamp=marks,
        caption=args.caption,
    )


def _write(product: str, file: Path, enhancer: Enhancer, args: argparse.Namespace) -> None:
    from liveview.commands.processing.progress import Progress
    from liveview.review.export import Job

    line = Progress(sys.stderr, None)
    job = Job(lambda done, total: line.show(done))
    try:
        _WRITERS[product](file, enhancer, args, job)
    finally:
        line.done()


def _write_clip(file: Path, enhancer: Enhancer, args: argparse.Namespace, job: Job) -> None:
    from liveview.review.export import export_clip

    report = export_clip(
        enhancer,
        file,
        timing=_timing(args, 30),
        look=_look(args),
        stretch=_stretch(enhancer, args),
        sound=args.sound == "stretched",
        flashes=args.flashes,
        job=job,
        overwrite=args.overwrite,
    )
    _say(report, file)


def _say(report: FlashReport, file: Path) -> None:
    if report.warning:
        print(f"{file}: {report.warning}", file=sys.stderr)


def _write_still(file: Path, enhancer: Enhancer, args: argparse.Namespace, job: Job) -> None:
    from liveview.review.export import export_still

    event = enhancer.event
    index = _frame_at(event, _number(args.at, "s", "--at"))
    export_still(
        enhancer,
        file,
        index,
        kind={"as-seen": "as seen"}.get(args.still_kind, args.still_kind),
        look=_look(args),
        overwrite=args.overwrite,
    )


def _frame_at(event: StoredEvent, after_s: float) -> int:
    """The frame shown so long after the spark."""
    from liveview.errors import BadRequest

    if after_s == 0:
        return event.spark_index
    spark_s = event.start.spotted.time_s
    first, last = (event.stamps[i].time_s - spark_s for i in (0, -1))
    frame_s = 1.0 / event.rate_hz if event.rate_hz else 0.0
    if not first - frame_s <= after_s <= last + frame_s:
        raise BadRequest(
            f"the event goes from {first:.3f} s to {last:.3f} s",
            f"--at {after_s:g}",
            "name a time in it",
        )
    return event.index_at(spark_s + after_s)


def _write_sheet(file: Path, enhancer: Enhancer, args: argparse.Namespace, job: Job) -> None:
    from liveview.review.export import export_sheet

    export_sheet(
        enhancer,
        file,
        count=args.frames,
        every=args.every,
        look=_look(args, usual_width=480),
        job=job,
        overwrite=args.overwrite,
    )


def _write_animation(file: Path, enhancer: Enhancer, args: argparse.Namespace, job: Job) -> None:
    from liveview.review.export import export_animation

    report = export_animation(
        enhancer,
        file,
        timing=_timing(args, 20),
        look=_look(args, usual_width=640),
        stretch=_stretch(enhancer, args),
        flashes=args.flashes,
        job=job,
        overwrite=args.overwrite,
    )
    _say(report, file)


def _write_stack(file: Path, enhancer: Enhancer, args: argparse.Namespace, job: Job) -> None:
    from liveview.review.export import export_stack

    stretch = _stretch(enhancer, args)
    export_stack(enhancer, file, stretch=stretch, job=job, overwrite=args.overwrite)


def _write_table(file: Path, enhancer: Enhancer, args: argparse.Namespace, job: Job) -> None:
    from liveview.review.export import export_table

    stretch = _stretch(enhancer, args)
    export_table(enhancer, file, stretch=stretch, job=job, overwrite=args.overwrite)


_Writer = Callable[[Path, "Enhancer", argparse.Namespace, "Job"], None]

_WRITERS: dict[str, _Writer] = {
    "clip": _write_clip,
    "still": _write_still,
    "sheet": _write_sheet,
    "animation": _write_animation,
    "stack": _write_stack,
    "table": _write_table,
}

"""``liveview plan``: distances, sizes, sensitivity, range and exposure before building the rig."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from liveview.errors import BadRequest
from liveview.shipped import shipped_folder

if TYPE_CHECKING:
    from liveview.settings import Settings

_EPILOG = """
lengths and times take a unit ("114 mm", "48 in", "2 ms"); a bare number is in SI units.
mirrors focus sunlight: cover them when not in use, and never look along the focused light.
"""

_OPTIONS: tuple[tuple[str, str, str, str], ...] = (
    ("--kind", "rig.kind", "KIND", "one mirror, two mirrors, or lenses"),
    ("--mirror-diameter", "rig.mirror_diameter_m", "LENGTH", "of the mirror, or of each of two"),
    ("--focal-length", "rig.focal_length_m", "LENGTH", "half the radius of curvature"),
    ("--first-focal-length", "rig.first_focal_length_m", "LENGTH", "of the first of two"),
    ("--lamp-distance", "rig.lamp_distance_m", "LENGTH", "lamp to mirror"),
    ("--object-distance", "rig.object_distance_m", "LENGTH", "object before the mirror"),
    ("--temperature", "rig.temperature_k", "TEMPERATURE", 'of the room, such as "20 degC"'),
    ("--pressure", "rig.pressure_pa", "PRESSURE", 'of the room, such as "1013 hPa"'),
    ("--lamp-width", "lamp.width_m", "LENGTH", "of the lamp or slit, across the blade's edge"),
    ("--wavelength", "lamp.wavelength_m", "LENGTH", 'such as "550 nm"'),
    ("--blade-distance", "blade.distance_m", "LENGTH", "mirror to blade"),
    ("--blade-side", "blade.side", "SIDE", "left, right, top or bottom of the picture"),
    ("--uncut", "blade.target_uncut", "FRACTION", "share of the lamp image left uncut, 0 to 1"),
    ("--lens-focal-length", "camera.lens_focal_length_m", "LENGTH", "of the camera's lens"),
    ("--f-number", "camera.f_number", "N", "of the camera's lens"),
    ("--sensor-width", "camera.sensor_width_m", "LENGTH", "of the camera's sensor"),
    ("--sensor-height", "camera.sensor_height_m", "LENGTH", "of the camera's sensor"),
    ("--camera-distance", "camera.distance_from_blade_m", "LENGTH", "blade to the camera's lens"),
    ("--exposure", "camera.exposure_s", "TIME", "of one frame"),
    ("--average", "enhance.average_frames", "N", "frames averaged in the picture"),
    ("--mic-distance", "catch.mic_distance_m", "LENGTH", "spark to microphone"),
    ("--flow", "expect.flow", "NAME", "what is to be seen; --flows lists the names"),
    ("--speed", "expect.speed_m_s", "SPEED", 'of what is to be seen, such as "3 m/s"'),
    ("--open-snr", "expect.open_snr", "RATIO", "open picture over its noise, one pixel"),
    ("--unit", "screen.length_unit", "UNIT", "for lengths in the table: mm, cm, m or in"),
)
"""Option, the setting it overrides, what its value is, and help."""


def add_parser(subparsers: Any) -> None:
    """Add ``plan`` and its options."""
    parser = subparsers.add_parser(
        "plan",
        help="distances, sizes, sensitivity, range and exposure for a rig, before building it",
        description="Work out a rig from its parts and distances, and say what cannot work.",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "--setup",
        metavar="FILE",
        help="a settings file, or the name of a shipped set-up (--setups lists them)",
    )
    for option, _, metavar, text in _OPTIONS:
        parser.add_argument(option, metavar=metavar, help=text)
    parser.add_argument(
        "--lamp", metavar="SHAPE[:WIDTH]", help="slit or round, and the measured image's width"
    )
    parser.add_argument("--pixels", metavar="WxH", help="size of the picture, such as 1920x1080")
    parser.add_argument(
        "--brightness",
        metavar="FRACTION",
        help="mean light of the open disc at --exposure, 0 to 1 of the top code (linear light)",
    )
    parser.add_argument("--save", metavar="FILE", type=Path, help="write the set-up to a file")
    parser.add_argument("--json", action="store_true", help="everything as JSON, in SI units")
    parser.add_argument("--setups", action="store_true", help="list the shipped set-ups")
    parser.add_argument("--flows", action="store_true", help="list the flows that have a name")


def run(args: argparse.Namespace) -> int:
    """Print the plan; see ``add_parser``."""
    if args.setups:
        print("\n".join(_setup_lines()))
        return 0
    from liveview.commands.plan_text import as_mapping, flow_lines, table
    from liveview.optics.plan import make_plan
    from liveview.settings import save_settings

    settings = _settings(args)
    plan = make_plan(settings, brightness=_number(args.brightness, "--brightness"))
    if args.flows:
        print("\n".join(flow_lines(plan)))
        return 0
    if args.save is not None:
        save_settings(settings, args.save)
    if args.json:
        json.dump(as_mapping(plan), sys.stdout, indent=2, allow_nan=False)
        print()
    else:
        print(table(plan))
    return 0


def _setup_lines() -> list[str]:
    from liveview.settings import load_settings

    paths = sorted(shipped_folder("configs").glob("*.toml"))
    return [f"{path.stem:<24} {load_settings(path).rig.name}" for path in paths]


def setup_path(name: str) -> Path:
    """The settings file of this path, else the shipped set-up of this name.

    Raises
    ------
    BadRequest
        There is neither.
    """
    path = Path(name)
    if path.exists():
        return path
    shipped = shipped_folder("configs") / f"{name}.toml"
    if path.parent == Path() and not path.suffix and shipped.is_file():
        return shipped
    known = ", ".join(sorted(found.stem for found in shipped_folder("configs").glob("*.toml")))
    raise BadRequest(
        "no such settings file and no shipped set-up of this name",
        f"--setup {name}",
        f"give a file or one of: {known}",
    )


def _settings(args: argparse.Namespace) -> Settings:
    from liveview.settings import Settings, load_settings

    settings = Settings() if args.setup is None else load_settings(setup_path(args.setup))
    data = settings.model_dump(by_alias=False)
    for option, key, _, _ in _OPTIONS:
        text = getattr(args, option[2:].replace("-", "_"))
        if text is not None:
            section, name = key.split(".")
            data[section][name] = _override(settings, option, section, name, text)
    if args.lamp is not None:
        data["lamp"] |= _lamp(settings, args.lamp)
    if args.pixels is not None:
        data["camera"] |= _pixels(settings, args.pixels)
    return Settings.model_validate(data)


def _override(settings: Settings, option: str, section: str, name: str, text: str) -> Any:
    """The value of one option, checked; the message of an error names the option."""
    from liveview.units import parse_quantity

    value: Any = text
    if name == "pressure_pa":
        value = parse_quantity(text, "Pa", option)
    return _checked(settings, option, section, name, value)


def _checked(settings: Settings, option: str, section: str, name: str, value: Any) -> Any:
    try:
        return getattr(getattr(settings.replaced(section, **{name: value}), section), name)
    except BadRequest as error:
        # The message starts with the key of the settings file; here the option stands for it.
        what = error.what.split(": ", 1)[-1].replace("Input should be", "must be")
        raise BadRequest(what, f"{option} {value}", _remedy(option, what)) from error


_WRITE = {
    "LENGTH": 'a bare number is in metres: write it like "114 mm"',
    "TIME": 'a bare number is in seconds: write it like "2 ms"',
    "TEMPERATURE": 'a bare number is in kelvin: write it like "20 degC"',
    "PRESSURE": 'a bare number is in pascal: write it like "1013 hPa"',
    "SPEED": 'a bare number is in m/s: write it like "3 m/s"',
}


def _remedy(option: str, what: str) -> str:
    if ";" in what:  # the message has a remedy of its own
        return ""
    kinds = {name: metavar for name, _, metavar, _ in _OPTIONS}
    return _WRITE.get(kinds.get(option, ""), "correct this value")


def _lamp(settings: Settings, text: str) -> dict[str, Any]:
    shape, _, width = text.partition(":")
    values: dict[str, Any] = {"shape": _checked(settings, "--lamp", "lamp", "shape", shape)}
    if width:
        values["image_width_m"] = _checked(settings, "--lamp", "lamp", "image_width_m", width)
    return values


def _pixels(settings: Settings, text: str) -> dict[str, Any]:
    width, cross, height = text.lower().partition("x")
    if not (cross and width.isdigit() and height.isdigit()):
        raise BadRequest(f"cannot read '{text}'", "--pixels", "write it like 1920x1080")
    return {
        "width": _checked(settings, "--pixels", "camera", "width", int(width)),
        "height": _checked(settings, "--pixels", "camera", "height", int(height)),
    }


def _number(text: str | None, option: str) -> float | None:
    from liveview.units import parse_quantity

    return None if text is None else parse_quantity(text, "1", option)

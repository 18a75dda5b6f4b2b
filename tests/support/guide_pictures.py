"""The pictures of the user guide, made by the program on the simulated rig.

``python tests/support/guide_pictures.py [NAME ...]`` writes them into ``assets/guide/pictures``,
small and with a palette. Needs a display, or ``xvfb-run -a -s "-screen 0 1280x800x24"``.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from PIL import Image

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))
PICTURES = HERE.parent.parent / "assets" / "guide" / "pictures"

WIDTH = 920
COLOURS = (192, 128, 96, 64, 48)
"""Palettes to try, until the picture is small."""

MOST_BYTES = 140_000

WINDOWS: dict[str, tuple[str, ...]] = {
    "plan": ("--page", "Plan", "--wait", "0"),
    "align-held": (
        *("--page", "Align", "--wait", "3", "--linger", "6", "--scene", "hand"),
        *("--knob", "flow_hand=0"),
    ),
    "align-near": (
        *("--page", "Align", "--wait", "0", "--linger", "3", "--scene", "hand"),
        *("--knob", "blade_z_m=0.008", "--knob", "flow_hand=0"),
    ),
    "align-out": (
        *("--page", "Align", "--wait", "0", "--linger", "3", "--scene", "hand"),
        *("--knob", "blade_out=1", "--knob", "flow_hand=0"),
    ),
    "align-far": (
        *("--page", "Align", "--wait", "0", "--scene", "hand", "--keys", "V", "--linger", "3"),
        *("--knob", "blade_x_m=0.0003", "--knob", "flow_hand=0"),
    ),
    "watch": ("--scene", "hand", "--wait", "7"),
    "watch-signed": ("--scene", "candle", "--view", "signed", "--wait", "7"),
    "catch": ("--scene", "spark", "--page", "Catch", "--rate", "30", "--wait", "12"),
    "review": (
        *("--scene", "spark", "--page", "Review", "--rate", "30", "--wait", "14"),
        *("--keys", "K", "--linger", "3"),
    ),
    "show": ("--scene", "hand", "--page", "Show", "--show", "candle-and-hand", "--wait", "6"),
}
"""Name: options for ``screenshots.py``."""

DRAWINGS = {"blade-what": (0, 4.0), "blade-half": (1, 10.0), "blade-bent": (2, 8.0)}
"""Name: scene of the explaining drawing and seconds into it."""


def main() -> int:
    """Make all pictures, or those named."""
    wanted = sys.argv[1:] or [*WINDOWS, *DRAWINGS]
    PICTURES.mkdir(parents=True, exist_ok=True)
    with TemporaryDirectory() as folder:
        raw = Path(folder) / "raw.png"
        for name in wanted:
            if name in WINDOWS:
                script = str(HERE / "screenshots.py")
                subprocess.run([sys.executable, script, *WINDOWS[name], str(raw)], check=True)
            else:
                _draw(name, raw)
            _keep(raw, PICTURES / f"{name}.png")
    return 0


def _draw(name: str, path: Path) -> None:
    from PyQt6.QtWidgets import QApplication
    from support.readings import reading

    from liveview.gui.explain import Explanation
    from liveview.gui.theme import dress

    app = QApplication.instance() or QApplication(["liveview", "-platform", "offscreen"])
    assert isinstance(app, QApplication)
    dress(app)
    now = [0.0]
    shown = Explanation(lambda: now[0])
    scene, seconds = DRAWINGS[name]
    shown.set_reading(reading())
    shown.show_only(scene)
    now[0] = seconds
    shown.picture(WIDTH, 500).save(str(path))


def _keep(raw: Path, path: Path) -> None:
    with Image.open(raw) as image:
        size = (WIDTH, round(image.height * WIDTH / image.width))
        small = image.convert("RGB").resize(size, Image.Resampling.LANCZOS)
    for colours in COLOURS:
        small.quantize(colours, kmeans=4, dither=Image.Dither.NONE).save(path, optimize=True)
        if path.stat().st_size < MOST_BYTES:
            break
    print(f"{path.name}: {path.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    raise SystemExit(main())

"""What the chain says in words: warnings, and what the enhancement costs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from liveview.engine.budget import WORDS
from liveview.engine.ground import Place
from liveview.engine.instruments import Gauges
from liveview.engine.lifting import Lifted
from liveview.engine.painting import Painted
from liveview.imaging.smoothing import average_delay_s
from liveview.imaging.views import TRAIL_S
from liveview.model import SourceInfo
from liveview.settings import Settings

_STALE = 0.35
_SHARE_CLIPPED = 0.02

TAKE_AGAIN = "take it again"
"""Advice for a rig that stands there; a recording needs another."""
PROCESSED = "compressed or processed video"
"""How the words about noise that pairs of frames cannot tell begin."""


def warnings(
    place: Place, lifted: Lifted, gauges: Gauges, has_reference: bool, frozen: bool
) -> Iterator[str]:
    """Short warnings for the screen; ``frozen`` see ``imaging.noise.PhotonTransfer``."""
    if place.disc is None:
        yield "mirror not found: the whole picture is used; place the disc by hand"
    gain = lifted.lamp_gain
    if not has_reference:
        frames = lifted.ground.frames
        yield f"background: the first {frames} frames; take a reference with the air at rest"
    elif gain is not None and abs(gain - 1.0) > _STALE:
        yield (
            f"background is stale: the light is {max(gain, 0.0):.2f} times that of the reference; "
            + TAKE_AGAIN
        )
    if lifted.steady_failed:
        yield "not steadied: too little structure, or moved more than 10 px"
    dark, bright = gauges.clipped
    if bright > _SHARE_CLIPPED:
        yield f"{bright:.0%} of the disc is clipped bright: lower the exposure"
    if dark > _SHARE_CLIPPED:
        yield f"{dark:.0%} of the disc is clipped dark: raise the exposure or cut less"
    if frozen:
        yield f"{PROCESSED}: the noise is at least what is shown"
    if gauges.unit_words:
        yield gauges.unit_words


def short_of_time(skipped: Sequence[str]) -> Iterator[str]:
    """Which steps are left out, if any."""
    if skipped:
        yield f"short of time: without {', '.join(WORDS[step] for step in skipped)}"


def notes(
    settings: Settings, info: SourceInfo, lifted: Lifted, painted: Painted
) -> tuple[str, ...]:
    """What the enhancement costs and assumes, for beside the picture."""
    enhance = settings.enhance
    seconds = f"{enhance.background_time_s:g} s"
    said = {
        "average": _average_note(enhance.average_frames, info.rate_hz, lifted),
        "smooth": _smooth_note(enhance.smooth_px, lifted),
        "running": f"background follows in {seconds}, not under flow",
        "median": f"background: median of {seconds}; flow that stays half of it fades",
        "arrows": _arrows_note(painted),
        "trail": f"trail: peaks of the last {TRAIL_S:g} s",
    }
    chosen = {
        "average": enhance.average_frames > 1,
        "smooth": lifted.noise < 1.0,
        "running": enhance.background == "running",
        "median": enhance.background == "median",
        "arrows": enhance.view == "arrows",
        "trail": enhance.view == "trail",
    }
    return tuple(said[name] for name, wanted in chosen.items() if wanted)


def _arrows_note(painted: Painted) -> str:
    if painted.sparse:
        return "no arrows: they need 24 frames a second"
    if painted.arrow_s is None:
        return ""
    return f"arrows: way of the pattern in {painted.arrow_s * 1e3:g} ms"


def _average_note(frames: int, rate_hz: float | None, lifted: Lifted) -> str:
    delay = f", {average_delay_s(frames, rate_hz):.2f} s behind" if rate_hz else ""
    return f"average of {frames} frames: noise / {lifted.averaged**0.5:.1f}{delay}"


def _smooth_note(radius_px: float, lifted: Lifted) -> str:
    size = 2 * radius_px + 1
    return f"smoothed: noise / {1 / lifted.noise:.1f}, faint detail below {size:.0f} px fades"

"""What the export sheet orders, and how it is written in a task's thread."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from liveview.gui.review_reader import EventFacts, Sight
from liveview.recorder.reading import StoredEvent
from liveview.review.enhance import Enhancer
from liveview.review.export import (
    FlashReport,
    Job,
    Look,
    Stretch,
    Timing,
    export_animation,
    export_clip,
    export_sheet,
    export_stack,
    export_still,
    export_table,
)
from liveview.review.export.flashcheck import Flashes


@dataclass(frozen=True, slots=True)
class Order:
    """Everything that an export depends on."""

    facts: EventFacts
    sight: Sight
    rate: Fraction
    first: int
    last: int
    at: int
    product: str = "clip"
    shape: str = "as it is"
    marks: bool = True
    sound: bool = True
    caption: str = ""
    soften: bool = False
    """Keep what moves inside the limits for flashing."""

    @property
    def seconds(self) -> float:
        """How long what moves is to look at: until the last frame was shown as long as others."""
        times_s = self.facts.times_s
        period_s = 1.0 / self.facts.rate_hz if self.facts.rate_hz else 0.0
        return (times_s[self.last] - times_s[self.first] + period_s) / float(self.rate)

    @property
    def flashes(self) -> Flashes:
        """What is done about flashing."""
        return "soften" if self.soften else "check"


def write_order(order: Order, path: Path, job: Job) -> str:
    """Write it; for a task's thread. Returns words about flashing and about damaged frames that
    were left out, empty when there are none.

    Raises
    ------
    LiveviewError
        What, where, how to mend; nothing half written is left.
    """
    facts = order.facts
    with StoredEvent.open(facts.path) as event:
        settings = facts.settings.replaced(
            "enhance", view=order.sight.view, gain_contrast=order.sight.gain
        )
        enhancer = Enhancer(event, settings, calibration=facts.calibration, disc=facts.disc)
        report = _WRITERS[order.product](enhancer, path, order, job)
        told = [word for word in enhancer.words if word not in facts.words]
    return "; ".join(([report.warning] if report is not None and report.warning else []) + told)


def _look(order: Order, width: int | None = None) -> Look:
    return Look(
        shape=order.shape,  # type: ignore[arg-type]  # one of SHAPES
        width=width,
        legend=order.marks,
        scale_bar=order.marks,
        time_stamp=order.marks,
        caption=order.caption,
    )


def _stretch(order: Order) -> Stretch:
    return Stretch(order.first, order.last)


def _write_clip(enhancer: Enhancer, path: Path, order: Order, job: Job) -> FlashReport:
    return export_clip(
        enhancer,
        path,
        timing=Timing(rate=order.rate),
        look=_look(order),
        stretch=_stretch(order),
        sound=order.sound,
        flashes=order.flashes,
        job=job,
    )


def _write_animation(enhancer: Enhancer, path: Path, order: Order, job: Job) -> FlashReport:
    width = min(640, enhancer.event.start.source.width)
    return export_animation(
        enhancer,
        path,
        timing=Timing(rate=order.rate, fps=Fraction(20)),
        look=_look(order, width),
        stretch=_stretch(order),
        flashes=order.flashes,
        job=job,
    )


def _write_still(enhancer: Enhancer, path: Path, order: Order, job: Job) -> None:
    export_still(enhancer, path, order.at, look=_look(order))


def _write_contrast(enhancer: Enhancer, path: Path, order: Order, job: Job) -> None:
    export_still(enhancer, path, order.at, kind="contrast")


def _write_raw(enhancer: Enhancer, path: Path, order: Order, job: Job) -> None:
    export_still(enhancer, path, order.at, kind="raw")


def _write_sheet(enhancer: Enhancer, path: Path, order: Order, job: Job) -> None:
    export_sheet(enhancer, path, look=_look(order, 480), job=job)


def _write_stack(enhancer: Enhancer, path: Path, order: Order, job: Job) -> None:
    export_stack(enhancer, path, stretch=_stretch(order), job=job)


def _write_table(enhancer: Enhancer, path: Path, order: Order, job: Job) -> None:
    export_table(enhancer, path, stretch=_stretch(order), job=job)


_WRITERS: dict[str, Callable[[Enhancer, Path, Order, Job], FlashReport | None]] = {
    "clip": _write_clip,
    "webm": _write_clip,
    "lossless": _write_clip,
    "still": _write_still,
    "contrast": _write_contrast,
    "raw": _write_raw,
    "sheet": _write_sheet,
    "gif": _write_animation,
    "webp": _write_animation,
    "stack": _write_stack,
    "npy": _write_stack,
    "table": _write_table,
}

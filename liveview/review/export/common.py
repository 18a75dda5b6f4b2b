"""From an event to composed pictures: what clips, stills, sheets and animations share."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from liveview.errors import BadRequest, InputUnreadable
from liveview.model import Bytes
from liveview.optics.scale import geometry
from liveview.recorder.reading import StoredEvent
from liveview.review.enhance import Enhancer
from liveview.review.export.look import Composer, Look, Writing, make_canvas
from liveview.review.measure.geometry import Scale, scale_from_disc
from liveview.review.player import RATES, rate_words

NOISE_KNOWN_AFTER = 32
GREY_VIEWS = frozenset({"plain", "lifted", "arrows"})
"""The others are in signed colours."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Frames of an event, indices, both inclusive."""

    first: int
    last: int


def stretch_of(
    event: StoredEvent, from_s: float | None = None, to_s: float | None = None
) -> Stretch:
    """Frames between two times relative to the spark; the whole event without.

    Raises
    ------
    BadRequest
        No frame lies between them.
    """
    spark = event.start.spotted.time_s
    times = [stamp.time_s - spark for stamp in event.stamps]
    wanted = [
        index
        for index, time_s in enumerate(times)
        if (from_s is None or time_s >= from_s) and (to_s is None or time_s <= to_s)
    ]
    if not wanted:
        span = f"{times[0]:.4g} to {times[-1]:.4g} s" if times else "none"
        raise BadRequest(f"no frame lies there (the event has {span} from the spark)", "stretch")
    return Stretch(wanted[0], wanted[-1])


def event_scale(enhancer: Enhancer) -> Scale | None:
    """Scale from the mirror's disc and its diameter in the settings; None without a disc."""
    if enhancer.disc is None:
        return None
    try:
        rig = geometry(enhancer.settings)
    except BadRequest:
        return None
    return scale_from_disc(enhancer.disc, rig.object_field_m)


def auto_rate(event: StoredEvent, fps: float) -> Fraction:
    """The fastest of the usual rates at which every frame is shown at least once."""
    source = event.rate_hz
    if source is None:
        return Fraction(1)
    fitting = [rate for rate in RATES if source * float(rate) <= fps * 1.001 and rate <= 1]
    return fitting[-1] if fitting else Fraction(fps / source).limit_denominator(100_000)


def legend_words(enhancer: Enhancer) -> str | None:
    """What the palette's end stands for; None for a view without a scale."""
    enhance = enhancer.settings.enhance
    if enhance.view == "plain":
        return None
    if enhance.view == "significance":
        end = _end_in_noise(enhancer)
        return "times the noise" + (f" ±{end:.3g}" if end and enhance.unit != "arcsec" else "")
    what = "change of contrast" if enhance.view == "movement" else "contrast"
    return f"{what} ±{100 * enhancer.scale:.3g} %"


def _end_in_noise(enhancer: Enhancer) -> float | None:
    """The palette's end where the noise is known, which takes some frames, read if they can be."""
    for index in range(min(len(enhancer.event) - 1, NOISE_KNOWN_AFTER), -1, -1):
        try:
            return enhancer.reading(index).scale
        except InputUnreadable:
            continue
    return None


class Studio:
    """Composes pictures of one event in one look."""

    def __init__(
        self,
        enhancer: Enhancer,
        look: Look,
        *,
        rate: Fraction | None = None,
        even: bool = False,
        scale: Scale | None = None,
    ) -> None:
        event = self.event = enhancer.event
        source = event.start.source
        self._enhancer = enhancer
        self._spark_s = event.start.spotted.time_s
        self.canvas = make_canvas(look, source.height, source.width, disc=enhancer.disc, even=even)
        view = enhancer.settings.enhance.view
        self.grey = view in ("lifted",) or (view == "plain" and source.channels == 1)
        """True when every picture is grey all over."""
        lines = []
        if rate is not None and look.time_stamp:
            lines.append(rate_words(rate))
        if source.simulated:
            lines.append("simulated")
        if not event.complete:
            lines.append("incomplete event")
        self._composer = Composer(
            Writing(
                look,
                self.canvas,
                "grey" if view in GREY_VIEWS else "signed",
                legend_words(enhancer),
                scale or event_scale(enhancer),
                tuple(lines),
            )
        )

    def picture(self, index: int) -> Bytes:
        """Frame ``index`` as it is exported, uint8 (height, width, 3) BGR."""
        picture = self._enhancer.reading(index).picture
        return self._composer.compose(picture, self.since_spark(index))

    def pictures(self, indices: Iterator[int]) -> Iterator[Bytes]:
        """One after the other."""
        return (self.picture(index) for index in indices)

    def since_spark(self, index: int) -> float:
        """Time of a frame relative to the spark, seconds."""
        return self.event.stamps[index].time_s - self._spark_s

"""What is looked at on the Review page: event, moment, view, and what it is compared with."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from enum import Enum
from fractions import Fraction
from pathlib import Path

from liveview.gui.review_reader import (
    Envelope,
    EventFacts,
    Fault,
    Heard,
    Reader,
    Shown,
    Sight,
    Wish,
)
from liveview.gui.review_time import TimeScale, since_words
from liveview.model import Reading
from liveview.review.player import Player

GAIN_STEP = 1.25
LEAST_GAIN, MOST_GAIN = 1e-4, 10.0


class Compare(Enum):
    """What stands left of the edge."""

    NONE = "none"
    VIEW = "view"
    HELD = "held"


class Held:
    """A picture kept for comparing, with what it is called."""

    def __init__(self, reading: Reading, words: str, path: Path, time_s: float) -> None:
        self.reading = reading
        self.words = words
        self.path = path
        self.time_s = time_s


class Replay:
    """Owns the reader and the state of the replay; the page paints what it says.

    Every change asks the reader for the frame that should be seen; ``poll`` takes what came.

    Parameters
    ----------
    changed : callable
        Called when something that is shown beside the picture is different.
    """

    def __init__(self, changed: Callable[[], None]) -> None:
        self._changed = changed
        self.reader = Reader()
        self.facts: EventFacts | None = None
        self.player: Player | None = None
        self.scale: TimeScale | None = None
        self.envelope: Envelope | None = None
        self.heard = False
        self.sight = Sight()
        self.compare = Compare.NONE
        self.held: Held | None = None
        self.shown: Shown | None = None
        self.fault = ""
        self.sound_words = ""
        self.path: Path | None = None
        self.rate = Fraction(1, 40)
        self.loop = False
        self._at: int | None = None

    # --- opening

    def open(self, path: Path, index: int | None = None) -> None:
        """Look at this event, at the spark or at a frame."""
        self.path, self._at = path, index
        self.facts = self.player = self.scale = self.shown = None
        self.envelope, self.heard, self.fault, self.sound_words = None, False, "", ""
        self._wish()
        self._changed()

    def close(self) -> None:
        """Look at nothing."""
        self.path = self.facts = self.player = self.scale = self.shown = None
        self.fault = ""
        self.reader.let_go()
        self._changed()

    @property
    def index(self) -> int | None:
        """The frame that should be seen; None before the event is open."""
        return None if self.player is None else self.player.index

    @property
    def waiting(self) -> bool:
        """True while the picture is not yet that of the moment."""
        return self.shown is None or self.shown.index != self.index

    @property
    def playing(self) -> bool:
        """True while it plays."""
        return self.player is not None and self.player.playing

    @property
    def busy(self) -> bool:
        """True while there is something to poll for."""
        return self.playing or self.reader.busy

    @property
    def frame_step_s(self) -> float:
        """Seconds between frames."""
        rate = None if self.facts is None else self.facts.rate_hz
        return 1.0 / rate if rate else 0.01

    def since(self, index: int) -> str:
        """Time of a frame from the spark, in words."""
        assert self.facts is not None
        seconds = self.facts.times_s[index] - self.facts.start.spotted.time_s
        return since_words(seconds, self.frame_step_s)

    # --- the reader

    def beside_sight(self) -> Sight | None:
        """The second view that is wanted, if any."""
        if self.compare is not Compare.VIEW:
            return None
        return replace(self.sight, view="lifted" if self.sight.view == "plain" else "plain")

    def _wish(self) -> None:
        if self.path is not None:
            index = self._at if self.player is None else self.player.index
            self.reader.ask(Wish(self.path, index, self.sight, self.beside_sight()))

    def poll(self) -> None:
        """Take what the reader has found out."""
        for news in self.reader.take():
            if (news.wish.path if isinstance(news, Shown) else news.path) != self.path:
                continue
            if isinstance(news, EventFacts):
                self._opened(news)
            elif isinstance(news, Shown):
                self.shown, self.fault = news, ""
            elif isinstance(news, Heard):
                self.envelope, self.heard, self.sound_words = news.envelope, True, news.words
            elif isinstance(news, Fault):
                self.fault = news.words
            self._changed()

    def _opened(self, facts: EventFacts) -> None:
        self.facts = facts
        at = facts.spark_index if self._at is None else min(self._at, len(facts.times_s) - 1)
        player = Player.of(facts.times_s, at)
        self.player = replace(player, rate=self.rate, loop=self.loop)
        self.scale = TimeScale.of(facts.times_s[0], facts.times_s[-1], facts.start.spotted.time_s)

    # --- the moment

    def _go(self, player: Player) -> None:
        moved = self.player is None or player.index != self.player.index
        self.player = player
        if self.scale is not None and not self.scale.whole:
            self.scale = self.scale.holding(player.position_s)
        if moved:
            self._wish()
        self._changed()

    def advance(self, seconds: float) -> None:
        """So much of the viewer's time has gone by."""
        if self.player is not None and self.player.playing:
            self._go(self.player.advance(seconds))

    def toggle_play(self) -> None:
        """Play, or stand still."""
        if self.player is not None:
            self._go(self.player.stop() if self.player.playing else self.player.play())

    def stop(self) -> None:
        """Stand still."""
        if self.player is not None and self.player.playing:
            self._go(self.player.stop())

    def step(self, frames: int) -> None:
        """By whole frames."""
        if self.player is not None:
            self._go(self.player.step(frames))

    def seek_time(self, time_s: float) -> None:
        """To a moment; a replay goes on from there."""
        if self.player is not None:
            self._go(self.player.seek_time(time_s))

    def seek(self, index: int) -> None:
        """To a frame."""
        if self.player is not None:
            self._go(self.player.seek(index))

    def to_spark(self) -> None:
        """To the next spark after this frame, round to the first."""
        if self.facts is None or self.player is None:
            return
        times = self.facts.times_s
        frames = sorted(
            {self._first_seen(spot.time_s) for spot in self.facts.spotted}
            | {self.facts.spark_index}
        )
        later = [index for index in frames if index > self.player.index]
        self.seek(later[0] if later else frames[0] if frames else len(times) - 1)

    def _first_seen(self, time_s: float) -> int:
        assert self.player is not None
        return self.player.seek_time(time_s).index

    def faster(self, steps: int) -> None:
        """Another rate."""
        if self.player is not None:
            self.player = self.player.faster(steps)
            self.rate = self.player.rate
            self._changed()

    def toggle_loop(self) -> None:
        """Begin again at the end, or not."""
        self.loop = not self.loop
        if self.player is not None:
            self.player = replace(self.player, loop=self.loop)
        self._changed()

    def start_here(self) -> None:
        """The stretch begins at this frame."""
        if self.player is not None:
            at = self.player.index
            self.player = self.player.between(at, max(at, self.player.last))
            self._changed()

    def end_here(self) -> None:
        """The stretch ends at this frame."""
        if self.player is not None:
            at = self.player.index
            self.player = self.player.between(min(at, self.player.first), at)
            self._changed()

    def whole_stretch(self) -> None:
        """The stretch is the whole event, and all of its time is shown."""
        if self.player is not None and self.scale is not None:
            self.player = self.player.between(0, len(self.player.times_s) - 1)
            self.scale = TimeScale.of(self.scale.low, self.scale.high, self.scale.zero_s)
            self._changed()

    def zoom(self, factor: float, about_s: float) -> None:
        """Show less or more of the time."""
        if self.scale is not None:
            self.scale = self.scale.zoomed(factor, about_s, 4 * self.frame_step_s)
            self._changed()

    # --- the view

    def see(self, sight: Sight) -> None:
        """Another view or gain."""
        if sight != self.sight:
            self.sight = sight
            self._wish()
            self._changed()

    @property
    def shown_gain(self) -> float | None:
        """Contrast at the palette's end, as it is."""
        if self.sight.gain is not None:
            return self.sight.gain
        return None if self.facts is None else self.facts.scale

    def toggle_gain(self) -> None:
        """Gain automatic, or fixed as it is."""
        fixed = None if self.sight.gain is not None else self.shown_gain
        self.see(replace(self.sight, gain=fixed))

    def gain_by(self, steps: int) -> None:
        """More or less gain."""
        now = self.shown_gain
        if now is not None:
            gain = min(max(now / GAIN_STEP**steps, LEAST_GAIN), MOST_GAIN)
            self.see(replace(self.sight, gain=gain))

    def toggle_compare(self) -> None:
        """Compare two views of this frame, or stop comparing."""
        self.compare = Compare.VIEW if self.compare is Compare.NONE else Compare.NONE
        self._wish()
        self._changed()

    def hold(self) -> bool:
        """Keep this picture and compare what follows with it; again: let it go."""
        if self.compare is Compare.HELD:
            self.compare, self.held = Compare.NONE, None
        elif self.shown is None or self.facts is None:
            return False
        else:
            at = self.shown.index
            words = self.since(at)
            self.held = Held(self.shown.reading, words, self.facts.path, self.facts.times_s[at])
            self.compare = Compare.HELD
        self._wish()
        self._changed()
        return True

    @property
    def beside(self) -> tuple[Reading, tuple[str, str]] | None:
        """The picture left of the edge and what both sides are called."""
        shown = self.shown
        if shown is None or self.facts is None:
            return None
        if self.compare is Compare.VIEW and shown.beside is not None:
            return shown.beside, (shown.beside.view, shown.reading.view)
        if self.compare is Compare.HELD and self.held is not None:
            here = self.since(shown.index)
            if self.held.path != self.facts.path:
                return self.held.reading, ("the event before", "this event")
            views = (self.held.reading.view, shown.reading.view)
            if views[0] != views[1]:
                return self.held.reading, (f"{self.held.words}, {views[0]}", f"{here}, {views[1]}")
            return self.held.reading, (self.held.words, here)
        return None

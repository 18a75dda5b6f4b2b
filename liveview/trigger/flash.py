"""Flash detector: rows inside and outside the disc, and tiles, against their own past.

Every frame is reduced to mean codes of tiles (``rows``). Three things are watched:

- rows outside the disc: light that the lamp cannot have sent there,
- rows on the mirror, against a prediction that knows flicker and drift (``predict``),
- single tiles, relative to their row: the spark itself (``tiles``).

Runs of rows of every height are tried (``windows``), because a rolling shutter shows a short flash
as a band. What stands out is a suspicion (``candidate``), which the following frames confirm or
not: so a flash is reported ``lag_s`` after it happened, with its own time.

Strength is the excess in units of its learnt noise, reduced for the number of places tried and for
tails heavier than normal (``tail``): a frame of noise reaches s with probability exp(-s^2 / 2).
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from liveview.model import Cause, Disc, Frame, FrameStamp, SourceInfo, Spotted
from liveview.trigger.candidate import Candidate
from liveview.trigger.predict import RowPredictor
from liveview.trigger.rows import Grid, RowGrid
from liveview.trigger.shutter import flash_time
from liveview.trigger.tail import TailScale, least_sigma
from liveview.trigger.tiles import TileWatch
from liveview.trigger.windows import RowWindows

Row = NDArray[np.float64]

LOOK_AHEAD_S = 0.1
FEWEST_AHEAD, MOST_AHEAD = 3, 16
ROW_FLOOR = 0.02
"""Smallest noise of a row's mean, in codes of 255: what rounding alone does."""
TILE_FLOOR = 0.15
OUTSIDE_SHARE = 0.05
"""Fewer tiles than this outside the disc tell nothing."""
MOST_SPOTS = 3
"""Tiles suspected in one frame."""
MOST_UNLEARNT = 2
"""Suspicious frames in a row (a split band has two) that are kept out of the tiles' past."""
COMPACT = 0.2
"""Share of a row's light in one tile from which on it is a spot's light."""
LEAST_STRENGTH = 4.0
"""Weaker ones are not even suspicions."""


@dataclass(slots=True)
class _Channel:
    """One way of looking at rows."""

    name: str
    weights: NDArray[np.float32]
    predictor: RowPredictor
    windows: RowWindows
    errors: deque[Row]
    tail: TailScale

    def step(self, tiles: Grid) -> Row:
        """Excess of each band over its prediction, codes."""
        value = (tiles * self.weights).sum(axis=1).astype(np.float64)
        error = self.predictor.step(value)
        self.errors.append(error)
        return error


class FlashDetector:
    """Finds short flashes of light.

    Parameters
    ----------
    info : SourceInfo
        Shape, rate, row time and exposure of the frames, each used if known.
    sigma : float
        Threshold of the strength.
    """

    def __init__(self, info: SourceInfo, sigma: float) -> None:
        self._grid = RowGrid(info.shape)
        self._info = info
        self.sigma = sigma
        rate_hz = info.rate_hz or 30.0
        self._ahead = min(max(round(LOOK_AHEAD_S * rate_hz), FEWEST_AHEAD), MOST_AHEAD)
        self.strongest = 0.0
        """Strength of the newest frame's strongest place; what learning the quiet is about."""
        self._disc: Disc | None = None
        self._start()

    def set_disc(self, disc: Disc | None) -> None:
        """Where the mirror is in the picture; what was learnt starts anew."""
        self._disc = disc
        self._start()

    def _start(self) -> None:
        inside, outside = self._grid.inside(self._disc), self._grid.outside(self._disc)
        self._channels = [
            self._channel(name, part)
            for name, part in (("outside", outside), ("inside", inside))
            if part.mean() > OUTSIDE_SHARE
        ]
        self._tiles = TileWatch(inside, TILE_FLOOR * self._info.white / 255)
        self._tail = TailScale()
        self._excesses: deque[Grid] = deque(maxlen=self._ahead)
        self._waiting: deque[list[Candidate]] = deque()
        self._stamps: deque[FrameStamp] = deque(maxlen=self._ahead + 1)
        self._reported: Candidate | None = None
        self._bright_run = 0

    def _channel(self, name: str, part: NDArray[np.bool_]) -> _Channel:
        count = part.sum(axis=1, keepdims=True)
        weights = (part / np.maximum(count, 1)).astype(np.float32)
        floor = ROW_FLOOR * self._info.white / 255
        return _Channel(
            name,
            weights,
            RowPredictor(self._grid.bands, 2 * self._ahead + 2, floor),
            RowWindows(count[:, 0] > 0),
            deque(maxlen=self._ahead),
            TailScale(),
        )

    @property
    def ready(self) -> bool:
        """True once the noise is known."""
        return self._tiles.ready and all(c.predictor.ready for c in self._channels)

    @property
    def lag_s(self) -> float:
        """How far behind the newest frame the verdicts are."""
        if len(self._stamps) < 2:
            return 0.0
        return self._stamps[-1].time_s - self._stamps[0].time_s

    def look(self, frame: Frame) -> tuple[Spotted, ...]:
        """See the next frame; gives what is certain by now."""
        tiles = self._grid.means(frame.pixels)
        self._stamps.append(frame.stamp)
        excess = self._tiles.excess(tiles)
        pasts = {c.name: tuple(c.errors) for c in self._channels}
        errors = {c.name: c.step(tiles) for c in self._channels}
        self._follow_up(excess, errors)
        group = self._row_suspects(frame.stamp, errors, pasts, excess)
        group += self._tile_suspects(frame.stamp, excess)
        for candidate in group:
            candidate.lit = self._lit(candidate, errors)
        self._bright_run = self._bright_run + 1 if group else 0
        if not 1 <= self._bright_run <= MOST_UNLEARNT:
            self._tiles.learn(tiles, excess)
        self._excesses.append(excess)
        if group:
            self._waiting.append(group)
        return self._decide()

    def flush(self) -> tuple[Spotted, ...]:
        """No more frames: judge what waits by what there is."""
        found: list[Spotted] = []
        while self._waiting:
            found += self._judge(self._waiting.popleft())
        return tuple(found)

    def _follow_up(self, excess: Grid, errors: dict[str, Row]) -> None:
        """Note for each waiting suspicion what its place does now."""
        for group in self._waiting:
            for candidate in group:
                a, b = candidate.place
                if candidate.channel == "tile":
                    now = float(excess[a, b]) + self._tiles.usual(a, b) - candidate.level
                    candidate.after.append(now)
                else:
                    candidate.after.append(float(errors[candidate.channel][a:b].mean()))

    def _row_suspects(
        self,
        stamp: FrameStamp,
        errors: dict[str, Row],
        pasts: dict[str, tuple[Row, ...]],
        excess: Grid,
    ) -> list[Candidate]:
        """What stands out in runs of rows, at most one a channel."""
        found = []
        self.strongest = 0.0
        for channel in self._channels:
            error = errors[channel.name]
            if not channel.predictor.ready:
                continue
            peak = channel.windows.peak(error / channel.predictor.noise)
            strength = channel.tail.strength(peak.sigma, channel.windows.trials)
            channel.tail.learn(peak.sigma, channel.windows.trials)
            self.strongest = max(self.strongest, strength)
            if strength >= LEAST_STRENGTH:
                a, b = place = (peak.low, peak.high)
                before = [float(past[a:b].mean()) for past in pasts[channel.name]]
                size = float(error[a:b].mean())
                candidate = Candidate(
                    stamp, channel.name, place, size, peak.sigma, strength, before
                )
                channel.predictor.leave_out(*place)
                if channel.name == "inside":
                    candidate.compact = self._tiles.share(excess, place, size) > COMPACT
                found.append(candidate)
        return found

    def _tile_suspects(self, stamp: FrameStamp, excess: Grid) -> list[Candidate]:
        """What stands out in single tiles."""
        found = []
        trials = self._tiles.trials
        spots = self._tiles.spots(excess, least_sigma(LEAST_STRENGTH, trials), MOST_SPOTS)
        strengths = [self._tail.strength(spot.sigma, trials) for spot in spots]
        if self._tiles.ready:
            self._tail.learn(max((spot.sigma for spot in spots), default=0.0), trials)
        for spot, strength in zip(spots, strengths, strict=True):
            self.strongest = max(self.strongest, strength)
            if self._tiles.ready and strength >= LEAST_STRENGTH:
                at = (spot.band, spot.tile)
                before = [float(past[at]) for past in self._excesses]
                found.append(
                    Candidate(
                        stamp,
                        "tile",
                        at,
                        spot.excess,
                        spot.sigma,
                        strength,
                        before,
                        level=spot.level,
                        record=spot.record,
                        crowd=spot.crowd,
                        compact=True,
                    )
                )
        return found

    def _lit(self, candidate: Candidate, errors: dict[str, Row]) -> tuple[int, int]:
        """First and last band lit."""
        a, b = candidate.place
        if candidate.channel == "tile":
            return (a, a)
        error = errors[candidate.channel]
        half = 0.5 * float(np.percentile(error[a:b], 80))
        low, high = a, b
        while low > 0 and error[low - 1] > half:
            low -= 1
        while high < len(error) and error[high] > half:
            high += 1
        lit = np.flatnonzero(error[low:high] > half)
        return (low + int(lit[0]), low + int(lit[-1])) if len(lit) else (a, b - 1)

    def _decide(self) -> tuple[Spotted, ...]:
        found: list[Spotted] = []
        while self._waiting and len(self._waiting[0][0].after) >= self._ahead:
            found += self._judge(self._waiting.popleft())
        return tuple(found)

    def _judge(self, group: list[Candidate]) -> list[Spotted]:
        """One spot at most from the suspicions of one frame; rows tell more than a tile."""
        sure = [c for c in group if c.flash]
        strength = max((c.strength for c in sure), default=0.0)
        if strength < self.sigma:
            return []
        best = max(sure, key=lambda c: (c.channel != "tile", c.strength))
        before, self._reported = self._reported, best
        if before is not None and self._rest_of(before, best):
            return []
        return [self._spotted(best, strength)]

    def _rest_of(self, before: Candidate, candidate: Candidate) -> bool:
        """A rolling shutter's band that began at the bottom of the frame before."""
        if candidate.stamp.number != before.stamp.number + 1:
            return False
        assert before.lit is not None
        assert candidate.lit is not None
        bottom = before.lit[1] >= self._grid.bands - 2
        whole = before.lit[0] <= 1 and candidate.lit[1] >= self._grid.bands - 2
        return bottom and candidate.lit[0] <= 1 and not whole

    def _spotted(self, candidate: Candidate, strength: float) -> Spotted:
        assert candidate.lit is not None
        band = self._grid.band
        first, last = candidate.lit
        rows = (first * band, min((last + 1) * band, self._info.height) - 1)
        time_s, error_s = flash_time(
            candidate.stamp, rows, self._info, band, edges=not candidate.compact
        )
        return Spotted(time_s, error_s, Cause.FLASH, strength, candidate.stamp.number, rows)

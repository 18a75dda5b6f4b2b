"""Flash detector: rows inside and outside the disc, and tiles, against their own past.

Every frame is reduced to mean codes of tiles (``rows``). Three things are watched:

- rows outside the disc: light that the lamp cannot have sent there,
- rows on the mirror, against a prediction that knows flicker and drift (``predict``),
- single tiles, relative to their row: the spark itself (``tiles``).

Runs of rows of every height are tried (``windows``), because a rolling shutter shows a short flash
as a band. What stands out is a suspicion (``candidate``), which the following frames confirm or
not: so a flash is reported ``lag_s`` after it happened, with its own time.

Frames are looked at some at a time, and learnt from afterwards: what is the same for all is done
once. Only where a frame of them holds a suspicion are they gone through one by one.

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
from liveview.trigger.tiles import Looks, TileWatch
from liveview.trigger.windows import Peak, RowWindows

Row = NDArray[np.float64]

LOOK_AHEAD_S = 0.1
"""Seconds after a suspicion that judge it: five periods of a 50 Hz mains."""
FEWEST_AHEAD, MOST_AHEAD = 3, 16
"""The same in frames, whatever the rate: a median needs three, memory is short."""
ROW_FLOOR = 0.02
"""Smallest noise of a row's mean, in codes of 255: what rounding alone does."""
TILE_FLOOR = 0.15
"""The same of a tile's mean, codes of 255: it has fewer pixels, and the grain of what it shows."""
CODED_ROW_FLOOR, CODED_TILE_FLOOR = 0.25, 1.5
"""The same where a video coder repeats what has hardly changed: its blocks jump when they are coded
anew, by half a code over some rows and by several in a tile."""
CODED_LEAST = 3.0
"""Codes of 255 that rows must rise by there: a key frame lifts half a picture by one or two, for a
frame or two, where a sensor's noise would average to nothing."""
OUTSIDE_SHARE = 0.05
"""Share of all tiles: fewer than this outside the disc (or inside) tell nothing."""
MOST_UNLEARNT = 2
"""Suspicious frames in a row (a split band has two) that are kept out of the tiles' past."""
COMPACT = 0.2
"""Share of some rows' light in one column of tiles from which on it is a spot's: of light all over
the mirror a column has a few per cent."""
LEAST_BEYOND = 4.0
"""Sigma from which on rows are brighter outside the mirror as well."""
LEAST_STRENGTH = 4.0
"""Weaker ones are not even suspicions: noise has it in one frame in 3000."""
LEAST_TALL = 1 / 3
"""Rows that a flash must light more of than this, of those that are read in one exposure."""
SURE = 1.0 - 1e-6
"""Share of the least excess from which on the frames are gone through: sums may round."""
BLOCK_S = 0.05
MOST_BLOCK = 12
"""Frames looked at together: so many seconds' worth, at most this many. Longer ones cost little
less, report later and learn too late what an exposure that hunts does."""


@dataclass(slots=True)
class _Channel:
    """One way of looking at rows: ``count`` tiles of each band are summed."""

    name: str
    count: Row
    used: tuple[int, int]
    """First and last band that has such tiles."""
    predictor: RowPredictor
    windows: RowWindows
    errors: deque[Row]
    tail: TailScale
    peaks: list[float]
    sigmas: deque[float]
    """Of the strongest rows of the newest frames."""

    def values(self, look: Looks) -> Row:
        """Mean codes of the bands, (frames, bands)."""
        sums = look.inside if self.name == "inside" else look.outside
        return np.asarray(sums / self.count, np.float64)

    def peak(self, errors: Row) -> list[Peak]:
        """Strongest rows of each frame; to be learnt from."""
        peaks = self.windows.peaks(errors / self.predictor.noise)
        self.peaks += [peak.sigma for peak in peaks]
        return peaks

    def strength(self, sigma: float) -> float:
        """Of a peak."""
        return self.tail.strength(sigma, self.windows.trials)

    def forget(self) -> None:
        """The peaks since ``learn`` are not to be learnt."""
        self.windows.forget()
        self.peaks.clear()

    def learn(self) -> None:
        """Take what was seen since the last time into the noise."""
        self.predictor.learn()
        self.windows.learn()
        for sigma in self.peaks:
            self.tail.learn(sigma, self.windows.trials)
        self.peaks.clear()


class FlashDetector:
    """Finds short flashes of light.

    Parameters
    ----------
    info : SourceInfo
        Shape, rate, row time and exposure of the frames, each used if known.
    sigma : float
        Threshold of the strength.
    gate : bool
        Whether blocks of frames without a suspicion are done at once; the result is the same.
    """

    def __init__(self, info: SourceInfo, sigma: float, *, gate: bool = True) -> None:
        self._grid = RowGrid(info.shape)
        self._info = info
        self.sigma = sigma
        self._gate = gate
        rate_hz = info.rate_hz or 30.0
        self._ahead = min(max(round(LOOK_AHEAD_S * rate_hz), FEWEST_AHEAD), MOST_AHEAD)
        self._size = min(max(round(BLOCK_S * rate_hz), 1), MOST_BLOCK)
        self.strongest = 0.0
        """Strength of the newest frames' strongest place; what learning the quiet is about."""
        self.opened = 0
        """Blocks that were gone through frame by frame."""
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
        code = self._info.white / 255
        self._tiles = TileWatch(
            inside, outside, TILE_FLOOR * code, CODED_TILE_FLOOR * code, self._info.predicted
        )
        self._tail = TailScale()
        self._spot_peaks: list[float] = []
        self._block = np.empty((self._size, *inside.shape), np.float32)
        self._filled: list[FrameStamp] = []
        self._excesses: deque[Grid] = deque(maxlen=self._ahead)
        self._waiting: deque[list[Candidate]] = deque()
        self._stamps: deque[FrameStamp] = deque(maxlen=self._ahead + self._size)
        self._reported: Candidate | None = None
        self._bright_run = 0

    def _channel(self, name: str, part: NDArray[np.bool_]) -> _Channel:
        count = part.sum(axis=1)
        floor = ROW_FLOOR * self._info.white / 255
        return _Channel(
            name,
            np.maximum(count, 1).astype(np.float64),
            (int(np.flatnonzero(count)[0]), int(np.flatnonzero(count)[-1])),
            RowPredictor(self._grid.bands, 2 * self._ahead + 2, floor),
            RowWindows(count > 0),
            deque(maxlen=self._ahead),
            TailScale(),
            [],
            deque(maxlen=self._ahead),
        )

    @property
    def ready(self) -> bool:
        """True once the noise is known."""
        return self._tiles.ready and all(c.predictor.ready for c in self._channels)

    @property
    def coded(self) -> bool:
        """True when the pictures went through a video coder, whose noise is not the scene's."""
        return self._tiles.coded

    @property
    def lag_s(self) -> float:
        """How far behind the newest frame the verdicts are, at most."""
        if len(self._stamps) < 2:
            return 0.0
        return self._stamps[-1].time_s - self._stamps[0].time_s

    def look(self, frame: Frame) -> tuple[Spotted, ...]:
        """See the next frame; gives what is certain by now."""
        self._grid.means(frame.pixels, self._block[len(self._filled)])
        self._filled.append(frame.stamp)
        self._stamps.append(frame.stamp)
        return self._look_at_block() if len(self._filled) == self._size else ()

    def flush(self) -> tuple[Spotted, ...]:
        """No more frames: judge what waits by what there is."""
        found = list(self._look_at_block())
        while self._waiting:
            found += self._judge(self._waiting.popleft())
        return tuple(found)

    def _look_at_block(self) -> tuple[Spotted, ...]:
        """Look at the frames gathered, then learn from them."""
        stamps, self._filled = self._filled, []
        if not stamps:
            return ()
        tiles = self._block[: len(stamps)].copy()
        self.strongest = 0.0
        found = self._at_once(tiles) if self._gate and self.ready else None
        if found is None:
            self.opened += 1
            found = []
            for index, stamp in enumerate(stamps):
                found += self._one(tiles[index : index + 1], stamp)
        self._tiles.learn()
        floor = (CODED_ROW_FLOOR if self.coded else ROW_FLOOR) * self._info.white / 255
        for channel in self._channels:
            channel.predictor.floor = floor
            channel.learn()
        for sigma in self._spot_peaks:
            self._tail.learn(sigma, self._tiles.trials)
        self._spot_peaks.clear()
        return tuple(found)

    def _at_once(self, tiles: Grid) -> list[Spotted] | None:
        """See frames none of which is suspicious; None, and nothing done, if one is."""
        look = self._tiles.look(tiles)
        spots = self._tiles.strongest(look.excess)
        if max(spots) >= SURE * self._tail.sigma(LEAST_STRENGTH, self._tiles.trials):
            return None
        back = [channel.predictor.remember() for channel in self._channels]
        errors: dict[str, Row] = {}
        for channel in self._channels:
            errors[channel.name] = channel.predictor.steps(channel.values(look))
            peaks = channel.peak(errors[channel.name])
            least = channel.tail.sigma(LEAST_STRENGTH, channel.windows.trials)
            if max(peak.sigma for peak in peaks) >= SURE * least:
                for undo in back:
                    undo()
                for seen in self._channels:
                    seen.forget()
                return None
        self._spot_peaks += spots
        self._bright_run = 0
        self._tiles.pass_on(look)
        self._note_strongest()
        return self._go_on(look, errors)

    def _go_on(self, look: Looks, errors: dict[str, Row]) -> list[Spotted]:
        """Frames without a suspicion as the after of those that wait and the before of the next."""
        found: list[Spotted] = []
        for index in range(len(look.tiles)) if self._waiting else ():
            now = {name: rows[index] for name, rows in errors.items()}
            stir = {c.name: c.peaks[index] for c in self._channels}
            self._follow_up(look.excess[index], look.usual[index], now, stir)
            found += self._decide()
        self._excesses.extend(look.excess)
        for channel in self._channels:
            channel.errors.extend(errors[channel.name])
            channel.sigmas.extend(channel.peaks)
        return found

    def _note_strongest(self) -> None:
        strengths = [self._tail.strength(max(self._spot_peaks), self._tiles.trials)]
        strengths += [channel.strength(max(channel.peaks)) for channel in self._channels]
        self.strongest = max(strengths)

    def _one(self, tiles: Grid, stamp: FrameStamp) -> list[Spotted]:
        """See one frame, (1, bands, tiles)."""
        look = self._tiles.look(tiles)
        excess = look.excess[0]
        pasts = {c.name: tuple(c.errors) for c in self._channels}
        errors = {c.name: c.predictor.step(c.values(look)[0]) for c in self._channels}
        peaks = {
            c.name: c.peak(errors[c.name][None])[0] for c in self._channels if c.predictor.ready
        }
        stir = {name: peak.sigma for name, peak in peaks.items()}
        self._follow_up(excess, look.usual[0], errors, stir)
        group = self._row_suspects(stamp, errors, pasts, excess, peaks)
        group += self._tile_suspects(stamp, look)
        for candidate in group:
            candidate.lit = self._lit(candidate, errors)
        self._bright_run = self._bright_run + 1 if group else 0
        if not 1 <= self._bright_run <= MOST_UNLEARNT:
            self._tiles.pass_on(look)
        self._excesses.append(excess)
        for channel in self._channels:
            channel.errors.append(errors[channel.name])
            channel.sigmas.append(stir.get(channel.name, 0.0))
        if group:
            self._waiting.append(group)
        return self._decide()

    def _follow_up(
        self, excess: Grid, usual: Grid, errors: dict[str, Row], stir: dict[str, float]
    ) -> None:
        """Note for each waiting suspicion what its place does now, and rows wherever they are."""
        for group in self._waiting:
            for candidate in group:
                a, b = candidate.place
                if candidate.channel == "tile":
                    now = float(excess[a, b]) + float(usual[a, b]) - candidate.level
                    candidate.after.append(now)
                else:
                    candidate.after.append(float(errors[candidate.channel][a:b].mean()))
                    channel = next(c for c in self._channels if c.name == candidate.channel)
                    sigma = stir.get(candidate.channel, 0.0)
                    candidate.stir_after.append(channel.strength(sigma))

    def _row_suspects(
        self,
        stamp: FrameStamp,
        errors: dict[str, Row],
        pasts: dict[str, tuple[Row, ...]],
        excess: Grid,
        peaks: dict[str, Peak],
    ) -> list[Candidate]:
        """What stands out in runs of rows, at most one a channel."""
        found = []
        least = CODED_LEAST * self._info.white / 255 if self.coded else 0.0
        for channel in self._channels:
            error = errors[channel.name]
            peak = peaks.get(channel.name)
            if peak is None:
                continue
            strength = channel.strength(peak.sigma)
            self.strongest = max(self.strongest, strength)
            a, b = place = (peak.low, peak.high)
            size = float(error[a:b].mean())
            if strength >= LEAST_STRENGTH and size >= least:
                before = [float(past[a:b].mean()) for past in pasts[channel.name]]
                candidate = Candidate(
                    stamp, channel.name, place, size, peak.sigma, strength, before,
                    stir_before=tuple(map(channel.strength, channel.sigmas)),
                )  # fmt: skip
                channel.predictor.leave_out(*place)
                if channel.name == "inside":
                    candidate.compact = self._tiles.share(excess, place, size) > COMPACT
                    candidate.beyond = self._lit_beyond(place, errors)
                found.append(candidate)
        return found

    def _lit_beyond(self, place: tuple[int, int], errors: dict[str, Row]) -> bool:
        """Whether the same rows are brighter outside the mirror, too."""
        rows = slice(*place)
        for channel in self._channels:
            if channel.name == "outside" and channel.predictor.ready:
                sigma = errors["outside"][rows] / channel.predictor.noise[rows]
                return bool(sigma.sum() > LEAST_BEYOND * len(sigma) ** 0.5)
        return False

    def _tile_suspects(self, stamp: FrameStamp, look: Looks) -> list[Candidate]:
        """What stands out in single tiles."""
        found = []
        trials = self._tiles.trials
        spots = self._tiles.spots(look, least_sigma(LEAST_STRENGTH, trials))
        strengths = [self._tail.strength(spot.sigma, trials) for spot in spots]
        if self._tiles.ready:
            self._spot_peaks.append(max((spot.sigma for spot in spots), default=0.0))
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

    def _decide(self) -> list[Spotted]:
        found: list[Spotted] = []
        while self._waiting and len(self._waiting[0][0].after) >= self._ahead:
            found += self._judge(self._waiting.popleft())
        return found

    def _judge(self, group: list[Candidate]) -> list[Spotted]:
        """One spot at most from the suspicions of one frame; rows tell more than a tile."""
        sure = [c for c in group if c.flash and self._tall_enough(c)]
        strength = max((c.strength for c in sure), default=0.0)
        if strength < self.sigma:
            return []
        best = max(sure, key=lambda c: (c.channel != "tile", c.strength))
        before, self._reported = self._reported, best
        if before is not None and self._rest_of(before, best):
            return []
        return [self._spotted(best, strength)]

    def _tall_enough(self, candidate: Candidate) -> bool:
        """A rolling shutter shows a flash in as many rows as are read in one exposure.

        Fewer are seen at the picture's edges and the mirror's, and of what is a spot itself.
        """
        row_time_s, exposure_s = self._info.row_time_s, self._info.exposure_s
        if candidate.compact or not row_time_s or not exposure_s:
            return True
        assert candidate.lit is not None
        first, last = candidate.lit
        used = next(c.used for c in self._channels if c.name == candidate.channel)
        if first <= used[0] or last >= used[1]:
            return True
        rows = (last + 1 - first) * self._grid.band
        return rows > LEAST_TALL * exposure_s / row_time_s

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

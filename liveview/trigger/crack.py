"""Crack detector: a sudden sound in the band of sparks, against a slowly learnt background.

A spark's crack is an N-wave of a fraction of a millisecond: most of its energy lies between 2 and
15 kHz, it is there at once, and it stands out from what that band usually holds. So a crack must

- exceed the loudest moments of the last seconds (``peaks``: hum, a coil's buzz and steady noise
  have theirs) by what noise does only rarely,
- be louder than the milliseconds before and after it (a hiss swells),
- have more above 4 kHz than a voice, a clap or a slammed door, whose energy is lower,
- not be the echo of the crack before it,
- not be one of many that are as weak: the rattle of a coil's interrupter. Only weak ones wait for
  that to be known; strong ones are sparks, however many there are.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from liveview.model import Cause, SoundBlock, Spotted
from liveview.trigger.bands import Bands
from liveview.trigger.peaks import MEMORY_MOMENTS, LoudestMoments

Samples = NDArray[np.float64]

LENGTHS = (1, 2, 4)
"""Hops over which power is taken: an N-wave is one hop long, with the echo of the table four."""
SHAPE_SCALE = 0.12
"""Least scale of the fit to an N-wave, which is heard beside them: 2 variances above about 15."""
CRACK_S = 0.002
"""Seconds. A crack is over by then, but for its echoes."""
LATER_S = (0.003, 0.008)
"""Stretch after an onset in which it must have become weaker, seconds from and to; a hiss swells
on."""
LATER = 0.65
"""Mean power there against that of the crack, what was there before taken off both, at most."""
SWELL = 0.5
"""Or against what was there before, where that is more: noise alone rises by less."""
BEFORE_S = (0.008, 0.0005)
"""Stretch before an onset that it is compared with, seconds from and to; shorter than the time
between the sparks of a coil."""
SUDDEN = 3.5
"""Power of an onset against the mean of that stretch, a ratio (5.4 dB),"""
SUDDEN_LONG = 2.0
"""and over the longest length against its loudest part (3 dB): a hiss fluctuates. In a calm before
it the shape serves, too."""
CALM = 2.0
"""The calm has at most so many times the usual power."""
VOICED = 2.0
"""Rise of the voice band's power against the sharp one's, a ratio, from which on it is no spark."""
EDGE = 0.4
"""Share of the peak at which the onset is timed."""
DEAD_S = 0.003
"""Seconds in which nothing after a crack is another one: the table's echo comes in it."""
ECHO_DB = 8.0
ECHO_DB_PER_S = 800.0
"""Echoes are weaker than the crack by the first, and fade by the second."""
OTHER_S = 0.06
"""Seconds. A clap goes on for so long; only what is louder than it by ``OTHER_DB`` is heard in
it."""
OTHER_DB = 6.0
REST_S = 0.05
"""Seconds. After a crack the background is not learnt for so long: its echoes are none."""
DOUBTFUL = 3.0
"""Strength from which on what looks like a crack is not learnt as background, either (one moment of
noise in ninety has it):"""
MOST_DOUBTFUL = 0.2
"""unless so large a share of the moments looks like that: then it is the background."""
WEAK = 20.0
"""Strength below which what looks like a crack may be a rattle,"""
RATTLE_S = 0.06
"""when so shortly before and after it, seconds (ten periods of a coil at 80 Hz), there are"""
RATTLE = 3
"""so many more that look like it."""


@dataclass(frozen=True, slots=True)
class _Last:
    """The sudden sound before: when (stream time), its power, and whether it was a crack."""

    time_s: float
    power: float
    crack: bool

    def masks(self, time_s: float, power: float) -> bool:
        """Whether a sound at ``time_s`` may be part of it, or its echo."""
        age_s = time_s - self.time_s
        if not self.crack:
            return age_s < OTHER_S and power < self.power * 10.0 ** (OTHER_DB / 10.0)
        fade_db = ECHO_DB + ECHO_DB_PER_S * age_s
        return age_s < DEAD_S or power < self.power * 10.0 ** (-fade_db / 10.0)


class CrackDetector:
    """Finds the cracks of sparks in a stream of sound blocks.

    Parameters
    ----------
    sigma : float
        Threshold of the strength: noise reaches it in a moment of 25 ms with probability about
        ``exp(-sigma^2 / 2)``, as with the flash detector.
    delay_s : float
        Travel time of the sound to the microphone, taken off every time given.
    """

    def __init__(self, sigma: float, delay_s: float = 0.0) -> None:
        self.sigma = sigma
        self.delay_s = delay_s
        self._bands: Bands | None = None
        self._peaks = [*(LoudestMoments() for _ in LENGTHS), LoudestMoments(SHAPE_SCALE)]
        self._last = _Last(float("-inf"), 0.0, crack=True)
        self._rest_s = float("-inf")
        self._doubtful = 0.0
        self._weak: deque[float] = deque(maxlen=256)
        self._held: list[Spotted] = []
        self._into = 0
        self._until_s = float("-inf")
        self.strongest = 0.0
        """Strength of the newest block's loudest moment."""

    @property
    def until_s(self) -> float:
        """Everything before this time has been listened to (path delay taken off)."""
        held = (spot.time_s for spot in self._held)
        return min(self._until_s - self.delay_s, *held, float("inf"))

    @property
    def ready(self) -> bool:
        """True once the background is known."""
        return self._peaks[0].ready

    def hear(self, block: SoundBlock) -> tuple[Spotted, ...]:
        """Listen to the next block; gives the cracks that are certain by now."""
        if self._bands is None or self._bands.rate_hz != block.rate_hz or block.lost_before:
            self._bands = Bands(block.rate_hz)
        bands = self._bands
        bands.add(block)
        behind = bands.hops_in(BEFORE_S[0])
        end = bands.count - bands.hops_in(LATER_S[1]) - max(LENGTHS)
        if end <= behind:
            return ()
        found = self._search(bands, behind, end, block.error_s)
        self._until_s = bands.time_of(end)
        bands.drop(end - behind)
        return tuple(self._told(found))

    def _told(self, found: list[Spotted]) -> list[Spotted]:
        """Strong ones at once, weak ones when it is known that they stand alone."""
        self._held += [spot for spot in found if spot.strength < WEAK]
        known_s = self._until_s - RATTLE_S - self.delay_s
        due = [spot for spot in self._held if spot.time_s <= known_s]
        self._held = self._held[len(due) :]
        alone = [spot for spot in due if not self._rattles(spot.time_s + self.delay_s)]
        return [*alone, *(spot for spot in found if spot.strength >= WEAK)]

    def _rattles(self, time_s: float) -> bool:
        """Whether many weak ones surround this time (stream time); itself is one of them."""
        return sum(abs(time_s - weak_s) <= RATTLE_S for weak_s in self._weak) > RATTLE

    def _search(self, bands: Bands, first: int, end: int, error_s: float) -> list[Spotted]:
        """Look at the hops ``first`` to ``end``, in moments that teach the background."""
        found: list[Spotted] = []
        self.strongest = 0.0
        powers = [*(_run_means(bands.spark, length) for length in LENGTHS), bands.shape]
        step = bands.hops_in(self._peaks[0].moment_s)
        low = first
        while low < end:
            # Moments go on over blocks, so that blocks of any size teach the same.
            part = slice(low, min(low + step - self._into, end))
            strongest = max(
                peaks.strength(float(power[part].max()))
                for peaks, power in zip(self._peaks, powers, strict=True)
            )
            self.strongest = max(self.strongest, strongest)
            if self.ready and strongest > min(self.sigma, DOUBTFUL):
                found += self._onsets(bands, part, powers, error_s)
            quiet = not bands.time_of(low) < self._rest_s + REST_S
            share = (part.stop - part.start) / step
            for peaks, power in zip(self._peaks, powers, strict=True):
                peaks.hear(float(power[part].max()), share, quiet=quiet)
            self._into = (self._into + part.stop - part.start) % step
            low = part.stop
        return found

    def _onsets(
        self, bands: Bands, part: slice, powers: list[Samples], error_s: float
    ) -> list[Spotted]:
        """The cracks that begin in these hops."""
        found: list[Spotted] = []
        strengths = np.array(
            [
                [peaks.strength(float(value)) for value in power[part]]
                for power, peaks in zip(powers, self._peaks, strict=True)
            ]
        )
        largest = strengths.max(axis=0)
        for k in np.flatnonzero(largest > min(self.sigma, DOUBTFUL)):
            hop = part.start + int(k)
            if not _sudden(bands, powers, hop):
                continue
            near = float(strengths[:, k : k + bands.hops_in(CRACK_S)].max())
            if near < WEAK:
                self._note_weak(bands.time_of(hop))
            if largest[k] > self.sigma:
                spot = self._judge(bands, hop, error_s, near)
                if spot is not None:
                    found.append(spot)
        if not found:
            self._spare_doubtful(bands, part, powers, largest)
        return found

    def _note_weak(self, time_s: float) -> None:
        """Remember when; the hops of one sound count once."""
        if not self._weak or time_s > self._weak[-1] + CRACK_S:
            self._weak.append(time_s)

    def _spare_doubtful(
        self, bands: Bands, part: slice, powers: list[Samples], largest: Samples
    ) -> None:
        """What may be a crack, though too weak to tell, is kept out of the background."""
        doubtful = any(
            _sudden(bands, powers, part.start + int(k)) and _sharp(bands, part.start + int(k))
            for k in np.flatnonzero(largest > DOUBTFUL)
        )
        self._doubtful += (doubtful - self._doubtful) / MEMORY_MOMENTS
        if doubtful and self._doubtful < MOST_DOUBTFUL:
            self._rest_s = max(self._rest_s, bands.time_of(part.start))

    def _judge(self, bands: Bands, hop: int, error_s: float, strength: float) -> Spotted | None:
        """What begins at a hop, if it is a crack of its own."""
        time_s = bands.onset(hop, max(LENGTHS), EDGE)
        power = float(bands.spark[hop : hop + bands.hops_in(CRACK_S)].max())
        if self._last.masks(time_s, power):
            return None
        crack = _sharp(bands, hop)
        self._last = _Last(time_s, power, crack)
        if not crack:
            return None
        if strength >= WEAK or not self._rattles(bands.time_of(hop)):
            self._rest_s = time_s
        fine_s = float(np.hypot(error_s, bands.hop_s / 2))
        return Spotted(time_s - self.delay_s, fine_s, Cause.SOUND, strength)


def _sharp(bands: Bands, hop: int) -> bool:
    """Whether the voices' band rises no more than a crack lets it."""
    crack = slice(hop, hop + bands.hops_in(CRACK_S))
    voice, sharp = float(bands.voice[crack].mean()), float(bands.sharp[crack].mean())
    return voice - bands.usual_voice < VOICED * sharp


def _run_means(powers: Samples, length: int) -> Samples:
    """Mean of ``length`` hops from each hop on; shorter at the end."""
    total = np.concatenate([[0.0], np.cumsum(powers)])
    index = np.arange(len(powers))
    high = np.minimum(index + length, len(powers))
    return np.asarray((total[high] - total[index]) / (high - index))


def _sudden(bands: Bands, powers: list[Samples], hop: int) -> bool:
    """Whether the sound at a hop was not there just before and is not there soon after."""
    a, b = bands.hops_in(BEFORE_S[0]), bands.hops_in(BEFORE_S[1])
    before = slice(max(hop - a, 0), hop - b)
    short = (powers[0], powers[1], powers[len(LENGTHS)])
    if not any(power[hop] > SUDDEN * power[before].mean() for power in short):
        return False
    usual = float(bands.spark[before].mean())
    later = slice(hop + bands.hops_in(LATER_S[0]), hop + bands.hops_in(LATER_S[1]))
    crack = float(bands.spark[hop : hop + bands.hops_in(CRACK_S)].mean()) - usual
    if float(bands.spark[later].mean()) - usual > max(LATER * crack, SWELL * usual):
        return False
    ways = [(powers[len(LENGTHS) - 1], max(LENGTHS))]
    if usual < CALM * bands.usual_spark:
        ways.append((powers[len(LENGTHS)], 1))
    return any(
        float(power[max(hop - 1, 0) : hop + 2].max())
        > SUDDEN_LONG * float(power[before.start : hop - b - length + 2].max(initial=0))
        for power, length in ways
    )

"""Detectors, pairing and arming in one pure object: frames and sound in, actions out."""

from __future__ import annotations

import math

from liveview.model import ArmState, Cause, Disc, Frame, SoundBlock, SourceInfo, Spotted
from liveview.optics.sound import sound_delay
from liveview.settings import Settings
from liveview.trigger.arming import Action, Arming, Rules
from liveview.trigger.crack import CrackDetector
from liveview.trigger.flash import FlashDetector
from liveview.trigger.pairing import Pairing
from liveview.trigger.peaks import MOMENT_S

FLASH_CHANNELS = 3
"""Ways in which the flash detector looks at each frame."""
CRACK_WAYS = 2
"""Ways in which the crack detector looks at each moment: power and shape."""
EASIER = 0.75
"""How much weaker than a flash a crack may be: there are far fewer moments than frames."""
CONFIRMED = 1.75
"""How much weaker still when a flash confirms it."""
LEAST_SIGMA = 3.0


def crack_sigma(sensitivity_sigma: float) -> float:
    """Strength from which on a crack counts alone, at this setting of the sensitivity."""
    return max(sensitivity_sigma - EASIER, 0.0)


def rules_of(settings: Settings) -> Rules:
    """The arming rules in the settings."""
    catch = settings.catch
    return Rules(
        catch.pre_trigger_s,
        catch.post_trigger_s,
        catch.refractory_s,
        catch.longest_event_s,
        catch.learn_s,
        catch.again,
    )


def path_of(settings: Settings) -> float:
    """Travel time of the sound from the spark to the microphone, seconds."""
    return sound_delay(settings.catch.mic_distance_m, settings.rig.temperature_k)


class Catcher:
    """Watches one source (and one sound, if any) and says when events begin and end.

    Used by the live session and by the command that reads recordings, so that both catch the
    same. Frames and sound blocks may come interleaved in any way; each in its own order.

    Parameters
    ----------
    settings : Settings
        Sections ``catch`` and ``rig`` are used.
    info : SourceInfo
        The frames' format and shutter.
    sound : bool
        Whether sound will come.
    """

    def __init__(self, settings: Settings, info: SourceInfo, *, sound: bool = False) -> None:
        self._arming = Arming(rules_of(settings))
        self._flash = FlashDetector(info, settings.catch.sensitivity_sigma)
        self._crack = CrackDetector(settings.catch.sensitivity_sigma)
        self._pairing = Pairing(settings.catch.on)
        self._info = info
        self._after_frames: int | None = None
        self._frames_armed = 0
        self._disc: Disc | None = None
        self._sound = sound
        self._seen_s = float("-inf")
        self._spotted: list[Spotted] = []
        self._anew = ""
        self.apply(settings)

    @property
    def state(self) -> ArmState:
        """Where the arming stands."""
        return self._arming.state

    @property
    def words(self) -> str:
        """One line for the screen."""
        state = self._arming.state
        if state is ArmState.LEARNING:
            anew = f" anew ({self._anew})" if self._anew else ""
            return f"learning the quiet{anew}: {self._arming.learnt:.0%}"
        if state is ArmState.ARMED:
            on = self._pairing.on
            if self._needs_sound and not self._sound:
                return f"armed on {on}, but there is no sound"
            return f"armed on {on}; noise alone: about once in {_span(self.noise_rate_hz)}"
        return "catching" if state is ArmState.CATCHING else "off"

    @property
    def noise_rate_hz(self) -> float:
        """Events a second that the learnt noise alone would cause at this sensitivity.

        ``both`` counts as if flash or crack alone were enough, so it is an upper bound there.
        """
        on, sigma = self._pairing.on, self._flash.sigma
        rate_hz = 0.0
        if on in ("flash", "either", "both"):
            rate_hz += FLASH_CHANNELS * (self._info.rate_hz or 30.0) * math.exp(-0.5 * sigma**2)
        if on in ("sound", "either") and self._sound:
            rate_hz += CRACK_WAYS / MOMENT_S * math.exp(-0.5 * crack_sigma(sigma) ** 2)
        return rate_hz

    @property
    def _needs_sound(self) -> bool:
        return self._pairing.on in ("sound", "both")

    @property
    def anew(self) -> str:
        """Why the quiet is learnt anew; empty unless it is."""
        return self._anew if self._arming.state is ArmState.LEARNING else ""

    @property
    def learnt(self) -> float:
        """How much of the learning is done, 0..1."""
        return self._arming.learnt

    @property
    def since_s(self) -> float | None:
        """First moment of the event under way."""
        return self._arming.since_s

    @property
    def until_s(self) -> float | None:
        """When the event under way ends unless another spark comes."""
        return self._arming.until_s

    @property
    def flash_strength(self) -> float | None:
        """Strength of the newest frame's strongest place; None until the noise is known."""
        return self._flash.strongest if self._flash.ready else None

    @property
    def crack_strength(self) -> float | None:
        """Largest strength in the newest block of sound; None until its background is known."""
        return self._crack.strongest if self._crack.ready else None

    def apply(self, settings: Settings) -> None:
        """Use other settings from now on; what was learnt is kept."""
        self._arming.set_rules(rules_of(settings))
        sigma = settings.catch.sensitivity_sigma
        self._pairing.on = settings.catch.on
        self._pairing.least = self._flash.sigma = sigma
        alone = self._pairing.least_crack = crack_sigma(sigma)
        # A flash beside it makes a weaker crack believable.
        self._crack.sigma = min(max(alone - CONFIRMED, LEAST_SIGMA), alone)
        if not self._pairing.joins:
            self._crack.sigma = alone
        self._crack.delay_s = self._pairing.path_s = path_of(settings)
        self._after_frames = settings.catch.after_frames

    def set_disc(self, disc: Disc | None) -> tuple[Action, ...]:
        """Where the mirror is in the picture; small moves are ignored.

        Elsewhere, what was learnt of the pictures does not hold.
        """
        if _same_place(disc, self._disc):
            return ()
        knew = self._flash.ready
        actions = self._spots(self._flash.flush())
        self._disc = disc
        self._flash.set_disc(disc)
        return actions + self._relearn(("the mirror's place",)) if knew else actions

    def set_sound(self, there: bool) -> None:
        """Whether sound comes in at present."""
        self._sound = there

    def set_source(self, info: SourceInfo) -> tuple[Action, ...]:
        """Another format: an event under way ends, the quiet is learnt anew."""
        actions = self._spots(self._flash.flush()) + self._arming.cut(self._seen_s)
        return actions + self.camera_changed(("the picture's format",), info)

    def camera_changed(self, what: tuple[str, ...], info: SourceInfo) -> tuple[Action, ...]:
        """Exposure, gain or the like changed: what was learnt of the pictures does not hold."""
        actions = self._spots(self._flash.flush())
        self._info = info
        self._flash = FlashDetector(self._info, self._flash.sigma)
        self._flash.set_disc(self._disc)
        return actions + self._relearn(what)

    def _relearn(self, what: tuple[str, ...]) -> tuple[Action, ...]:
        if self._pairing.on in ("off", "sound"):
            return ()
        self._anew = f"{' and '.join(what)} changed"
        return self._arming.relearn(self._seen_s)

    def arm(self, *, learn: bool = True) -> tuple[Action, ...]:
        """Arm, after learning the quiet unless ``learn`` is False."""
        self._anew = ""
        return self._arming.arm(self._seen_s, learn=learn)

    def disarm(self) -> tuple[Action, ...]:
        """Off; an event under way ends."""
        return self._arming.disarm(self._seen_s)

    def hand(self, time_s: float, frame: int | None = None) -> tuple[Action, ...]:
        """Somebody asks for an event now."""
        spotted = Spotted(time_s, 0.0, Cause.HAND, 0.0, frame)
        return self._arming.hand(spotted, self._seen_s)

    def see(self, frame: Frame) -> tuple[Action, ...]:
        """Watch the next frame."""
        found = self._flash.look(frame)
        self._seen_s = max(self._seen_s, frame.time_s)
        return self._spots(found) + self._counted(frame)

    def hear(self, block: SoundBlock) -> tuple[Action, ...]:
        """Listen to the next block."""
        return self._spots(self._crack.hear(block))

    def flush(self) -> tuple[Action, ...]:
        """Nothing more will come: what was held back is decided, an event under way ends."""
        actions = self._spots(self._flash.flush())
        for spotted in self._pairing.flush():
            actions += self._take(spotted)
        return actions + self._arming.cut(self._seen_s)

    def cut(self) -> tuple[Action, ...]:
        """No frames come any more for now: an event under way ends, cut short."""
        return self._arming.cut(self._seen_s)

    def new_spots(self) -> tuple[Spotted, ...]:
        """What passed since the last call, whether or not an event was kept of it."""
        found, self._spotted = tuple(self._spotted), []
        return found

    def _counted(self, frame: Frame) -> tuple[Action, ...]:
        """The event that is asked for some frames after arming."""
        self._frames_armed = self._frames_armed + 1 if self.state is ArmState.ARMED else 0
        if self._after_frames is None or self._frames_armed != self._after_frames:
            return ()
        return self._take(Spotted(frame.time_s, 0.0, Cause.COUNT, 0.0, frame.number))

    def _spots(self, found: tuple[Spotted, ...]) -> tuple[Action, ...]:
        actions: tuple[Action, ...] = ()
        for spotted in found:
            for passed in self._pairing.add(spotted):
                actions += self._take(passed)
        self._arming.background_known = self._knows_background()
        heard_s = self._crack.until_s if self._sound else None
        for passed in self._pairing.tick(self._seen_s - self._flash.lag_s, heard_s):
            actions += self._take(passed)
        return actions + self._arming.tick(self._seen_s)

    def _knows_background(self) -> bool:
        on = self._pairing.on
        sees = on not in ("flash", "either", "both") or self._flash.ready
        hears = on not in ("sound", "either", "both") or not self._sound or self._crack.ready
        return sees and hears

    def _take(self, spotted: Spotted) -> tuple[Action, ...]:
        if self._arming.state in (ArmState.ARMED, ArmState.CATCHING):
            self._spotted.append(spotted)
        return self._arming.spot(spotted, self._seen_s)


def _span(rate_hz: float) -> str:
    """Time between events of this rate, in words."""
    hours = 1.0 / (3600.0 * max(rate_hz, 1e-12))
    if hours < 1.0:
        return f"{max(60.0 * hours, 0.1):.2g} min"
    return f"{hours:.2g} h" if hours < 1000.0 else "more than 1000 h"


def _same_place(a: Disc | None, b: Disc | None) -> bool:
    if a is None or b is None:
        return a is b
    slack = 0.02 * b.radius
    return max(abs(a.cx - b.cx), abs(a.cy - b.cy), abs(a.radius - b.radius)) <= slack

"""What the Catch page says and allows, worked out from snapshots; nothing here draws."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from liveview.gui.words import (
    CAUSE_WORDS,
    DOT,
    MINUS,
    THIN,
    count,
    data_size,
    first_up,
    seconds,
    times_noise,
)
from liveview.model import (
    ArmState,
    Cause,
    SessionStatus,
    SourceInfo,
    Spotted,
    StoreStatus,
    TriggerReading,
)
from liveview.optics.sound import sound_delay
from liveview.review.shelf import EventCard
from liveview.settings import Catch, Settings
from liveview.trigger.catcher import path_of
from liveview.trigger.pairing import PATIENCE_S, Pairing

VERDICT_S = 0.1 + PATIENCE_S
"""Memory the trigger itself needs: a flash is certain some frames later, a crack may be awaited."""

SILENT_S = 2.0
"""So long nothing but zeros is a microphone that gives nothing."""

FAINT = 10 ** (-75 / 20)
"""A peak below this, full scale 1.0, is no sound of a room."""

CLIPPING = 0.99
CLIP_HELD_S = 3.0
"""How long a clipped sound stays marked."""

LONGEST_S = 600.0
"""Of the settings."""

CAUTION = (
    "Sparks: high voltage, ozone, sprays that burn and loud cracks do harm. "
    "Local codes and licensed practice come first."
)
"""Always on the page."""

CAUTIONS = (
    (
        "High voltage",
        "Coils and capacitors hold their charge after they are switched off. Discharge and earth "
        "them before a hand comes near, work with one hand, never alone, and keep the camera, the "
        "microphone and their cables away from the gap.",
    ),
    (
        "Ozone",
        "Sparks make ozone and nitrogen oxides. If it smells sharp, air the room and stop.",
    ),
    (
        "What burns",
        "Sprays, solvents, lighter gas and dust catch fire from one spark. Keep them out of the "
        "room, an extinguisher in reach, and never spark into a spray can's jet.",
    ),
    (
        "Hearing and eyes",
        "A crack at arm's length is loud enough to do harm: wear ear protection. Do not look into "
        "an arc from near: its light holds ultraviolet.",
    ),
    (
        "Flashing pictures",
        "Sparks at a steady rate flicker on the screen; some people cannot bear that. Warn a room "
        "before it is shown.",
    ),
    (
        "Who may do this",
        "This program watches; it makes nothing safe. Local codes decide what may be built, and "
        "mains and high-voltage work belongs to people licensed for it.",
    ),
)
"""Heading and words; more on a key."""


def longest_pre_s(capacity_s: float | None) -> float:
    """Seconds before a spark that the memory can hold, what the trigger needs taken off."""
    return LONGEST_S if capacity_s is None else min(max(capacity_s - VERDICT_S, 0.0), LONGEST_S)


def limit_words(catch: Catch, capacity_s: float | None) -> str:
    """What the memory does not allow of the settings; empty when all fits."""
    if capacity_s is None:
        return ""
    most = longest_pre_s(capacity_s)
    if catch.pre_trigger_s > most:
        return (
            f"the memory reaches back {seconds(most)}, not {seconds(catch.pre_trigger_s)}: "
            "a smaller picture or a larger memory (store.ring_mb) reaches further"
        )
    if catch.pre_trigger_s + catch.post_trigger_s > most:
        return "longer than the memory: the disk has to keep up while it is caught"
    return ""


def memory_words(status: SessionStatus) -> str:
    """How much the frame ring holds, and whether it is still filling."""
    capacity = status.ring_capacity_seconds
    if capacity is None:
        return ""
    if status.ring_seconds < 0.97 * capacity:
        return f"memory holds {seconds(status.ring_seconds)} of {seconds(capacity)}"
    return f"memory holds the last {seconds(status.ring_seconds)}"


@dataclass(frozen=True, slots=True)
class Arm:
    """The state of the trigger for the badge: word, one line, and how far (0..1) or how long."""

    state: ArmState
    word: str
    line: str
    share: float = 0.0
    left_s: float | None = None


def arm_of(status: SessionStatus, catch: Catch) -> Arm:
    """State, progress of the learning, countdown of the catching."""
    state, trigger = status.arm, status.trigger
    if state is ArmState.LEARNING:
        anew = f"Anew: {trigger.anew}; no spark now" if trigger.anew else ""
        return Arm(state, "Learning", anew or "How much is noise: no spark now", trigger.learnt)
    if state is ArmState.CATCHING:
        share, left = _countdown(trigger, catch)
        line = "Another spark adds to it"
        return Arm(state, "Catching", line, share, left)
    if state is ArmState.ARMED:
        return Arm(state, "Armed", first_up(waits_for(catch, status.sound is not None)))
    return Arm(ArmState.OFF, "Off", "Not watching; T still keeps")


def _countdown(trigger: TriggerReading, catch: Catch) -> tuple[float, float | None]:
    """What is left of the event under way: as a share of all that follows its spark, in seconds."""
    if trigger.now_s is None or trigger.until_s is None or trigger.since_s is None:
        return (1.0, None)
    left = max(trigger.until_s - trigger.now_s, 0.0)
    whole = trigger.until_s - trigger.since_s - catch.pre_trigger_s
    return (min(left / whole, 1.0) if whole > 0 else 0.0, left)


def waits_for(catch: Catch, has_sound: bool) -> str:
    """What an armed trigger waits for, and what it does afterwards."""
    wanted = {
        "off": "starts by hand only",
        "flash": "waits for a flash",
        "sound": "waits for a crack",
        "either": "waits for a flash or a crack",
        "both": "waits for flash and crack together",
    }[catch.on]
    if not has_sound and catch.on == "either":
        wanted = "waits for a flash; there is no sound"
    elif not has_sound and catch.on in ("sound", "both"):
        return f"{wanted}, but there is no sound: nothing will start it"
    return wanted + ("" if catch.again else ", once")


def delay_words(distance_m: float, temperature_k: float) -> str:
    """How late the crack comes to the microphone, which its time leaves out."""
    delay_s = sound_delay(distance_m, temperature_k)
    return f"the way of the sound, {delay_s * 1e3:.2f}{THIN}ms, is taken off"


@dataclass(frozen=True, slots=True)
class Clocks:
    """How sure the times of frames and sound are, and what follows for pairs; seconds."""

    frame_s: float | None
    sound_s: float | None
    apart_s: float | None
    """Flash and crack may be so far apart and still be one spark."""

    @classmethod
    def of(cls, status: SessionStatus, settings: Settings) -> Clocks:
        """As they stand."""
        frame_s, sound_s = status.trigger.frame_error_s, status.trigger.sound_error_s
        if frame_s is None or sound_s is None:
            return cls(frame_s, sound_s, None)
        path_s = path_of(settings)
        pairing = Pairing("both", path_s)
        flash = Spotted(0.0, frame_s, Cause.FLASH, 0.0)
        return cls(frame_s, sound_s, pairing.window_s(flash, Spotted(0.0, sound_s, Cause.SOUND, 0)))


def clock_lines(clocks: Clocks) -> tuple[str, ...]:
    """How sure the clocks are, in words."""
    parts = [
        f"{name} {_within(value)}"
        for name, value in (("frames", clocks.frame_s), ("sound", clocks.sound_s))
        if value is not None
    ]
    if parts and len({part.partition(" ")[2] for part in parts}) < len(parts):
        parts = [" and ".join(("frames", parts[-1]))]  # alike
    lines = [f"Times: {', '.join(parts)}."] if parts else []
    if clocks.apart_s is not None:
        lines.append(f"Flash and crack are one up to {_milliseconds(clocks.apart_s)} apart.")
    return tuple(lines)


def _within(value_s: float) -> str:
    """An error; what is smaller than anybody can check is not written as none."""
    return f"within {0.1:g}{THIN}ms" if value_s < 1e-4 else f"±{_milliseconds(value_s)}"


def _milliseconds(value_s: float) -> str:
    return f"{value_s * 1e3:.2g}{THIN}ms" if value_s < 0.0995 else f"{value_s * 1e3:.0f}{THIN}ms"


def rate_words(trigger: TriggerReading) -> str:
    """How often noise alone would start an event; empty unless armed on something."""
    if not trigger.noise_rate_hz:
        return ""
    return f"noise alone starts it about once in {time_words(1.0 / trigger.noise_rate_hz)}"


@dataclass(frozen=True, slots=True)
class Heard:
    """The sound for the meter: peaks of full scale (None: no sound), whether clipped, words."""

    now: float | None = None
    held: float = 0.0
    clipped: bool = False
    words: str = ""
    worry: bool = False


def heard(status: SessionStatus, settings: Settings) -> Heard:
    """Level, clipping, silence, and what to do about them."""
    level = status.trigger.level
    if status.sound is None:
        if not settings.sound.enabled:
            return Heard(words="sound is switched off: M switches it on")
        return Heard(
            words="no microphone answers: M chooses one; flashes are seen all the same",
            worry=True,
        )
    if not level:
        return Heard(words="no sound has come in yet")
    held = max(value for time_s, value in level if level[-1][0] - time_s <= CLIP_HELD_S)
    worry = _worry(level, held)
    words = worry or decibel_words(held)
    return Heard(level[-1][1], held, held >= CLIPPING, words, bool(worry))


def _worry(level: Sequence[tuple[float, float]], held: float) -> str:
    """What is wrong with the sound, and how to mend it; empty when nothing is."""
    if held >= CLIPPING:
        return "overdriven; turn the microphone down or move it away"
    near = strongest(level, SILENT_S) or 0.0
    if level[-1][0] - level[0][0] < 0.8 * SILENT_S or near >= FAINT:
        return ""
    if near <= 0.0:
        return "nothing but zeros: muted, unplugged, or the system does not allow it"
    return "hardly any sound: turn the microphone up"


def decibel_words(level: float) -> str:
    """Peak below full scale."""
    if level <= 0:
        return "silence"
    return f"peak {MINUS}{abs(20 * math.log10(level)):.0f}{THIN}dB of full scale"


def raw_rate(source: SourceInfo, rate_hz: float | None) -> float | None:
    """Bytes a second that an event takes on the disk while it is caught; None if not known."""
    rate = rate_hz or source.rate_hz
    if rate is None or not math.isfinite(rate):
        return None
    size = source.width * source.height * source.channels * source.dtype.itemsize
    return size * rate


def sound_title(name: str) -> str:
    """What is heard, as a heading; the simulated rig's scene stands at the top of the window."""
    if name.startswith("simulated: "):
        return "Sound of the simulated rig"
    return f"Sound: {name}" if name else "Sound"


def space_words(store: StoreStatus, per_second: float | None, reserve_mb: int) -> str:
    """Free space, less the reserve, and what it means in time."""
    if store.free_bytes is None:
        return "where events go cannot be asked for its free space"
    free = max(store.free_bytes - reserve_mb * 1e6, 0.0)
    words = f"{data_size(free)} free"
    if per_second:
        words += f": {time_words(free / per_second)} of the camera's frames"
    return words


def time_words(value_s: float) -> str:
    """A rough length of time: ``40 s``, ``12 min``, ``3 h``."""
    if value_s < 100:
        return f"{value_s:.0f}{THIN}s"
    if value_s < 6000:
        return f"{value_s / 60:.0f}{THIN}min"
    return f"{value_s / 3600:.0f}{THIN}h" if value_s < 36e5 else f"over 1000{THIN}h"


def store_words(store: StoreStatus) -> str:
    """What the recorder does at present."""
    parts = []
    if store.writing:
        waiting = f", {count(store.waiting_frames, 'frame waits', 'frames wait')} in memory"
        parts.append("writing" + (waiting if store.waiting_frames else ""))
    if store.converting:
        parts.append(f"{count(store.converting, 'event is', 'events are')} being compressed")
    idle = "all that was caught is on the disk" if store.events_kept else "nothing to write"
    return "; ".join(parts) or idle


def card_words(card: EventCard) -> tuple[str, str]:
    """Two lines about an event: what started it, how strong; when, how many sparks."""
    if card.cause is None:
        return (card.name, card.words)
    title = first_up(CAUSE_WORDS[card.cause])
    if card.strength and card.cause not in (Cause.HAND, Cause.COUNT):
        title += f"{DOT}{times_noise(card.strength)}"
    parts = [clock_words(card.started_at)]
    if card.cause not in (Cause.HAND, Cause.COUNT) or card.sparks > 1:
        parts.append(count(card.sparks, "spark", "sparks"))
    if not card.converted:
        parts.append("raw")
    elif not card.complete:
        parts.append("cut short")
    return (title, DOT.join(parts))


def clock_words(started_at: str, today: datetime | None = None) -> str:
    """Time of day; with its date when that is another day."""
    try:
        when = datetime.fromisoformat(started_at)
    except ValueError:
        return started_at
    now = today or datetime.now().astimezone()
    if when.date() == now.date():
        return f"{when:%H:%M:%S}"
    return f"{when:%Y-%m-%d %H:%M}"


def strongest(signal: Sequence[tuple[float, float]], seconds_back: float) -> float | None:
    """Largest strength of the last seconds."""
    if not signal:
        return None
    end_s = signal[-1][0]
    return max(value for time_s, value in signal if end_s - time_s <= seconds_back)

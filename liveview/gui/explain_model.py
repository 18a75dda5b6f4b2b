"""What the explaining drawing shows at a moment: blade, bent rays and the mirror's brightness.

Lengths in the lamp's image are in units of its width ``a``, places on the mirror in units of its
radius, along ``n`` from the centre towards the side from which the blade comes in.

::

      open side                          n: side of the blade
          |<----------- a ----------->|
          |    passes    |############|####  blade
         -0.5            edge        +0.5     place in the lamp's image

Brightness is computed as for a real mirror (``optics.deflection``); how strongly air bends light in
a scene is chosen so that it shows.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from liveview.errors import BadRequest
from liveview.gui.words import THIN
from liveview.model import Side
from liveview.optics.blade import LampShape, position_from_uncut, uncut_from_position
from liveview.optics.deflection import angle_range
from liveview.optics.rig import RigGeometry
from liveview.optics.scale import geometry
from liveview.optics.sound import sound_speed
from liveview.settings import Settings
from liveview.units import rad_to_arcsec

LEAST_UNCUT, MOST_UNCUT = 0.02, 0.98
"""Angles are told between these: elsewhere hardly anything passes, or hardly anything is cut."""

PUFF = 0.34
"""Radius at which a puff of warm air bends light most, of the mirror's."""

FRONT_WIDTH = 0.07
"""Half the thickness of a spark's front as drawn, of the mirror's radius."""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class RigNow:
    """The rig and where its blade stands.

    ``uncut`` is None while it is not measured; the drawing then has the blade at ``target``.
    """

    rig: RigGeometry
    shape: LampShape
    side: Side
    target: float
    temperature_k: float
    uncut: float | None = None

    @property
    def drawn(self) -> float:
        """The uncut fraction as drawn."""
        return self.target if self.uncut is None else min(max(self.uncut, 0.0), 1.0)

    @property
    def cut(self) -> float:
        """How far the drawn blade has come into the lamp's image, in widths of it."""
        return position_from_uncut(self.drawn, 1.0, self.shape)

    def brightness(self, cut: float, shift: Array) -> Array:
        """Share of the light that passes where the image moves by ``shift`` away from the blade."""
        return np.asarray(uncut_from_position(cut - np.asarray(shift), 1.0, self.shape))

    def angles(self, uncut: float) -> tuple[float, float]:
        """Bends per pass at which a point gets black (negative) and fully bright, radians."""
        return angle_range(self.rig.arm_sum_m, self.rig.image_width_m, uncut, self.shape)


def rig_now(settings: Settings) -> RigNow | str:
    """The rig of the settings, or in words why there can be none."""
    try:
        rig = geometry(settings)
    except BadRequest as error:
        return str(error)
    return RigNow(
        rig,
        settings.lamp.shape,
        settings.blade.side,
        settings.blade.target_uncut,
        settings.rig.temperature_k,
    )


@dataclass(frozen=True, slots=True)
class Air:
    """How the air in front of the mirror bends light at a moment.

    ``puff`` is the largest shift of the lamp's image by a puff of warm air of radius
    ``puff_radius``, ``front`` that by the two faces of a thin shell of dense air of radius
    ``front_radius``; both in widths of the lamp's image.
    """

    puff: float = 0.0
    puff_radius: float = PUFF
    front: float = 0.0
    front_radius: float = 0.0

    def outward(self, radius: Array) -> Array:
        """Shift away from the centre, from the bend towards denser air, at these radii."""
        r = radius / self.puff_radius
        warm = self.puff * r * np.exp(0.5 - r * r / 2.0)
        if self.front == 0.0:
            return np.asarray(warm)
        q = (radius - self.front_radius) / FRONT_WIDTH
        return np.asarray(warm - self.front * q * np.exp(0.5 - q * q / 2.0))

    def shift_at(self, place: float) -> float:
        """Shift away from the blade of light from this place on the line along ``n``."""
        way = -1.0 if place > 0.0 else 1.0
        return way * float(self.outward(np.asarray(abs(place))))


@dataclass(frozen=True, slots=True)
class Moment:
    """Everything drawn at one time.

    ``cut`` is how far the blade has come into the lamp's image (negative: clear of it), ``places``
    are where the traced rays leave the mirror, ``words`` what is said, ``figure`` a number of this
    rig, ``presence`` 0..1 how far the words have faded in. ``curve`` asks for brightness against
    blade in place of the lamp's image.
    """

    cut: float
    air: Air
    places: tuple[float, ...]
    words: str
    figure: str = ""
    presence: float = 1.0
    curve: bool = False


@dataclass(frozen=True, slots=True)
class Story:
    """One scene: its name, its length, and what it shows ``t`` seconds after it began."""

    title: str
    seconds: float
    at: Callable[[RigNow, float], Moment]


def eased(t: float, start: float, end: float) -> float:
    """0 before ``start``, 1 after ``end``, with a soft beginning and end between."""
    x = min(max((t - start) / (end - start), 0.0), 1.0)
    return x * x * (3.0 - 2.0 * x)


def _rise_and_fall(t: float, up: tuple[float, float], down: tuple[float, float]) -> float:
    return eased(t, *up) - eased(t, *down)


def _share(value: float) -> str:
    return f"{value * 100:.0f}{THIN}%"


def _blade(rig: RigNow, t: float) -> Moment:
    words, figure = "The blade covers part of the lamp's image. The mirror dims evenly.", ""
    if rig.uncut is None:
        figure = "Not measured yet: drawn at its target."
    else:
        figure = f"Now {_share(rig.drawn)} of the image passes."
    # The traced point wanders: light of every point of the mirror meets in the one image.
    place = 0.75 * math.sin(2.0 * math.pi * t / BLADE_S)
    return Moment(rig.cut, Air(), (place,), words, figure)


BLADE_S = 11.0

HALF_WORDS = (
    "Blade out: bent light passes like the rest. Nothing shows.",
    "Half cut: room to get brighter, and as much to get darker.",
    "Nearly all cut: little light, and no room to get darker.",
)

CLEAR_CUT, HALF_CUT, DEEP_CUT = -0.4, 0.5, 0.88


def _half(rig: RigNow, t: float) -> Moment:
    now = rig.cut
    # Out of the image, half-way in, nearly in, and back when the air is quiet again.
    cut = now + (CLEAR_CUT - now) * eased(t, 0.5, 3.0)
    cut += (HALF_CUT - CLEAR_CUT) * eased(t, 6.0, 8.5)
    cut += (DEEP_CUT - HALF_CUT) * eased(t, 11.5, 13.5)
    cut += (now - DEEP_CUT) * eased(t, 17.0, 19.0)
    air = Air(puff=0.3 * _rise_and_fall(t, (3.0, 4.5), (15.5, 17.0)))
    stage = 0 if t < 7.5 else 1 if t < 12.5 else 2
    presence = min(min(abs(t - seam) / 0.7, 1.0) for seam in (7.5, 12.5))
    return Moment(cut, air, (PUFF, -PUFF), HALF_WORDS[stage], "", presence, curve=True)


def _bent(rig: RigNow, t: float) -> Moment:
    strength = 0.34 * _rise_and_fall(t, (1.5, 4.5), (10.0, 12.5))
    words = "Warm air bends light outwards. Onto the blade: dark. Past it: bright."
    figure, uncut = "", rig.drawn
    if LEAST_UNCUT <= uncut <= MOST_UNCUT:
        black, full = (abs(rad_to_arcsec(angle)) for angle in rig.angles(uncut))
        figure = f"This rig: black at {black:.3g}\u2033, full light at {full:.3g}\u2033."
    return Moment(rig.cut, Air(puff=strength), (PUFF, -PUFF), words, figure)


def _spark(rig: RigNow, t: float) -> Moment:
    radius = 0.12 + 0.93 * min(max((t - 2.0) / 8.5, 0.0), 1.0)
    front = 0.36 * _rise_and_fall(t, (1.2, 3.0), (8.5, 10.5))
    kernel = 0.42 * _rise_and_fall(t, (1.0, 2.5), (10.0, 12.0))
    air = Air(kernel, 0.10 + 0.06 * eased(t, 2.0, 9.0), front, radius)
    outside = min(radius + FRONT_WIDTH, 1.0)
    words = "Its front is a thin shell of dense air. The shell's faces bend light both ways."
    crossing = rig.rig.object_field_m / 2.0 / sound_speed(rig.temperature_k)
    figure = f"At the speed of sound: centre to rim in {crossing * 1e3:.2g}{THIN}ms."
    return Moment(rig.cut, air, (outside, -outside), words, figure)


STORIES = (
    Story("What the blade does", BLADE_S, _blade),
    Story("Why half cut", 20.0, _half),
    Story("Bright or dark", 14.0, _bent),
    Story("What a spark does", 14.0, _spark),
)
"""The scenes in their order. Each begins and ends with quiet air and the blade where it is."""

FADE_S = 0.8
"""Words fade in and out in this time."""


def moment(rig: RigNow, scene: int, t: float) -> Moment:
    """The scene ``t`` seconds after its beginning, its words faded at both ends."""
    story = STORIES[scene]
    now = story.at(rig, t)
    fade = min(t / FADE_S, (story.seconds - t) / FADE_S, 1.0)
    return replace(now, presence=now.presence * max(fade, 0.0))

"""Readings of the chain: blade, noise and histogram as they cross to the screen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from liveview.engine.boxlight import SomeLight
from liveview.engine.ground import Ground, Place
from liveview.engine.lifting import Lifted
from liveview.engine.painting import Painted
from liveview.errors import BadRequest
from liveview.imaging.blade import BladeFit, advice
from liveview.imaging.cv import cv2
from liveview.imaging.lamp import block_side
from liveview.imaging.noise import PhotonTransfer, contrast_sigma
from liveview.imaging.verdict import MEASURING, flow_share, verdict
from liveview.model import BladeReading, Frame, Histogram, NoiseReading
from liveview.optics import scale as optics_scale
from liveview.optics.blade import axial_offset_from_tilt, position_from_uncut
from liveview.optics.rig import RigGeometry
from liveview.settings import Settings
from liveview.units import ARCSEC_RAD

_VERDICT_S = 0.25
"""Time for which a verdict stands."""


@dataclass(frozen=True, slots=True)
class Gauges:
    """What was read from one frame beside its picture.

    ``counted`` are edges and counts in contrast, ``factor`` what one unit of contrast is in
    ``unit``, ``clipped`` the shares of the disc at the bottom and at the top code.
    """

    blade: BladeReading
    histogram: Histogram
    counted: tuple[NDArray[np.float64], NDArray[np.int64]]
    unit: str
    factor: float
    clipped: tuple[float, float]
    unit_words: str


def count_clipped(frame: Frame, place: Place, lifted: Lifted) -> tuple[float, float]:
    """Shares of the disc at the bottom and at the top code."""
    fine = cv2.countNonZero(cv2.bitwise_and(lifted.unclipped, place.inside))
    if place.count in (0, fine):
        return 0.0, 0.0
    codes = frame.pixels[place.box]
    highest = codes if codes.ndim == 2 else codes.max(axis=2)
    top = cv2.inRange(highest, frame.white, 65535)
    bright = cv2.countNonZero(cv2.bitwise_and(top, place.inside))
    return max(place.count - fine - bright, 0) / place.count, bright / place.count


class BladeGauge:
    """The blade's reading with distances where the rig and the tilt allow them."""

    def __init__(self) -> None:
        self._settings: Settings | None = None
        self._rig: RigGeometry | None = None

    def read(
        self,
        settings: Settings,
        fit: BladeFit | None,
        relative: float | None,
        clipped_dark: float,
    ) -> BladeReading:
        """From the fit of one frame (None without dark and open pictures, or light)."""
        side = settings.blade.side
        if fit is None:
            words = "no light passes the blade: draw it back" if clipped_dark > 0.9 else ""
            return BladeReading(side, relative=relative, advice=words)
        target, band = settings.blade.target_uncut, settings.blade.target_band
        offset, travel = self._distances(settings, fit, clipped_dark)
        return BladeReading(
            side=side,
            uncut=fit.uncut,
            tilt_across=fit.tilt_across,
            tilt_along=fit.tilt_along,
            tilt_sigma=fit.tilt_sigma,
            axial_offset_m=offset,
            travel_m=travel,
            advice=advice(side, fit.uncut, fit.tilt_across, fit.tilt_sigma, target, band),
        )

    def _distances(
        self, settings: Settings, fit: BladeFit, clipped_dark: float
    ) -> tuple[float | None, float | None]:
        """Axial offset and how far the edge has come into the lamp's image, metres."""
        if settings is not self._settings:
            self._settings, self._rig = settings, _rig_of(settings)
        rig = self._rig
        if rig is None or not 0.0 <= fit.uncut <= 1.0:
            return None, None
        width, shape = rig.image_width_m, settings.lamp.shape
        travel = position_from_uncut(fit.uncut, width, shape)
        if fit.tilt_across is None or clipped_dark > _MOST_DARK:
            return None, travel
        found = axial_offset_from_tilt(
            fit.tilt_across,
            fit.uncut,
            width,
            settings.rig.mirror_diameter_m,
            rig.blade_distance_m,
            shape,
            tilt_sigma=fit.tilt_sigma or 0.0,
        )
        return found.offset_m, travel


_MOST_DARK = 0.02
"""With more of the disc fully dark a tilt says only the direction."""


def _rig_of(settings: Settings) -> RigGeometry | None:
    try:
        return optics_scale.geometry(settings)
    except BadRequest:
        return None


class NoiseGauge:
    """Noise of the picture as shown; worked out anew only when the meter has news."""

    def __init__(self) -> None:
        self._from: tuple[object, object] | None = None
        self._single: float | None = None

    def single(self, found: PhotonTransfer | None, ground: Ground | None) -> float | None:
        """Contrast noise of one pixel of a single frame against a noise-free reference."""
        if found is None or ground is None:
            return None
        if self._from is None or self._from[0] is not found or self._from[1] is not ground:
            self._from = (found, ground)
            self._single = contrast_sigma(
                found, ground.reference_samples, ground.reference_samples, ground.dark_samples
            )
        return self._single

    def read(self, found: PhotonTransfer | None, lifted: Lifted, white: int) -> NoiseReading:
        """Noise of what is shown."""
        averaged = max(1, round(lifted.averaged))
        single = self.single(found, lifted.ground)
        if found is None or single is None:
            return NoiseReading(averaged=averaged)
        # With less light than in the reference the photons' share of the noise grows.
        dimmed = max(lifted.lamp_gain or 1.0, 0.01) ** -0.5
        of_frame = single * lifted.frame_noise * dimmed
        of_reference = single / lifted.ground.frames**0.5
        return NoiseReading(
            gain=None if found.gain is None else found.gain * white,
            dark_sigma=None if found.dark_variance is None else found.dark_variance**0.5 * white,
            contrast_sigma=(of_frame**2 + of_reference**2) ** 0.5 * lifted.noise,
            averaged=averaged,
        )


def unit_factor(
    settings: Settings, uncut: float | None, sigma: float | None
) -> tuple[str, float, str]:
    """Unit that can be shown, what one unit of contrast is in it, and words if not as wanted."""
    wanted = "sigma" if settings.enhance.view == "significance" else settings.enhance.unit
    if wanted == "sigma":
        if sigma is not None and sigma > 0:
            return "sigma", 1.0 / sigma, ""
        return "contrast", 1.0, "noise not known yet: shown in contrast"
    if wanted == "arcsec":
        angles = optics_scale.angle_scale(settings, uncut)
        if angles is not None:
            return "arcsec", angles.rad_per_contrast / ARCSEC_RAD, ""
        return "contrast", 1.0, "no angles without dark and open pictures: shown in contrast"
    return "contrast", 1.0, ""


def scale_in_unit(painted: Painted, unit: str, factor: float) -> float | None:
    """What the palette's end stands for, in the unit shown."""
    if painted.scale is None or (painted.in_sigma and unit == "sigma"):
        return painted.scale
    return painted.scale * factor


def read_histogram(
    counted: tuple[NDArray[np.float64], NDArray[np.int64]],
    above: float | None,
    unit: str,
    factor: float,
    sigma: float | None,
    clipped: tuple[float, float],
    uncut: float | None,
) -> Histogram:
    """The histogram in the unit shown, without a verdict; ``above`` is the share beyond noise."""
    edges, counts = counted
    known = uncut is not None and uncut > 0
    return Histogram(
        unit=unit,
        edges=edges * factor,
        counts=counts,
        noise_sigma=None if sigma is None else sigma * factor,
        above_noise=above,
        clipped_dark=clipped[0],
        clipped_bright=clipped[1],
        range_low=-factor if known else None,
        range_high=(1.0 / uncut - 1.0) * factor if known and uncut is not None else None,
        per_contrast=factor,
    )


class VerdictGauge:
    """The histogram's verdict, renewed a few times a second so that it can be read."""

    def __init__(self) -> None:
        self._words = ""
        self._said_s: float | None = None

    def restart(self) -> None:
        """Say something new at the next frame."""
        self._said_s = None

    def read(
        self, histogram: Histogram, lifted: Lifted, single: float | None, time_s: float
    ) -> str:
        """The verdict on a frame of this time; ``single`` is the noise of a single frame."""
        due = self._said_s is None or not 0.0 <= time_s - self._said_s < _VERDICT_S
        if due or self._words == MEASURING:
            side = block_side(lifted.light.shape)
            flow = flow_share(lifted.blocks, lifted.gain, side, single)
            self._words, self._said_s = verdict(histogram, flow), time_s
        return self._words


class RelativeLight:
    """Mean light of the disc against the brightest seen: the meter before any calibration."""

    def __init__(self) -> None:
        self._brightest = 0.0

    def read(self, light: SomeLight, place: Place, step: int = 7) -> float | None:
        """0..1; None when the disc is empty."""
        inside = place.inside[::step, ::step] > 0
        if not inside.any():
            return None
        mean = float(light[::step, ::step][inside].mean())
        self._brightest = max(self._brightest, mean)
        return mean / self._brightest if self._brightest > 0 else 0.0

    def hold(self, light: float) -> None:
        """Something this bright was seen elsewhere (the open picture)."""
        self._brightest = max(self._brightest, light)

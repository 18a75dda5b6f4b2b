"""Temperature of a round plume from the contrast along a line across it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from liveview.errors import BadRequest
from liveview.model import Calibration, Disc, Light, Side
from liveview.optics.gas import AIR, Gas
from liveview.optics.plume import PlumeProfile, plume_from_angles
from liveview.optics.scale import AngleScale, angle_scale
from liveview.review.measure.geometry import Scale
from liveview.review.measure.quantity import NORMAL_95, Measurement, Quantity
from liveview.settings import Settings

Floats = NDArray[np.float64]

RIG_RELATIVE_SIGMA = 0.05
"""Standard uncertainty of contrast to angle from lengths of a rig that were not measured well."""


def uncut_of(calibration: Calibration, disc: Disc | None) -> float | None:
    """Uncut fraction of the reference: its light over the open picture's, dark taken off.

    Mean over the middle of the disc (0.8 of its radius), clipped pixels left out; None without
    all three pictures.
    """
    dark, lit, cut = calibration.dark, calibration.open, calibration.reference
    if dark is None or lit is None or cut is None:
        return None
    rows, columns = lit.light.shape
    good = np.ones((rows, columns), bool)
    if disc is not None:
        y, x = np.mgrid[:rows, :columns]
        good = np.hypot(x - disc.cx, y - disc.cy) < 0.8 * disc.radius
    for picture in (lit, cut):
        if picture.clipped is not None:
            good &= ~picture.clipped
    full = (lit.light - dark.light)[good].astype(np.float64).sum()
    passed = (cut.light - dark.light)[good].astype(np.float64).sum()
    return float(passed / full) if full > 0 else None


def across_plume(
    contrasts: Sequence[Light], side: Side, line: int, first: int, last: int, width_px: int = 1
) -> tuple[Floats, Floats]:
    """Mean contrast along one row (blade left or right) or column, and its standard error.

    Parameters
    ----------
    line : int
        Row of the picture for a blade from the left or right, else column.
    first, last : int
        Where the line begins and ends, inclusive, along columns (or rows).
    width_px : int
        Rows (or columns) averaged about ``line``.

    Raises
    ------
    ValueError
        Outside the picture, or no contrast there.
    """
    low = max(0, line - (width_px - 1) // 2)
    turned = [c if side in (Side.LEFT, Side.RIGHT) else c.T for c in contrasts]
    if not turned:
        raise ValueError("there is no frame to measure in")
    rows, columns = turned[0].shape
    if not (0 <= line < rows and 0 <= first < last < columns):
        raise ValueError("the line must lie inside the picture")
    stack = np.concatenate([c[low : low + width_px, first : last + 1] for c in turned])
    seen = np.isfinite(stack).sum(axis=0)
    if np.any(seen == 0):
        raise ValueError("the line leaves the disc or is clipped: shorten it")
    mean: Floats = np.asarray(np.nanmean(stack, axis=0, dtype=np.float64))
    if len(stack) < 3:
        rough = np.diff(mean, 2)
        noise = 1.4826 * float(np.median(np.abs(rough))) / np.sqrt(6.0)
        return mean, np.full(mean.shape, noise)
    spread = np.asarray(np.nanstd(stack, axis=0, dtype=np.float64))
    return mean, spread / np.sqrt(np.maximum(seen - 1, 1))


def outward_angles(contrast: Floats, scale: AngleScale, side: Side) -> Floats:
    """Angles towards growing position along the line, from contrast.

    Light bent towards the side opposite to the blade brightens.
    """
    towards = -1.0 if side in (Side.RIGHT, Side.BOTTOM) else 1.0
    return towards * np.asarray(scale.angle(contrast), dtype=np.float64)


def plume_profile(
    contrast: Floats,
    contrast_sigma: float,
    settings: Settings,
    uncut: float | None,
    scale: Scale,
    *,
    gas: Gas = AIR,
    factor: float = 1.0,
    centre_m: float | None = None,
) -> PlumeProfile:
    """Abel-inverted profile of a round plume from the contrast along a line across it.

    Parameters
    ----------
    factor : float
        Multiplies the angles; for the effect of an uncertain rig.

    Raises
    ------
    BadRequest
        The uncut fraction is not known, or the contrast is outside what the blade can give.
    """
    angles = angle_scale(settings, uncut)
    if angles is None:
        raise BadRequest(
            "no angle without the uncut fraction",
            "plume temperature",
            "take dark, open and reference pictures",
        )
    eps = factor * outward_angles(contrast, angles, settings.blade.side)
    if not np.all(np.isfinite(eps)):
        raise BadRequest(
            "part of the line is fully dark or fully open",
            "plume temperature",
            "cut less, or choose a line farther up the plume",
        )
    try:
        return plume_from_angles(
            np.arange(len(eps), dtype=np.float64) * scale.metres_per_px,
            eps,
            centre_m=centre_m,
            eps_sigma_rad=contrast_sigma * angles.rad_per_contrast,
            temperature_k=settings.rig.temperature_k,
            pressure_pa=settings.rig.pressure_pa,
            wavelength_m=settings.lamp.wavelength_m,
            gas=gas,
        )
    except ValueError as error:
        raise BadRequest(str(error), "plume temperature", "mark a longer line") from error


def measure_plume(
    contrasts: Sequence[Light],
    settings: Settings,
    uncut: float | None,
    scale: Scale,
    line: int,
    first: int,
    last: int,
    *,
    width_px: int = 3,
    rig_relative_sigma: float = RIG_RELATIVE_SIGMA,
) -> tuple[Measurement, PlumeProfile]:
    """Highest temperature of a round plume of air, near its axis, with its uncertainty.

    The uncertainty holds the noise of the line and ``rig_relative_sigma`` of the angles.

    Raises
    ------
    BadRequest, ValueError
        See :func:`plume_profile` and :func:`across_plume`.
    """
    mean, errors = across_plume(contrasts, settings.blade.side, line, first, last, width_px)
    noise = float(np.median(errors))
    profile = plume_profile(mean, noise, settings, uncut, scale)
    middle = slice(0, max(1, len(profile.r_m) // 20))
    weights = 1.0 / np.maximum(profile.temperature_sigma_k[middle], 1e-6) ** 2
    value = float(np.average(profile.temperature_k[middle], weights=weights))
    by_noise = float(np.min(profile.temperature_sigma_k[middle]))
    more = plume_profile(
        mean,
        noise,
        settings,
        uncut,
        scale,
        factor=1.0 + rig_relative_sigma,
        centre_m=profile.centre_m,
    )
    by_rig = abs(float(np.average(more.temperature_k[middle], weights=weights)) - value)
    reach = NORMAL_95 * float(np.hypot(by_noise, by_rig))
    words = ["gas beyond the ends of the line was missed: mark a longer one"] * profile.beyond
    if profile.lopsided > 0.2:
        words.append(f"not round: {profile.lopsided:.0%} of the angles do not fit a round plume")
    measurement = Measurement(
        "plume temperature",
        {
            "temperature": Quantity(value, value - reach, value + reach, "K"),
            "noise_part": Quantity.normal(0.0, by_noise, "K"),
            "rig_part": Quantity.normal(0.0, by_rig, "K"),
        },
        {
            "line": line,
            "first": first,
            "last": last,
            "width_px": width_px,
            "frames": len(contrasts),
            "uncut": uncut,
            "scale": scale.how,
        },
        (*profile.assumptions, f"angles known to {rig_relative_sigma:.0%} (rig)"),
        "; ".join(words),
    )
    return measurement, profile


def plume_table(profile: PlumeProfile) -> str:
    """The profile as CSV."""
    columns = (
        profile.r_m,
        profile.index_change,
        profile.index_sigma,
        profile.temperature_k,
        profile.temperature_sigma_k,
    )
    rows = (",".join(f"{v:.6g}" for v in row) for row in zip(*columns, strict=True))
    return "\n".join(("r_m,index_change,index_sigma,temperature_k,sigma_k", *rows)) + "\n"

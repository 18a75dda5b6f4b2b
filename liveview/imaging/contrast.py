"""Signed contrast: ``C = (I - I_ref) / (I_ref - I_dark)``, in linear light.

The fast way is two OpenCV calls per frame: ``ratio = I * recip - offset`` with
``recip = 1/(I_ref - I_dark)`` and ``offset = I_dark * recip``. Then ``C = ratio / g - 1``, where
``g`` is the lamp's brightness against the reference; it costs nothing because the display and
the histogram scale the ratio anyway.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from liveview.imaging.cv import cv2
from liveview.model import Bytes, Light


@dataclass(frozen=True, slots=True)
class ContrastPlan:
    """What stays the same from frame to frame; all arrays (rows, columns).

    ``valid`` is 255 where the reference has enough light to divide by. Elsewhere ``recip`` is 0
    and ``offset`` -1, so that the ratio is 1 and the contrast 0: dust stays invisible.
    """

    recip: Light
    offset: Light
    valid: Bytes


def contrast_plan(
    reference: Light, dark: Light | None, inside: Bytes, least_light: float = 0.0
) -> ContrastPlan:
    """Prepare the division.

    Parameters
    ----------
    reference, dark : ndarray, float32, (rows, columns)
        Calibration pictures; without a dark one black is taken as 0.
    inside : ndarray, uint8
        255 where contrast is wanted (disc, calibration not clipped), else 0.
    least_light : float
        Reference light below this, or below 0.5 % of its 95th percentile, is not divided by.
    """
    light = reference if dark is None else cv2.subtract(reference, dark)
    within = inside > 0
    top = float(np.percentile(light[within], 95)) if within.any() else 0.0
    usable = within & (light > max(least_light, 0.005 * top, 1e-7))
    recip = np.zeros(light.shape, np.float32)
    np.divide(1.0, light, out=recip, where=usable)
    offset = np.zeros_like(recip) if dark is None else dark * recip
    offset[~usable] = -1.0
    return ContrastPlan(recip, offset, np.where(usable, 255, 0).astype(np.uint8))


def update_plan(plan: ContrastPlan, reference: Light, dark: Light | None, rows: slice) -> None:
    """Bring some rows of a plan up to date after the reference changed; ``valid`` stays."""
    light = reference[rows] if dark is None else cv2.subtract(reference[rows], dark[rows])
    usable = (plan.valid[rows] > 0) & (np.asarray(light) > 1e-7)
    np.divide(1.0, light, out=plan.recip[rows], where=usable)
    if dark is not None:
        np.multiply(dark[rows], plan.recip[rows], out=plan.offset[rows], where=usable)


def ratio_into(light: Light, plan: ContrastPlan, out: Light) -> Light:
    """``(I - I_dark)/(I_ref - I_dark)`` into ``out``; 1.0 where the plan is not valid."""
    cv2.multiply(light, plan.recip, out)
    cv2.subtract(out, plan.offset, out)
    return out


def signed_contrast(light: Light, reference: Light, dark: Light | float = 0.0) -> Light:
    """The definition, plainly: for tests and single pictures.

    Returns
    -------
    ndarray, float32, (rows, columns)
        -1 fully dark, 0 as the reference, NaN where the reference has no light.
    """
    below = np.asarray(reference - dark, np.float64)
    rise = np.asarray(light, np.float64) - reference
    contrast = np.divide(rise, below, out=np.full(below.shape, np.nan), where=below > 0)
    return np.asarray(contrast, np.float32)

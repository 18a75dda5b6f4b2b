"""Source: CAM16-UCS (Li et al. 2017) for evenness, Machado et al. 2009 ("A physiologically-based
model for simulation of color vision deficiency", IEEE Trans. Vis. Comput. Graph. 15:1291) for
colour blindness; both as coded in colour-science.
"""

from __future__ import annotations

import importlib.util
import warnings
from pathlib import Path

import numpy as np
import pytest

from liveview.imaging.palettes import ZERO, palette

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

spec = importlib.util.spec_from_file_location(
    "make_palettes", Path(__file__).with_name("make_palettes.py")
)
assert spec is not None and spec.loader is not None
make_palettes = importlib.util.module_from_spec(spec)
spec.loader.exec_module(make_palettes)

RGB = palette("signed")[:, 2::-1].astype(float) / 255


def test_the_shipped_table_is_what_the_script_makes() -> None:
    made = make_palettes.signed().astype(int)
    # Another version of the library may round one code differently.
    assert np.abs(made - np.rint(RGB * 255).astype(int)).max() <= 1


def test_equal_steps_look_equal() -> None:
    ucs = make_palettes.to_ucs(RGB)
    for half in (ucs[1 : ZERO + 1], ucs[ZERO:]):
        steps = np.linalg.norm(half[8:] - half[:-8], axis=1)
        # Codes are whole numbers: eight steps are about 4.5 units, a code about 0.3.
        assert steps.std() / steps.mean() < 0.06
    both = [np.linalg.norm(ucs[end] - ucs[ZERO]) for end in (1, 255)]
    assert both[0] == pytest.approx(both[1], rel=0.02)


def test_lightness_rises_both_ways() -> None:
    lightness = make_palettes.to_ucs(RGB)[:, 0]
    assert (np.diff(lightness[ZERO::4]) > 0).all()
    assert (np.diff(lightness[1 : ZERO + 1 : 4]) < 0).all()


@pytest.mark.parametrize("kind", ["Protanomaly", "Deuteranomaly", "Tritanomaly"])
def test_signs_stay_apart_with_colour_blindness(kind: str) -> None:
    with warnings.catch_warnings():
        # The library says that its tritanomaly is approximate.
        warnings.simplefilter("ignore")
        matrix = colour.blindness.matrix_cvd_Machado2009(kind, 1.0)
    linear = colour.models.eotf_sRGB(RGB)
    seen = colour.models.eotf_inverse_sRGB(np.clip(linear @ np.asarray(matrix).T, 0, 1))
    ucs = make_palettes.to_ucs(seen)
    for share in (0.5, 1.0):
        reach = int(127 * share)
        apart = np.linalg.norm(ucs[ZERO + reach] - ucs[ZERO - reach])
        # Colours 10 units apart are told apart at a glance; 2 is about the least that is seen.
        assert apart > 10 * share

"""Source: Machado, Oliveira and Fernandes 2009, "A physiologically-based model for simulation of
color vision deficiency" (matrices by colour-science), and CAM16-UCS (Li et al. 2017) for distances.

The window's colours that stand for a state must stay apart for people without one of the three
kinds of cones. Shapes and words stand beside them all the same (common practice).
"""

from __future__ import annotations

import itertools

import colour
import numpy as np
import pytest
from numpy.typing import NDArray

from liveview.gui.theme import COLOURS

STATES = ("text", "quiet", "brass", "shade", "ember")
KINDS = ("Protanomaly", "Deuteranomaly", "Tritanomaly")
APART = 5.0
"""CAM16-UCS distance; one is about the least that is seen side by side (Luo, Cui and Li 2006:
distances of 1 just noticeable), five is plain at a glance. From memory."""


def seen(name: str, kind: str | None) -> NDArray[np.float64]:
    """A theme colour in CAM16-UCS, as seen with this deficiency at full severity."""
    code = np.array(getattr(COLOURS, name).getRgbF()[:3])
    light = colour.cctf_decoding(code, function="sRGB")
    if kind is not None:
        light = np.clip(colour.blindness.matrix_cvd_Machado2009(kind, 1.0) @ light, 0.0, 1.0)
    xyz = colour.RGB_to_XYZ(light, "sRGB")
    return np.asarray(colour.XYZ_to_CAM16UCS(xyz))


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("kind", [None, *KINDS])
@pytest.mark.parametrize(("one", "other"), list(itertools.combinations(STATES, 2)))
def test_states_stay_apart(one: str, other: str, kind: str | None) -> None:
    assert np.linalg.norm(seen(one, kind) - seen(other, kind)) >= APART


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", STATES)
def test_every_state_stands_out_from_the_ground(name: str, kind: str) -> None:
    lightness = seen(name, kind)[0] - seen("ground", kind)[0]
    assert lightness >= 40.0

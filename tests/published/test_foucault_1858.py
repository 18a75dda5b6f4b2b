"""L. Foucault, 1858, the shadow test: a blade out of the focus darkens one side first.

The figures follow from similar triangles (rays through the axis of the mirror); the sign, which
side darkens, is the rule every mirror maker uses: with the blade inside the focus (nearer to the
mirror) the shadow comes from the blade's side. From memory of the rule, not read in the paper.
"""

from __future__ import annotations

import pytest

from liveview.optics.blade import AxialState, axial_offset_from_tilt, tilt_from_axial_offset


@pytest.mark.parametrize(
    ("offset", "width", "tilt"),
    [(1e-3, 1e-3, 0.066667), (2e-3, 1e-3, 0.133333), (1e-3, 2e-3, 0.033333)],
)
def test_ramp(offset: float, width: float, tilt: float) -> None:
    found = tilt_from_axial_offset(offset, 0.5, width, 0.2, 3.0)
    assert found == pytest.approx(tilt, abs=1e-6)  # digits of the figures
    assert tilt_from_axial_offset(-offset, 0.5, width, 0.2, 3.0) == pytest.approx(-tilt, abs=1e-6)
    back = axial_offset_from_tilt(tilt, 0.5, width, 0.2, 3.0)
    assert back.offset_m == pytest.approx(offset, rel=1e-5)
    assert back.state is AxialState.TOO_NEAR

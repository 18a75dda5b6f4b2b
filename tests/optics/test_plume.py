"""Round plumes: zero, known profiles, axis, noise, refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest

from liveview.optics import plume as p
from liveview.optics.gas import GASES, air_refractivity

STEP, SIZE, CORE = 2.5e-4, 5e-3, -1.5e-4
Y = np.arange(-80, 81) * STEP


def gaussian_angles(y: np.ndarray, centre: float = 0.0, core: float = CORE) -> np.ndarray:
    """Slope of the path through ``core exp(-r^2/s^2)`` (Bracewell's pair)."""
    off = y - centre
    return -2.0 * math.sqrt(math.pi) * core * off / SIZE * np.exp(-((off / SIZE) ** 2))


def test_no_bend_no_plume() -> None:
    found = p.plume_from_angles(Y, np.zeros_like(Y), centre_m=0.0)
    assert found.index_change == pytest.approx(np.zeros_like(found.r_m))
    assert found.temperature_k == pytest.approx(293.15)
    assert found.lopsided == 0.0


def test_gaussian_plume() -> None:
    found = p.plume_from_angles(Y, gaussian_angles(Y))
    truth = CORE * np.exp(-((found.r_m / SIZE) ** 2))
    # twenty samples over the radius; the method's error and that of the
    # trapezoids are some 1e-3 of the core each
    assert found.index_change == pytest.approx(truth, abs=3e-3 * abs(CORE))
    ambient = air_refractivity(293.15)
    assert found.temperature_k[0] == pytest.approx(293.15 * ambient / (ambient + CORE), rel=5e-3)
    assert found.temperature_k[-1] == pytest.approx(293.15, abs=0.2)
    assert not found.beyond
    assert found.lopsided < 1e-9
    assert found.assumptions


def test_result_does_not_depend_on_the_scale() -> None:
    near = p.index_from_angles(gaussian_angles(Y[80:]), STEP)
    far = p.index_from_angles(gaussian_angles(Y[80:]), 10.0 * STEP)
    assert near == pytest.approx(far)


@pytest.mark.parametrize("centre", [-3.1e-3, 0.07e-3, 2.345e-3])
def test_axis_is_found(centre: float) -> None:
    found = p.plume_from_angles(Y, gaussian_angles(Y, centre))
    assert found.centre_m == pytest.approx(centre, abs=0.05 * STEP)
    assert found.index_change[2] == pytest.approx(
        CORE * math.exp(-((2 * STEP / SIZE) ** 2)), rel=0.01
    )


def test_error_estimate_is_that_of_repeated_noise() -> None:
    rng = np.random.default_rng(11)
    clean = gaussian_angles(Y)
    sigma = 1e-6
    runs = [
        p.plume_from_angles(Y, clean + rng.normal(0, sigma, Y.size), centre_m=0.0).index_change
        for _ in range(300)
    ]
    told = p.plume_from_angles(Y, clean, centre_m=0.0, eps_sigma_rad=sigma).index_sigma
    # 300 runs know a standard deviation to 4 %; three of those. r = 0 has one angle, always 0
    assert np.std(runs, axis=0)[1:-1] == pytest.approx(told[1:-1], rel=0.13)


def test_error_is_largest_on_the_axis() -> None:
    told = p.plume_from_angles(Y, gaussian_angles(Y), eps_sigma_rad=1e-6)
    assert told.index_sigma[0] > 2.0 * told.index_sigma[40]
    assert told.temperature_sigma_k[0] > told.temperature_sigma_k[-1]


def test_lopsided_and_cut_off_plumes_are_told() -> None:
    tilted = gaussian_angles(Y) + 3e-5 * np.exp(-((Y / SIZE) ** 2))
    assert p.plume_from_angles(Y, tilted, centre_m=0.0).lopsided > 0.1
    near = np.abs(Y) < 1.2 * SIZE
    assert p.plume_from_angles(Y[near], gaussian_angles(Y[near])).beyond


def test_share_of_helium() -> None:
    helium = GASES["helium"]
    difference = helium.refractivity(293.15) - air_refractivity(293.15)
    found = p.plume_from_angles(Y, gaussian_angles(Y, core=0.6 * difference), gas=helium)
    assert found.gas_share is not None
    assert found.gas_share[0] == pytest.approx(0.6, abs=0.01)
    assert found.density[0] < found.density[-1]
    assert "helium" in found.assumptions[1]


def test_largest_angle_of_a_gaussian() -> None:
    fine = np.linspace(0, 4 * SIZE, 100_001)
    assert p.gaussian_plume_angle(CORE) == pytest.approx(
        np.abs(gaussian_angles(fine)).max(), rel=1e-6
    )


@pytest.mark.parametrize(
    ("y", "eps", "words"),
    [
        (Y[:5], Y[:5], "at least 8"),
        (Y, Y[:-1], "as many"),
        (Y[::-1], Y, "increasing"),
        (Y**3, Y, "evenly"),
        (Y, np.full_like(Y, np.nan), "finite"),
    ],
)
def test_refusals(y: np.ndarray, eps: np.ndarray, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        p.plume_from_angles(y, eps)


def test_axis_outside() -> None:
    with pytest.raises(ValueError, match="too near to the end"):
        p.plume_from_angles(Y, gaussian_angles(Y), centre_m=float(Y[-2]))

"""Shake is found to a few hundredths of a pixel and undone, also at the edges."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.imaging.steadiness import (
    MARGIN,
    Kernel,
    Steadiness,
    cubic_taps,
    move_back,
    move_mask_back,
)
from liveview.model import Light

SIZE = 300
CENTRE, RADIUS = 150.0, 118.0
RNG = np.random.default_rng(0)
DUST = [(*RNG.uniform(70, 230, 2), RNG.uniform(1.2, 3), RNG.uniform(0.1, 0.6)) for _ in range(30)]
Y, X = np.mgrid[:SIZE, :SIZE].astype(np.float64)
INSIDE = np.where(np.hypot(X - CENTRE, Y - CENTRE) < RADIUS + 4, 255, 0).astype(np.uint8)
SIGMA = 0.008


def mirror(
    dx: float = 0.0, dy: float = 0.0, *, plume: float = 0.0, lamp: float = 1.0
) -> np.ndarray:
    x, y = X - dx, Y - dy
    r = np.hypot(x - CENTRE, y - CENTRE)
    light = 0.4 * lamp * 0.5 * (1 - np.tanh((r - RADIUS) / 1.3)) * (1 - 0.4 * (r / RADIUS) ** 2)
    for px, py, size, depth in DUST:
        light *= 1 - depth * np.exp(-((x - px) ** 2 + (y - py) ** 2) / (2 * size**2))
    across = (x - CENTRE) / 15
    return light * (1 + plume * across * np.exp(0.5 - across**2 / 2))


def noisy(light: np.ndarray, seed: int = 1) -> Light:
    rng = np.random.default_rng(seed)
    return (light + SIGMA * rng.standard_normal(light.shape)).astype(np.float32)


def steadiness() -> Steadiness:
    return Steadiness(noisy(mirror(), 99), INSIDE)


SHIFTS = [(0.0, 0.0), (0.3, -0.7), (3.2, -2.6), (-3.5, 3.5), (6.0, -6.3), (0.5, 0.5)]


@pytest.mark.parametrize("shift", SHIFTS)
def test_found(shift: tuple[float, float]) -> None:
    found = steadiness().find(noisy(mirror(*shift)))
    assert found is not None
    # Noise gives 0.01; interpolating the frame between pixels another 0.02.
    assert (found.x, found.y) == pytest.approx(shift, abs=0.05)
    assert 0 < found.error < 0.05


@pytest.mark.parametrize("shift", SHIFTS[:4])
def test_flow_and_lamp_do_not_pull(shift: tuple[float, float]) -> None:
    found = steadiness().find(noisy(mirror(*shift, plume=0.25, lamp=0.85)))
    assert found is not None
    assert (found.x, found.y) == pytest.approx(shift, abs=0.06)


@pytest.mark.slow
def test_one_after_another() -> None:
    finder = steadiness()
    rng = np.random.default_rng(3)
    for number in range(20):
        shift = tuple(rng.uniform(-3, 3, 2))
        found = finder.find(noisy(mirror(*shift), number))
        assert found is not None
        assert (found.x, found.y) == pytest.approx(shift, abs=0.05)


@pytest.mark.parametrize(
    "light",
    [
        mirror(40, 0),
        np.full((SIZE, SIZE), 0.3),
        np.zeros((SIZE, SIZE)),
        mirror()[::-1, ::-1] * (np.random.default_rng(5).random((SIZE, SIZE)) > 0.5),
    ],
    ids=["too far", "even", "dark", "something else"],
)
def test_says_when_it_cannot(light: np.ndarray) -> None:
    assert steadiness().find(noisy(light)) is None


def test_nothing_to_hold_on_to() -> None:
    even = np.full((SIZE, SIZE), 0.3, np.float32)
    assert Steadiness(even, INSIDE).find(even) is None
    assert Steadiness(even[:20, :20], INSIDE[:20, :20]).find(even[:20, :20]) is None


def test_taps() -> None:
    assert cubic_taps(0.0).tolist() == [0, 1, 0, 0]
    for fraction in (0.1, 0.5, 0.9):
        taps = cubic_taps(fraction).astype(float)
        # They keep a constant and a ramp as they are.
        assert taps.sum() == pytest.approx(1, abs=1e-6)
        assert taps @ [-1, 0, 1, 2] == pytest.approx(fraction, abs=1e-6)


@pytest.mark.slow
@pytest.mark.parametrize("shift", [(0.0, 0.0), (2.0, -3.0), (0.3, -0.7), (-4.6, 5.2)])
def test_moving_back(shift: tuple[float, float]) -> None:
    smooth = (0.3 + 0.1 * np.sin((X - shift[0]) / 9) * np.cos((Y - shift[1]) / 7)).astype(
        np.float32
    )
    still = 0.3 + 0.1 * np.sin(X / 9) * np.cos(Y / 7)
    out = np.empty((SIZE - 2 * MARGIN, SIZE - 2 * MARGIN), np.float32)
    kernel = move_back(smooth, (MARGIN, MARGIN), shift, out)
    # Cubic interpolation of waves some 50 pixels long.
    assert out == pytest.approx(still[MARGIN:-MARGIN, MARGIN:-MARGIN], abs=1e-4)
    assert 0.4 < kernel.noise <= 1.0


def test_whole_pixels_are_exact() -> None:
    picture = np.random.default_rng(2).random((60, 70), np.float32)
    out = np.empty((30, 40), np.float32)
    assert move_back(picture, (15, 15), (3.0, -4.0), out) == Kernel()
    assert (out == picture[11:41, 18:58]).all()


def test_what_noise_becomes() -> None:
    picture = np.random.default_rng(2).standard_normal((400, 400)).astype(np.float32)
    out = np.empty((360, 360), np.float32)
    for shift in ((0.5, 0.5), (0.2, 0.0), (-0.7, 1.4)):
        kernel = move_back(picture, (20, 20), shift, out)
        assert out.std() == pytest.approx(kernel.noise, rel=0.02)
        two_apart = (out[:, 2:] - out[:, :-2]).var() / 2
        assert two_apart == pytest.approx(kernel.pairs, rel=0.03)


def test_masks_move_along_and_stop_at_the_frame() -> None:
    mask = np.full((40, 50), 255, np.uint8)
    mask[20, 25] = 0
    out = np.empty((40, 50), np.uint8)
    move_mask_back(mask, (0, 0), (3.4, -2.2), out)
    # Content is moved left by 3.4 and down by 2.2: two rows at the top and four columns at the
    # right come from outside, and one more each is mixed in.
    assert not out[:3].any() and not out[:, -5:].any()
    bad = np.add(np.argwhere(out[4:-2, 2:-6] == 0), (4, 2))
    assert ((bad >= (20, 19)) & (bad <= (25, 24))).all()
    assert 0 < len(bad) <= 16
    move_mask_back(np.full((40, 50), 255, np.uint8), (5, 5), (0.0, 0.0), out[:25, :30])
    assert out[:25, :30].all()

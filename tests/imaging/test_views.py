"""Significance, movement, trail and arrows."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.imaging.noise import PhotonTransfer
from liveview.imaging.views import (
    ARROW_S,
    TRAIL_S,
    Arrows,
    Movement,
    Trail,
    draw_arrows,
    inverse_noise,
)

SIZE = 240
Y, X = np.mgrid[:SIZE, :SIZE].astype(np.float32)


def blobs(x: float, y: float) -> np.ndarray:
    """A pattern of soft blobs moved by (x, y)."""
    return (0.1 * np.sin((X - x) / 11) * np.cos((Y - y) / 13)).astype(np.float32)


def test_significance_map() -> None:
    levels = np.array([0.1, 0.4])
    transfer = PhotonTransfer(levels, levels * 1e-3, 0.02, 1e-3, 1e-5, 0.0)
    reference = np.array([[0.12, 0.42, 0.01]], np.float32)
    dark = np.full((1, 3), 0.02, np.float32)
    found = inverse_noise(transfer, reference, dark, 4.0)
    expected = 0.4 / np.sqrt((1e-5 + 1e-3 * 0.4) * 1.25)
    assert found[0, 1] == pytest.approx(expected, rel=1e-4)
    assert found[0, 2] == 0


def test_movement_is_the_difference() -> None:
    movement = Movement()
    out = np.empty((SIZE, SIZE), np.float32)
    assert not movement.show(blobs(0, 0), out).any()
    assert movement.show(blobs(2, 0), out) == pytest.approx(blobs(2, 0) - blobs(0, 0), abs=1e-7)
    movement.restart()
    assert not movement.show(blobs(9, 0), out).any()


def test_trail_keeps_peaks_of_either_sign_and_fades() -> None:
    trail = Trail()
    out = np.empty((SIZE, SIZE), np.float32)
    bright = np.where(np.hypot(X - 60, Y - 60) < 20, 0.4, 0).astype(np.float32)
    dark = np.where(np.hypot(X - 160, Y - 60) < 20, -0.4, 0).astype(np.float32)
    trail.show(bright, 0.0, out)
    trail.show(dark, 0.1, out)
    trail.show(0 * dark, 0.2, out)
    assert out[60, 60] == pytest.approx(0.4 * np.exp(-0.2 / TRAIL_S), rel=1e-4)
    assert out[60, 160] == pytest.approx(-0.4 * np.exp(-0.1 / TRAIL_S), rel=1e-4)
    trail.show(0 * dark, 20.0, out)
    assert np.abs(out).max() < 0.002
    trail.restart()
    assert not trail.show(0 * dark, 21.0, out).any()


def test_trail_of_noise_is_faint() -> None:
    rng = np.random.default_rng(1)
    trail = Trail()
    out = np.empty((SIZE, SIZE), np.float32)
    for number in range(60):
        trail.show(0.02 * rng.standard_normal((SIZE, SIZE)).astype(np.float32), number / 60, out)
    assert out.std() < 0.01


@pytest.mark.parametrize("velocity", [(90.0, 0.0), (0.0, -120.0), (60.0, 60.0)])
def test_arrows_give_the_speed(velocity: tuple[float, float]) -> None:
    arrows = Arrows()
    speeds = None
    for number in range(20):
        t = number / 60
        speeds = arrows.see(blobs(velocity[0] * t, velocity[1] * t), 0.2, 0.002, t)
    assert speeds is not None
    inner = speeds[1:-1, 1:-1]
    middle = np.nanmedian(inner.reshape(-1, 2), axis=0)
    # The method is quick rather than exact.
    assert middle == pytest.approx(velocity, abs=0.15 * np.hypot(*velocity))


def test_no_arrows_in_noise() -> None:
    rng = np.random.default_rng(2)
    arrows = Arrows()
    for number in range(4):
        noise = (0.02 * rng.standard_normal((SIZE, SIZE))).astype(np.float32)
        speeds = arrows.see(noise, 0.1, 0.02, number / 60)
    assert speeds is not None
    assert np.isfinite(speeds).mean() < 0.05


def test_arrows_need_two_frames_and_some_size() -> None:
    arrows = Arrows()
    assert arrows.see(blobs(0, 0), 0.2, 0.01, 0.0) is None
    assert arrows.see(blobs(0, 0), 0.2, 0.01, 0.0) is None
    assert arrows.see(blobs(0, 0), 0.2, 0.01, 9.0) is None
    assert Arrows().see(blobs(0, 0)[:50, :50], 0.2, 0.01, 0.0) is None


def test_arrows_are_drawn_where_they_are() -> None:
    picture = np.zeros((SIZE, SIZE, 4), np.uint8)
    speeds = np.full((7, 7, 2), np.nan, np.float32)
    speeds[2, 3] = (25 / ARROW_S, 0)
    draw_arrows(speeds, picture)
    rows, columns = np.nonzero(picture[:, :, :3].any(axis=2))
    assert rows.min() > 65 and rows.max() < 95
    assert columns.min() > 105 and columns.max() < 145
    before = picture.copy()
    speeds[2, 3] = (1.0, 0)
    draw_arrows(speeds, picture)
    assert (picture == before).all()

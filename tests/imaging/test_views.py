"""Significance, movement and trail."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.imaging.noise import PhotonTransfer
from liveview.imaging.views import (
    TRAIL_S,
    Movement,
    Trail,
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

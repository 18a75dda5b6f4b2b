"""Arrows: speeds of patterns that move, none where nothing does, a length that is stated."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.imaging.arrows import GRID_PX, TIMES_S, Arrows, ArrowScale, draw_arrows
from liveview.imaging.cv import cv2

SIZE = 240
Y, X = np.mgrid[:SIZE, :SIZE].astype(np.float32)
FRAMES = 30


def blobs(x: float, y: float) -> np.ndarray:
    """A pattern of soft blobs moved by (x, y)."""
    return (0.1 * np.sin((X - x) / 11) * np.cos((Y - y) / 13)).astype(np.float32)


@pytest.mark.parametrize("velocity", [(90.0, 0.0), (0.0, -120.0), (60.0, 60.0), (240.0, 0.0)])
def test_arrows_give_the_speed(velocity: tuple[float, float]) -> None:
    arrows = Arrows()
    speeds = None
    for number in range(FRAMES):
        t = number / 60
        speeds = arrows.see(blobs(velocity[0] * t, velocity[1] * t), 0.2, 0.002, t)
    assert speeds is not None
    inner = speeds[1:-1, 1:-1]
    middle = np.nanmedian(inner.reshape(-1, 2), axis=0)
    # The method is quick rather than exact.
    assert middle == pytest.approx(velocity, abs=0.15 * np.hypot(*velocity))
    assert np.isfinite(inner[..., 0]).mean() > 0.7


def test_no_arrows_in_noise() -> None:
    rng = np.random.default_rng(2)
    arrows = Arrows()
    for number in range(FRAMES):
        noise = (0.02 * rng.standard_normal((SIZE, SIZE))).astype(np.float32)
        speeds = arrows.see(noise, 0.1, 0.02, number / 60)
    assert speeds is not None
    assert not np.isfinite(speeds).any()


def still(number: int, noise: float) -> np.ndarray:
    """A dark post that stands still, its edges ten times as noisy as all the rest."""
    rng = np.random.default_rng(number)
    post = np.where(np.abs(X - 120) < 20, -0.6, 0.0)
    near_edge = np.abs(np.abs(X - 120) - 20) < 6
    sigma = np.where(near_edge, 10 * noise, noise)
    return (post + sigma * rng.standard_normal(X.shape)).astype(np.float32)


@pytest.mark.parametrize("noise", [0.002, 0.02])
def test_no_arrows_on_what_stands_still(noise: float) -> None:
    arrows = Arrows()
    for number in range(FRAMES):
        speeds = arrows.see(still(number, noise), 0.6, noise, number / 60)
    assert speeds is not None
    # 0.06 of the spacing in the longest time is not drawn.
    slow = np.hypot(speeds[..., 0], speeds[..., 1]) * TIMES_S[0] < 2.0
    assert (slow | ~np.isfinite(speeds[..., 0])).all()


def test_flow_beside_what_stands_still_has_arrows() -> None:
    arrows = Arrows()
    for number in range(FRAMES):
        t = number / 60
        flow = np.where(X < 80, blobs(0.0, -240.0 * t), 0.0).astype(np.float32)
        speeds = arrows.see(still(number, 0.004) + flow, 0.6, 0.004, t)
    assert speeds is not None
    assert np.isfinite(speeds[1:-1, :2, 0]).mean() > 0.7
    assert np.nanmedian(speeds[1:-1, :2, 1]) == pytest.approx(-240, rel=0.15)


def test_arrows_need_two_frames_and_some_size() -> None:
    arrows = Arrows()
    assert arrows.see(blobs(0, 0), 0.2, 0.01, 0.0) is None
    assert arrows.see(blobs(0, 0), 0.2, 0.01, 0.0) is None
    assert arrows.see(blobs(0, 0), 0.2, 0.01, 9.0) is None
    assert arrows.too_far
    assert arrows.see(blobs(0, 0), 0.2, 0.01, 9.03) is not None
    assert not arrows.too_far
    assert Arrows().see(blobs(0, 0)[:50, :50], 0.2, 0.01, 0.0) is None


def test_a_lost_frame_leaves_no_gap_and_frames_too_far_apart_tell_nothing() -> None:
    arrows = Arrows()
    times = [k / 30 for k in range(20)]
    for t in times:
        before = arrows.see(blobs(120 * t, 0), 0.2, 0.002, t)
    assert before is not None
    late = times[-1] + 2 / 30
    held = arrows.see(blobs(120 * late, 0), 0.2, 0.002, late)
    assert held is not None
    np.testing.assert_array_equal(held, before)
    for k in range(1, 8):
        t = late + 0.06 * k
        told = arrows.see(blobs(120 * t, 0), 0.2, 0.002, t)
    assert told is None
    assert arrows.too_far


def test_a_flow_of_half_a_cell_a_frame_is_followed() -> None:
    arrows = Arrows()
    rng = np.random.default_rng(1)
    clouds = cv2.GaussianBlur(rng.standard_normal((4 * SIZE, SIZE)).astype(np.float32), (0, 0), 9)
    clouds *= 0.1 / clouds.std()
    for number in range(FRAMES):
        rise = round(1200 * number / 60)
        frame = np.ascontiguousarray(clouds[rise : rise + SIZE])
        speeds = arrows.see(frame, 0.2, 0.002, number / 60)
    assert speeds is not None
    # The method is quick rather than exact.
    assert np.nanmedian(speeds[1:-1, 1:-1, 1]) == pytest.approx(-1200, rel=0.15)
    assert np.isfinite(speeds[1:-1, 1:-1, 0]).mean() > 0.5


def field(speed: float) -> np.ndarray:
    speeds = np.full((7, 7, 2), np.nan, np.float32)
    speeds[2:5, 2:5] = (0.6 * speed, -0.8 * speed)
    return speeds


@pytest.mark.parametrize("speed", [20.0, 170.0, 400.0, 3000.0, 15000.0])
def test_the_time_they_show_keeps_arrows_within_the_grid(speed: float) -> None:
    scale = ArrowScale()
    time_s = scale.fit(field(speed), 0.0)
    assert speed * time_s <= GRID_PX or time_s == TIMES_S[-1]
    longer = [t for t in TIMES_S if t > time_s]
    assert not longer or speed * longer[-1] > GRID_PX


def test_the_time_becomes_longer_only_after_a_calm_second() -> None:
    scale = ArrowScale()
    assert scale.fit(field(300.0), 0.0) == 0.1
    assert scale.fit(field(3000.0), 0.1) == 0.01
    assert scale.fit(field(3000.0), 1.0) == 0.01
    assert [scale.fit(field(300.0), t) for t in (1.1, 1.6, 2.0)] == [0.01] * 3
    assert scale.fit(field(3000.0), 2.05) == 0.01
    assert scale.fit(field(300.0), 2.5) == 0.01
    assert scale.fit(field(300.0), 3.6) == 0.1
    # A little more than fits changes nothing.
    assert scale.fit(field(390.0), 3.7) == 0.1
    assert scale.fit(field(500.0), 3.8) == 0.05


def test_few_arrows_change_no_scale() -> None:
    speeds = np.full((7, 7, 2), np.nan, np.float32)
    speeds[0, 0] = 9000.0
    scale = ArrowScale()
    assert scale.fit(speeds, 0.0) == scale.fit(np.full_like(speeds, np.nan), 0.1)
    assert scale.fit(speeds, 0.1) == 0.1
    assert scale.fit(field(3000.0), 0.2) == scale.fit(speeds, 5.0) == 0.01


def drawn(speeds: np.ndarray, arrow_s: float) -> tuple[np.ndarray, np.ndarray]:
    picture = np.zeros((SIZE, SIZE, 4), np.uint8)
    draw_arrows(speeds, picture, arrow_s)
    return np.nonzero(picture[:, :, :3].any(axis=2))


def one(across: float) -> np.ndarray:
    speeds = np.full((7, 7, 2), np.nan, np.float32)
    speeds[2, 3] = (across, 0)
    return speeds


def test_arrows_are_drawn_where_they_are_and_as_long_as_is_said() -> None:
    rows, columns = drawn(one(25 / 0.02), 0.02)
    assert rows.min() > 65 and rows.max() < 95
    # From the middle of the fourth cell, 25 pixels to the right; rim and antialiasing 3 pixels.
    assert columns.min() == pytest.approx(112, abs=3)
    assert columns.max() == pytest.approx(137, abs=3)
    assert drawn(one(1.0), 0.02)[0].size == 0


def test_no_arrow_is_longer_than_one_and_a_half_cells() -> None:
    _, columns = drawn(one(1e5), 0.02)
    assert columns.max() - columns.min() <= 1.5 * GRID_PX + 6

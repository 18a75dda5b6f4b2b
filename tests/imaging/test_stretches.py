"""A recording's own calibration stretches."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.imaging.stretches import BLOCKS, LEAST_FRAMES, Run, block_means, find_stretches
from liveview.model import CalibrationKind

Y, X = np.mgrid[: BLOCKS[0], : BLOCKS[1]]
DISC = (np.hypot(X - 15.5, Y - 11.5) < 11).astype(np.float64)
DARK, OPEN, REFERENCE = CalibrationKind


def recording(
    *parts: tuple[float, int], flow: float = 0.0, seed: int = 1, noise: float = 0.0005
) -> np.ndarray:
    """Levels of the disc with their numbers of frames; a flow moves in the last part."""
    rng = np.random.default_rng(seed)
    frames = []
    for index, (level, count) in enumerate(parts):
        for k in range(count):
            light = 0.02 + level * DISC * (1 + 0.1 * (X - 16) / 16)
            if flow and index == len(parts) - 1:
                light = light * (1 + flow * np.sin(0.8 * X + 1.3 * k) * (Y > 8))
            frames.append(light + rng.normal(0, noise, light.shape))
    return np.asarray(frames, np.float32)


def test_all_three_are_found() -> None:
    found = find_stretches(recording((0.0, 40), (0.8, 50), (0.4, 60), (0.4, 200), flow=0.3))
    assert set(found) == {DARK, OPEN, REFERENCE}
    assert 0 <= found[DARK].first < found[DARK].last < 40
    assert 40 <= found[OPEN].first < found[OPEN].last < 90
    assert 90 <= found[REFERENCE].first < found[REFERENCE].last < 151


def test_noise_of_small_blocks_is_still_and_a_hand_is_not() -> None:
    """A small picture: of 768 blocks some change by more than one alone may."""
    blocks = recording((0.0, 40), (0.8, 50), (0.4, 100), noise=0.004)
    hand = blocks.copy()
    for frame in range(60, 90):
        row = (frame - 60) // 2
        hand[frame, row : row + 4, 12:18] *= 0.3
    assert set(find_stretches(blocks)) == {DARK, OPEN, REFERENCE}
    assert find_stretches(hand)[OPEN].last <= 60


def test_open_before_dark() -> None:
    found = find_stretches(recording((0.8, 40), (0.0, 30), (0.3, 100)))
    assert found[OPEN].last < 40 <= found[DARK].first
    assert found[REFERENCE].first >= 70


@pytest.mark.parametrize(
    "parts",
    [
        [(0.8, 200)],
        [(0.4, 60), (0.8, 60)],
        [(0.0, 60), (0.8, 200)],
        [(0.0, LEAST_FRAMES - 3), (0.8, 60), (0.4, 100)],
        [(0.0, 60), (0.8, 5), (0.4, 100)],
        [(0.0, 100)],
        [(0.4, 10)],
    ],
)
def test_nothing_is_made_up(parts: list[tuple[float, int]]) -> None:
    assert find_stretches(recording(*parts)) == {}


def test_a_flash_is_not_the_open_picture() -> None:
    blocks = recording((0.0, 40), (0.8, 40), (0.4, 100))
    blocks[130] += 0.5
    found = find_stretches(blocks)
    assert found[OPEN].last < 80


def test_a_moving_bright_picture_is_not_open() -> None:
    blocks = recording((0.0, 40), (0.4, 60), (0.8, 60), flow=0.3)
    assert find_stretches(blocks) == {}


def test_blocks_are_means() -> None:
    light = np.arange(48 * 64, dtype=np.float32).reshape(48, 64)
    means = block_means(light)
    assert means.shape == BLOCKS
    assert means[0, 0] == pytest.approx(light[:2, :2].mean())
    assert block_means(np.ones((5, 7), np.float32)).shape == (5, 7)


def test_run_is_both_ends_included() -> None:
    found = find_stretches(recording((0.0, LEAST_FRAMES + 1), (0.8, 40), (0.4, 60)))
    # The first frame has no frame before it and so is not known to be still.
    assert found[DARK] == Run(1, LEAST_FRAMES)

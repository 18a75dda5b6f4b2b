"""The disc is found from what is left of its rim, to a fraction of a pixel."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.imaging.cv import cv2
from liveview.imaging.disc import disc_box, disc_mask, find_disc, fit_circle
from liveview.model import Disc, Light


def picture(
    shape: tuple[int, int],
    disc: Disc,
    *,
    level: float = 1.0,
    tilt: float = 0.0,
    noise: float = 0.01,
    plume: bool = False,
) -> Light:
    """A disc of light with a sub-pixel rim, blurred by a pixel, on faint stray light."""
    rng = np.random.default_rng(1)
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float64)
    across = (x - disc.cx) / disc.radius
    share = level + tilt * across / 2
    if plume:
        share = share + 0.4 * (across / 0.1) * np.exp(-((across / 0.1) ** 2))
    rim = np.clip(disc.radius - np.hypot(x - disc.cx, y - disc.cy) + 0.5, 0, 1)
    light = 0.02 + 0.7 * rim * np.clip(share, 0, 1)
    light = cv2.GaussianBlur(light.astype(np.float32), (0, 0), 1.0)
    light += noise * np.sqrt(light) * rng.standard_normal(shape)
    return np.clip(light, 0, 1).astype(np.float32)


CASES = {
    "open": ((720, 1280), Disc(640.3, 361.7, 330.2), {}),
    "half cut, tilted": ((720, 1280), Disc(640.3, 361.7, 330.2), {"level": 0.5, "tilt": 1.0}),
    "plume": ((720, 1280), Disc(640.3, 361.7, 330.2), {"level": 0.3, "tilt": 1.2, "plume": True}),
    "larger than the picture": ((720, 1280), Disc(640.3, 361.7, 430.2), {"level": 0.5}),
    "at the corner": ((720, 1280), Disc(140.3, 161.7, 330.2), {"level": 0.5, "tilt": 0.6}),
    "small in the picture": ((480, 640), Disc(320, 220, 30.4), {}),
    "small picture": ((97, 131), Disc(64, 50, 40.4), {}),
    "nearly fully cut": ((720, 1280), Disc(640.3, 361.7, 330.2), {"level": 0.05, "noise": 0.004}),
    "noisy": ((540, 960), Disc(480.5, 270.2, 250.0), {"level": 0.3, "noise": 0.08}),
}


@pytest.mark.parametrize("name", CASES)
def test_found(name: str) -> None:
    shape, disc, how = CASES[name]
    found = find_disc(picture(shape, disc, **how))
    assert found is not None
    miss = max(abs(found.cx - disc.cx), abs(found.cy - disc.cy), abs(found.radius - disc.radius))
    # A rim of hundreds of points, each good to a fraction of a pixel.
    assert miss < 0.3
    assert not found.by_hand


@pytest.mark.parametrize(
    "light",
    [
        np.zeros((200, 300), np.float32),
        np.full((200, 300), 0.4, np.float32),
        np.tile(np.linspace(0, 1, 300, dtype=np.float32), (200, 1)),
        np.random.default_rng(0).random((200, 300), np.float32),
        np.full((200, 300), np.nan, np.float32),
        np.ones((5, 5), np.float32),
    ],
    ids=["black", "even", "ramp", "noise", "nothing", "tiny"],
)
def test_none_where_there_is_none(light: Light) -> None:
    assert find_disc(light) is None


def test_a_bright_rectangle_is_no_disc() -> None:
    light = np.zeros((400, 600), np.float32)
    light[100:300, 150:450] = 1
    assert find_disc(light) is None


def test_a_dark_round_hole_is_no_disc() -> None:
    light = 1 - picture((300, 300), Disc(150, 150, 80))
    assert find_disc(light) is None


def test_circle_through_its_own_points() -> None:
    angle = np.linspace(0, 2, 40)
    points = np.stack([3 + 5 * np.cos(angle), -2 + 5 * np.sin(angle)], axis=1)
    assert fit_circle(points) == pytest.approx([3, -2, 5], abs=1e-9)


def test_mask_and_box_agree() -> None:
    disc = Disc(20.5, 10.25, 8.0)
    mask = disc_mask((30, 40), disc, margin_px=0)
    rows, columns = disc_box((30, 40), disc)
    assert mask[rows, columns].sum() == mask.sum()
    # Area of the circle, within its rim's pixels.
    assert np.count_nonzero(mask) == pytest.approx(np.pi * 64, rel=0.03)
    assert disc_mask((30, 40), None).all()
    assert disc_box((30, 40), None) == (slice(0, 30), slice(0, 40))


def test_box_of_a_disc_outside_is_not_empty() -> None:
    rows, columns = disc_box((30, 40), Disc(-100, 500, 5))
    assert rows.stop > rows.start
    assert columns.stop > columns.start

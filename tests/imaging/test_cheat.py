"""Who changed the light: the camera, the lamp, the room or the air."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.imaging.cheat import CONFIRM_LOOKS, LEARN_LOOKS, CheatWatch, Drift
from liveview.model import Disc

SHAPE = (240, 320)
DISC = Disc(160.0, 120.0, 95.0)
RNG = np.random.default_rng(7)


def picture(
    inside: float = 0.3,
    outside: float = 0.03,
    *,
    colours: tuple[float, ...] = (),
    factor: float = 1.0,
    plume: float = 0.0,
) -> np.ndarray:
    """Codes of a lit disc in a dim room; ``factor`` is what the camera multiplies."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    on = (x - DISC.cx) ** 2 + (y - DISC.cy) ** 2 < DISC.radius**2
    light = np.where(on, inside * (1 + 0.1 * (x - DISC.cx) / DISC.radius), outside)
    light = light + plume * on * (np.abs(x - DISC.cx) < 15)
    if colours:
        light = light[..., None] * np.array(colours)
    codes = 255 * np.clip(light * factor, 0, 1) ** (1 / 2.2) + RNG.normal(0, 1.5, light.shape)
    return np.clip(np.rint(codes), 0, 255).astype(np.uint8)


def watched(*changed: dict, **usual: object) -> CheatWatch:
    """A watch that has learnt ``usual``, and then sees each change for long enough."""
    watch = CheatWatch(255)
    watch.set_disc(DISC, SHAPE)
    time_s = 0.0
    for _ in range(LEARN_LOOKS + CONFIRM_LOOKS):
        watch.look(picture(**usual), time_s := time_s + 0.1)
    for change in changed:
        for _ in range(CONFIRM_LOOKS + 1):
            watch.look(picture(**{**usual, **change}), time_s := time_s + 0.1)
    return watch


def test_nothing_is_told_without_a_disc() -> None:
    watch = CheatWatch(255)
    for k in range(30):
        assert watch.look(picture(), 0.1 * k).kind is Drift.LEARNING


def test_a_quiet_camera_is_steady() -> None:
    reading = watched({}).reading
    assert reading.kind is Drift.STEADY
    assert not reading.cheats
    assert "steady" in reading.words


@pytest.mark.parametrize("factor", [0.7, 0.9, 1.1, 1.5])
def test_the_camera_is_told_with_its_factor(factor: float) -> None:
    reading = watched({"factor": factor}).reading
    assert reading.kind is Drift.BRIGHTNESS
    assert reading.cheats
    # rounding to whole codes and noise over the tiles: about a percent
    assert reading.change == pytest.approx(factor, rel=0.03)
    assert f"{abs(factor - 1) * 100:.0f}"[0] in reading.words
    assert ("up" if factor > 1 else "down") in reading.words


def test_a_change_that_lasts_one_look_is_none() -> None:
    watch = watched({})
    watch.look(picture(factor=1.5), 9.0)
    assert watch.reading.kind is Drift.STEADY


def test_the_lamp_is_not_the_camera() -> None:
    reading = watched({"inside": 0.24}).reading
    assert reading.kind is Drift.LAMP
    assert not reading.cheats


def test_the_room_and_the_air_are_not_the_camera() -> None:
    assert not watched({"outside": 0.05}).reading.cheats
    assert watched({"plume": 0.3}).reading.kind is Drift.STEADY


def test_too_dark_a_room_tells_only_that_something_changed() -> None:
    watch = watched({"factor": 0.8}, outside=0.0)
    assert not watch.reading.cheats
    assert watch.reading.kind is Drift.LAMP
    assert watched({}, outside=0.0).reading.kind is Drift.UNTOLD


@pytest.mark.slow
def test_white_balance_is_told_from_exposure() -> None:
    grey = (1.0, 1.0, 1.0)
    shifted = watched({"colours": (0.9, 1.0, 1.12)}, colours=grey).reading
    assert shifted.kind is Drift.COLOUR
    assert shifted.cheats
    both = watched({"colours": (1.2, 1.2, 1.2)}, colours=grey).reading
    assert both.kind is Drift.BRIGHTNESS


def test_what_was_asked_for_is_learnt_anew() -> None:
    watch = watched({"factor": 1.4})
    assert watch.reading.cheats
    watch.expect_change()
    assert not watch.reading.cheats
    for k in range(LEARN_LOOKS + CONFIRM_LOOKS):
        watch.look(picture(factor=1.4), 20 + 0.1 * k)
    assert watch.reading.kind is Drift.STEADY

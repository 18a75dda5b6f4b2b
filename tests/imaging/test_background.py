"""Calibration pictures: the mean, and refusals in words."""

from __future__ import annotations

import numpy as np
import pytest

from liveview.errors import CalibrationRefused
from liveview.imaging.background import PictureAverager
from liveview.model import Average, Calibration, CalibrationKind, CameraState, Disc, Light

STATE = CameraState("cam", 96, 80, 255)
DARK, OPEN, REFERENCE = CalibrationKind.DARK, CalibrationKind.OPEN, CalibrationKind.REFERENCE


def frames(level: float, count: int = 16, noise: float = 0.01) -> list[Light]:
    rng = np.random.default_rng(3)
    clean = level + noise * rng.standard_normal((count, 80, 96))
    return list(np.clip(clean, 1e-4, 1).astype(np.float32))


def taken(kind: CalibrationKind, shots: list[Light], **more: object) -> Average:
    averager = PictureAverager(STATE, kind)
    for shot in shots:
        averager.add(shot)
    return averager.result(1.5, "2024-05-01T12:00:00", **more)  # type: ignore[arg-type]


def test_mean_of_the_frames() -> None:
    shots = frames(0.4)
    picture = taken(OPEN, shots)
    # float32 sums of 16 frames.
    assert picture.light == pytest.approx(np.mean(shots, axis=0), abs=1e-6)
    assert (picture.frames, picture.taken_s, picture.camera) == (16, 1.5, STATE)
    assert picture.clipped is not None and not picture.clipped.any()


def test_one_frame_is_enough_for_a_picture_from_a_file() -> None:
    assert taken(REFERENCE, frames(0.4, 1)).frames == 1


def test_no_frames() -> None:
    with pytest.raises(CalibrationRefused, match="no frames"):
        PictureAverager(STATE, DARK).result(0, "")


@pytest.mark.parametrize(
    ("kind", "level", "words"),
    [
        (OPEN, 0.001, "not enough light"),
        (REFERENCE, 0.001, "not enough light"),
        (OPEN, 1.2, "clipped bright"),
        (DARK, 0.6, "too bright"),
    ],
)
def test_wrong_light_is_refused(kind: CalibrationKind, level: float, words: str) -> None:
    with pytest.raises(CalibrationRefused, match=words) as caught:
        taken(kind, frames(level, noise=0.0002))
    assert kind.value in str(caught.value)
    assert caught.value.remedy


def test_open_must_be_brighter_than_dark() -> None:
    calibration = Calibration(dark=taken(DARK, frames(0.1)))
    with pytest.raises(CalibrationRefused, match="not enough light"):
        taken(OPEN, frames(0.12), others=calibration)


def test_dark_must_be_darker_than_open() -> None:
    calibration = Calibration(open=taken(OPEN, frames(0.3)))
    with pytest.raises(CalibrationRefused, match="too bright"):
        taken(DARK, frames(0.25), others=calibration)


def test_a_few_clipped_pixels_are_marked_not_refused() -> None:
    shots = frames(0.5)
    shots[3][10, 20] = 1.0
    shots[5][11, 21] = 0.0
    picture = taken(OPEN, shots)
    assert picture.clipped is not None
    assert list(zip(*np.nonzero(picture.clipped), strict=True)) == [(10, 20), (11, 21)]


def test_only_the_disc_is_judged() -> None:
    shots = frames(0.5)
    for shot in shots:
        shot[:, 60:] = 1.0
    with pytest.raises(CalibrationRefused, match="clipped"):
        taken(OPEN, shots)
    assert taken(OPEN, shots, disc=Disc(28, 40, 25)).frames == 16


def test_movement_is_refused() -> None:
    shots = frames(0.5, 32)
    for index, shot in enumerate(shots):
        shot[:, (index // 4 % 2) * 40 : (index // 4 % 2) * 40 + 24] *= 1.2
    with pytest.raises(CalibrationRefused, match="moved"):
        taken(REFERENCE, shots)


def test_automatic_exposure_is_refused() -> None:
    shots = [shot * (0.6 if index // 4 % 2 else 1.0) for index, shot in enumerate(frames(0.5, 32))]
    with pytest.raises(CalibrationRefused, match="automatic exposure"):
        taken(REFERENCE, [shot.astype(np.float32) for shot in shots])


def test_noise_alone_is_not_movement() -> None:
    assert taken(REFERENCE, frames(0.3, 32, noise=0.06)).frames == 32


def test_changed_size_is_refused() -> None:
    averager = PictureAverager(STATE, OPEN)
    averager.add(np.full((80, 96), 0.5, np.float32))
    with pytest.raises(CalibrationRefused, match="size"):
        averager.add(np.full((40, 96), 0.5, np.float32))

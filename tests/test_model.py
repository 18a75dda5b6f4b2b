"""The frozen data: sides turn the right way, calibrations know when they no longer hold."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from liveview import model
from liveview.model import (
    Average,
    BladeReading,
    Calibration,
    CalibrationKind,
    CameraState,
    Side,
    SourceInfo,
    SourceKind,
)

CAMERA = CameraState("camera", 8, 6, 255, exposure_s=0.01, gain=1.0)


def picture(camera: CameraState = CAMERA) -> Average:
    return Average(np.zeros((6, 8), np.float32), 16, 0.0, "2020-01-01T00:00:00+00:00", camera)


def test_everything_that_crosses_threads_is_frozen_and_slotted() -> None:
    classes = [c for c in vars(model).values() if dataclasses.is_dataclass(c)]
    assert len(classes) > 15
    for kind in classes:
        assert kind.__dataclass_params__.frozen, kind
        assert "__slots__" in vars(kind), kind


def test_along_is_the_normal_turned_clockwise_in_the_picture() -> None:
    # y points down: top (0, -1) turns to right (1, 0), right to bottom (0, 1)
    assert Side.TOP.along == (1.0, 0.0)
    assert Side.RIGHT.along == (-0.0, 1.0)
    for side in Side:
        n, a = np.array(side.normal), np.array(side.along)
        assert n @ a == 0
        assert n[0] * a[1] - n[1] * a[0] == 1.0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"exposure_s": 0.02}, "exposure"),
        ({"gain": 2.0}, "gain"),
        ({"width": 9}, "picture size or depth"),
        ({"white": 4095}, "picture size or depth"),
        ({"camera": "another"}, "camera"),
    ],
)
def test_a_changed_camera_drops_its_pictures_and_says_why(change: dict, words: str) -> None:
    now = dataclasses.replace(CAMERA, **change)
    calibration = Calibration(dark=picture(), open=picture(now))
    kept, said = calibration.valid_for(now)
    assert kept.dark is None
    assert kept.open is calibration.open
    assert said == (f"dark no longer holds: {words} changed",)


def test_an_unchanged_camera_keeps_all() -> None:
    calibration = Calibration(dark=picture(), open=picture(), reference=picture())
    assert calibration.valid_for(CAMERA) == (calibration, ())


@pytest.mark.parametrize("kind", CalibrationKind)
def test_one_picture_is_replaced_and_the_others_stay(kind: CalibrationKind) -> None:
    before = Calibration(picture(), picture(), picture())
    after = before.with_picture(kind, None)
    assert getattr(after, kind.value) is None
    others = set(CalibrationKind) - {kind}
    assert all(getattr(after, k.value) is getattr(before, k.value) for k in others)


@pytest.mark.parametrize(
    ("channels", "bits", "shape", "kind"),
    [(1, 8, (6, 8), np.uint8), (3, 8, (6, 8, 3), np.uint8), (1, 12, (6, 8), np.uint16)],
)
def test_a_source_says_what_its_frames_are(channels, bits, shape, kind) -> None:
    info = SourceInfo(SourceKind.VIDEO, "v", 8, 6, channels, bits, 2**bits - 1, False)
    assert (info.shape, info.dtype) == (shape, np.dtype(kind))
    assert info.camera_state == CameraState("v", 8, 6, 2**bits - 1)
    assert not info.simulated


def test_cutoff_is_one_minus_uncut_and_unknown_with_it() -> None:
    assert BladeReading(Side.LEFT, uncut=0.25).cutoff == 0.75
    assert BladeReading(Side.LEFT).cutoff is None

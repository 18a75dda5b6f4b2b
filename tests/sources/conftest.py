"""Sensors for the tests of cameras."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from support.media import write_video
from support.sensor import Sensor


@pytest.fixture
def scene(tmp_path: Path) -> Path:
    rng = np.random.default_rng(2)
    base = np.linspace(120, 255, 64)[None, :, None] * np.ones((48, 1, 3))
    pictures = [(base - rng.uniform(0, 2)).astype(np.uint8) for _ in range(8)]
    return write_video(tmp_path / "scene.avi", pictures, form="yuvj420p", codec="mjpeg")


@pytest.fixture
def sensors(scene: Path) -> Iterator[Any]:
    made: list[Sensor] = []

    def make(**options: Any) -> Sensor:
        made.append(Sensor(scene, **options))
        return made[-1]

    yield make
    for sensor in made:
        sensor.release()

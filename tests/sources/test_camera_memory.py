"""Settings kept for each camera."""

from __future__ import annotations

from pathlib import Path

import pytest

from liveview.settings import Camera, Settings
from liveview.sources import camera_memory
from liveview.sources.camera_memory import CameraMemory, CameraSettings, identity_of
from liveview.sources.devices import CameraDevice

LEFT = CameraDevice(0, "left eye", "/dev/video0", "1111:2222")
RIGHT = CameraDevice(2, "right eye", "/dev/video2", "1111:3333")


@pytest.fixture(autouse=True)
def two_cameras(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("liveview.sources.devices.find_cameras", lambda: (LEFT, RIGHT))


def test_a_camera_is_known_by_what_stays(tmp_path: Path) -> None:
    assert identity_of("camera:0") == identity_of("camera:left eye") == "1111:2222 left eye"
    assert identity_of("genicam:Maker-1") == "genicam:Maker-1"
    for other in ("simulated", "clip.mkv", "camera:none of that name"):
        assert identity_of(other) is None


def test_what_differs_from_the_defaults_comes_back(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "cameras.toml"
    camera = Camera(
        exposure_s=0.002, gain=4.0, format="Y12", hold=True, delay_s=0.031, f_number=8.0
    )
    assert CameraMemory(path).keep("a", camera) == ""
    again = CameraMemory(path)
    assert again.words == ""
    restored = again.restored("a", Settings()).camera
    assert (restored.exposure_s, restored.gain, restored.format) == (0.002, 4.0, "Y12")
    assert (restored.hold, restored.delay_s) == (True, 0.031)
    assert restored.f_number == Camera().f_number, "the lens belongs to the rig"
    assert again.restored("b", Settings()) == Settings()


def test_what_the_user_asked_for_stays(tmp_path: Path) -> None:
    memory = CameraMemory(tmp_path / "cameras.toml")
    memory.keep("a", Camera(exposure_s=0.002, gain=4.0))
    asked = Settings().replaced("camera", exposure_s=0.01)
    restored = memory.restored("a", asked).camera
    assert (restored.exposure_s, restored.gain) == (0.01, 4.0)


def test_each_camera_has_its_own_and_nothing_carries_over(tmp_path: Path) -> None:
    memory = CameraMemory(tmp_path / "cameras.toml")
    cameras = CameraSettings(memory, Camera())
    settings, keep = cameras.begin("camera:0", Settings())
    assert keep is not None
    settings = settings.replaced("camera", exposure_s=0.002, delay_s=0.03)
    assert keep(settings.camera) == ""
    settings, keep = cameras.begin("camera:right eye", settings)
    assert settings.camera == Camera()
    settings, keep = cameras.begin("clip.mkv", settings)
    assert keep is None
    settings, keep = cameras.begin("camera:0", settings.replaced("camera", transfer="linear"))
    assert (settings.camera.exposure_s, settings.camera.transfer) == (0.002, "linear")


@pytest.mark.parametrize(
    "text", ["not toml =", "[a]\nexposure = 'long'\n", "a = 3\n", "[a]\nunheard = 1\n", "\xff"]
)
def test_a_file_that_cannot_be_used_is_said_and_left_alone(tmp_path: Path, text: str) -> None:
    path = tmp_path / "cameras.toml"
    path.write_bytes(text.encode("latin-1"))
    memory = CameraMemory(path)
    assert "cameras.toml cannot be read" in memory.words
    assert "mend or remove it" in memory.keep("b", Camera(gain=2.0))
    assert path.read_bytes() == text.encode("latin-1")


def test_a_place_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("no folder")
    words = CameraMemory(tmp_path / "file" / "cameras.toml").keep("a", Camera(gain=2.0))
    assert "not kept for next time" in words


def test_the_file_does_not_grow_for_ever(tmp_path: Path) -> None:
    memory = CameraMemory(tmp_path / "cameras.toml")
    for k in range(camera_memory.MOST_CAMERAS + 10):
        memory.keep(f"camera {k}", Camera(gain=1.0 + k))
    assert memory.values("camera 0") == {}
    assert memory.values(f"camera {camera_memory.MOST_CAMERAS + 9}")["gain"] > 1

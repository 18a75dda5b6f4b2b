"""Which cameras and microphones answer, or why they do not."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from liveview.errors import LiveviewError, SoundUnavailable
from liveview.model import SourceInfo
from liveview.settings import Camera
from liveview.sources.camera import CameraSource
from liveview.sources.devices import CameraDevice, find_cameras
from liveview.sources.microphone import sound_library


@dataclass(frozen=True, slots=True)
class Answer:
    """One device: what opens it, what it is called, whether it answers, and words about it.

    ``identity`` is what stays the same when it is plugged in elsewhere: vendor and product ids,
    empty where the system does not tell.
    """

    address: str
    name: str
    answers: bool
    words: str
    identity: str = ""


def list_cameras(
    *,
    find: Callable[[], Sequence[CameraDevice]] = find_cameras,
    look: Callable[[CameraDevice], SourceInfo] | None = None,
) -> tuple[Answer, ...]:
    """Every camera the system knows, each opened for one picture.

    Parameters
    ----------
    find : callable
        Lists the devices.
    look : callable, optional
        Opens one and says what it is; raises what opening raises.
    """
    return tuple(_camera_answer(device, look or _look) for device in find())


def list_genicam() -> tuple[Answer, ...]:
    """Industrial cameras that answer; none where their library is not installed."""
    from liveview.sources.aravis import find_genicam

    try:
        found = find_genicam()
    except LiveviewError:
        # Most machines have no such camera and no need of its library; ``check`` names it.
        return ()
    return tuple(
        Answer(device.address, device.name, True, "industrial camera", device.serial)
        for device in found
    )


def _look(device: CameraDevice) -> SourceInfo:
    source = CameraSource(str(device.index), Camera(), clock=lambda: 0.0)
    try:
        return source.open()
    finally:
        source.close()


def _camera_answer(device: CameraDevice, look: Callable[[CameraDevice], SourceInfo]) -> Answer:
    name = device.name or f"camera {device.index}"
    try:
        info = look(device)
    except LiveviewError as error:
        words = "; ".join(filter(None, (error.what, error.remedy)))
        return Answer(device.address, name, False, words, device.ids)
    rate = f", says {info.rate_hz:g} Hz" if info.rate_hz else ""
    kind = "gray" if info.channels == 1 else "colour"
    words = f"{info.width} x {info.height}, {info.bits} bit {kind}{rate}"
    return Answer(device.address, name, True, words, device.ids)


def list_microphones() -> tuple[Answer, ...]:
    """Every sound input the system knows, checked at its own rate; the default one first.

    A single line that does not answer says why there are none.
    """
    try:
        library = sound_library()
        entries = list(library.query_devices())
    except SoundUnavailable as error:
        return (Answer("microphone", "sound", False, f"{error.what}; {error.remedy}"),)
    default = library.default.device[0]
    inputs = [(i, e) for i, e in enumerate(entries) if e["max_input_channels"] > 0]
    inputs.sort(key=lambda pair: pair[0] != default)
    return tuple(_sound_answer(library, index, entry, index == default) for index, entry in inputs)


def _sound_answer(library: object, index: int, entry: dict[str, object], default: bool) -> Answer:
    name, rate = str(entry["name"]), float(str(entry["default_samplerate"]))
    address = f"microphone:{name}"
    words = f"{entry['max_input_channels']} channels at {rate:g} Hz"
    try:
        library.check_input_settings(device=index, samplerate=rate)  # type: ignore[attr-defined]
    except (library.PortAudioError, ValueError) as error:  # type: ignore[attr-defined]
        return Answer(address, name, False, f"does not open ({error})")
    return Answer(address, name, True, words + (", the default" if default else ""))

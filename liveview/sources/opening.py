"""From an address to its sources.

===========================  ==================================================================
``camera:0``, ``camera:NAME``  a camera of this computer, by index, name, ids or path
``genicam:ID``                 an industrial camera, by id, serial, network address or name
``simulated[:SCENE]``          the simulated rig
``http://``, ``https://``      a network camera, or a finished video file on a server
``rtsp://``, ``rtsps://``      a network camera
a path                         video, picture, folder of pictures, multi-page TIFF, event folder
a pattern                      pictures, such as ``frames/*.png``
``microphone[:NAME]``          (sound) an input device
===========================  ==================================================================
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING
from urllib.parse import unquote, urlsplit

from liveview.errors import BadRequest, InputUnreadable
from liveview.model import FrameSource, RigHandle, SoundSource
from liveview.settings import Settings
from liveview.sources.paced import Pace, PacedFrames, PacedSound, Wait

if TYPE_CHECKING:
    from liveview.sources.desk import CameraDesk
    from liveview.sources.simulated_camera import SimulatedCamera

Clock = Callable[[], float]

NETWORK = ("http", "https", "rtsp", "rtsps")
FINISHED = frozenset((".mkv", ".mp4", ".avi", ".mov", ".webm", ".m4v", ".nut"))
"""Endings of files that a server may hold, as against a running camera."""

SOUND_ONLY = frozenset((".wav", ".flac", ".ogg", ".oga", ".mp3", ".aif", ".aiff", ".caf", ".au"))


VIDEO_SUFFIXES = frozenset((".mkv", ".mp4", ".mov", ".avi", ".webm", ".m4v"))
"""What counts as the video of a folder."""


class Input:
    """What one address stands for: pictures and the sound that belongs to them.

    Sources made by the same input agree in time: the simulated rig's camera and microphone share
    one bench, a recording's pictures and sound one pace.

    Parameters
    ----------
    address : str
        See the table at the top.
    settings : Settings
        Camera and sound sections.
    clock : callable
        The session's clock, seconds.
    live : bool
        True: recordings run in real time on that clock. False: as fast as asked, on their own.
    wait : callable, optional
        Waits for some seconds; handed in by tests and by whoever wants to be woken.

    Raises
    ------
    InputUnreadable
        Nothing of the kind is there.
    BadRequest
        No address at all, or a simulated scene that does not exist.
    """

    def __init__(
        self,
        address: str,
        settings: Settings,
        *,
        clock: Clock,
        live: bool,
        wait: Wait | None = None,
    ) -> None:
        self.address = address
        self._settings = settings
        self._clock = clock
        self._live = live
        self._wait = wait
        self._pace = Pace(clock, wait)
        self._rig: RigHandle | None = None
        self.camera: CameraDesk | SimulatedCamera | None = None
        """Where a camera's controls are turned; None for what has none."""
        self._frames, self._sound = self._makers()

    @property
    def rig(self) -> RigHandle | None:
        """The hand on the simulated rig; None for everything else."""
        return self._rig

    @property
    def has_sound(self) -> bool:
        """True when ``sound`` gives something to listen to."""
        return self._sound is not None

    def use(self, settings: Settings) -> None:
        """Other settings, for the next source that is made."""
        self._settings = settings

    def frames(self) -> FrameSource:
        """A new, unopened source of the pictures."""
        return self._frames()

    def sound(self) -> SoundSource:
        """A new, unopened source of the sound that belongs to them; see ``has_sound``."""
        if self._sound is None:
            raise BadRequest("has no sound of its own", self.address)
        return self._sound()

    def _makers(
        self,
    ) -> tuple[Callable[[], FrameSource], Callable[[], SoundSource] | None]:
        address = self.address
        kind, _, rest = address.partition(":")
        if not address.strip():
            raise BadRequest("no source is named", "camera.source", "give a camera or a recording")
        if kind == "simulated":
            return self._simulated()
        if kind in ("camera", "genicam"):
            return self._watched_camera(kind, rest), self._microphone()
        if "://" in address:
            return self._network()
        return self._recording(only_video_in(Path(address).expanduser()))

    def _simulated(self) -> tuple[Callable[[], FrameSource], Callable[[], SoundSource]]:
        from liveview.sources.simulated import bench_for
        from liveview.sources.simulated_camera import SimulatedCamera

        bench = bench_for(
            self.address, self._settings, clock=self._clock, live=self._live, wait=self._wait
        )
        self._rig = bench
        self.camera = SimulatedCamera(bench, self._settings.camera)
        return bench.frames, bench.sound

    def _watched_camera(self, kind: str, wanted: str) -> Callable[[], FrameSource]:
        from liveview.sources.camera import CameraSource
        from liveview.sources.desk import CameraDesk
        from liveview.sources.genicam import GenicamSource

        camera, desk = self._settings.camera, CameraDesk(self._settings.camera)
        self.camera = desk
        make = CameraSource if kind == "camera" else GenicamSource

        def frames() -> FrameSource:
            return make(wanted, camera, clock=self._clock, desk=desk)

        return frames

    def _microphone(self) -> Callable[[], SoundSource] | None:
        if not self._live:
            return None
        return lambda: microphone(self._settings.sound.device, self._settings, clock=self._clock)

    def _network(self) -> tuple[Callable[[], FrameSource], Callable[[], SoundSource] | None]:
        parts = urlsplit(self.address)
        if parts.scheme == "file":
            return self._recording(only_video_in(Path(unquote(parts.path))))
        if parts.scheme not in NETWORK:
            raise InputUnreadable(
                "this kind of address is not known", self.address, f"use {', '.join(NETWORK)}"
            )
        if PurePosixPath(parts.path).suffix.lower() in FINISHED:
            from liveview.sources.video import VideoSource

            return (lambda: self._paced(VideoSource(self.address, self._settings.camera))), None
        from liveview.sources.stream import StreamSource

        return (
            lambda: StreamSource(self.address, self._settings.camera, clock=self._clock)
        ), self._microphone()

    def _recording(
        self, path: Path
    ) -> tuple[Callable[[], FrameSource], Callable[[], SoundSource] | None]:
        make = recording_maker(path, self._settings)
        sound = track_maker(path)
        if sound is None:
            return (lambda: self._paced(make())), None
        return (lambda: self._paced(make())), (lambda: self._paced_sound(sound()))

    def _paced(self, source: FrameSource) -> FrameSource:
        if not self._live:
            return source
        self._pace.restart()
        return PacedFrames(source, self._pace)

    def _paced_sound(self, source: SoundSource) -> SoundSource:
        return PacedSound(source, self._pace) if self._live else source


def only_video_in(path: Path) -> Path:
    """The video of a folder that holds one video and no pictures; any other path as it is."""
    from liveview.recorder.reading import is_event
    from liveview.sources.picture import PICTURE_SUFFIXES

    if not path.is_dir() or is_event(path):
        return path
    suffixes = {file: file.suffix.lower() for file in sorted(path.iterdir()) if file.is_file()}
    videos = [file for file, suffix in suffixes.items() if suffix in VIDEO_SUFFIXES]
    pictures = any(suffix in PICTURE_SUFFIXES for suffix in suffixes.values())
    return videos[0] if len(videos) == 1 and not pictures else path


def recording_maker(path: Path, settings: Settings) -> Callable[[], FrameSource]:
    """What makes the source for a path: chosen by what is there, not opened.

    Raises
    ------
    InputUnreadable
        There is nothing of that name.
    """
    from liveview.sources.images import ImagesSource, is_pattern
    from liveview.sources.kinds import Kind, kind_of

    camera = settings.camera
    if is_pattern(str(path)):
        return lambda: ImagesSource(str(path), camera)
    if not path.exists():
        raise InputUnreadable("there is no such file or folder", str(path), "check the path")
    if path.is_dir():
        from liveview.recorder.reading import is_event

        if is_event(path):
            from liveview.sources.event import EventSource

            return lambda: EventSource(path)
        return lambda: ImagesSource(str(path), camera)
    kind = kind_of(path)
    if kind is Kind.TIFF:
        from liveview.sources.tiff import TiffSource

        return lambda: TiffSource(path, camera)
    if kind is Kind.PICTURE:
        return lambda: ImagesSource(str(path), camera)
    from liveview.sources.video import VideoSource

    return lambda: VideoSource(str(path), camera)


def track_maker(path: Path) -> Callable[[], SoundSource] | None:
    """What makes the source of a path's own sound; None for kinds that never have any."""
    from liveview.sources.images import is_pattern
    from liveview.sources.kinds import Kind, kind_of

    if is_pattern(str(path)):
        return None
    if path.is_dir():
        from liveview.recorder.reading import is_event

        if not is_event(path):
            return None
        from liveview.sources.event import EventSoundSource

        return lambda: EventSoundSource(path)
    if path.suffix.lower() in SOUND_ONLY:
        from liveview.sources.soundfile import SoundFileSource

        return lambda: SoundFileSource(path)
    if kind_of(path) is not Kind.VIDEO:
        return None
    from liveview.sources.soundfile import SoundTrackSource

    return lambda: SoundTrackSource(path)


def microphone(device: str, settings: Settings, *, clock: Clock) -> SoundSource:
    """A microphone by name; the system's default when the name is empty."""
    from liveview.sources.microphone import MicrophoneSource

    sound = settings.sound
    return MicrophoneSource(
        device,
        clock=clock,
        rate_hz=sound.rate_hz,
        channel=sound.channel,
        delay_s=sound.delay_s,
        error_s=sound.error_s,
    )


def frame_source(
    address: str, settings: Settings, *, clock: Clock, live: bool, wait: Wait | None = None
) -> FrameSource:
    """A new, unopened source of the pictures an address stands for; see :class:`Input`."""
    return Input(address, settings, clock=clock, live=live, wait=wait).frames()


def sound_source(
    address: str, settings: Settings, *, clock: Clock, live: bool, wait: Wait | None = None
) -> SoundSource | None:
    """A new, unopened source of sound: a microphone, a sound file, or what belongs to pictures.

    None where the address has no sound of its own. For pictures and sound that must agree in
    time while running live take both from one :class:`Input`.

    Raises
    ------
    InputUnreadable, BadRequest
        As :class:`Input`.
    """
    kind, _, rest = address.partition(":")
    if kind == "microphone":
        return microphone(rest, settings, clock=clock)
    source = Input(address, settings, clock=clock, live=live, wait=wait)
    return source.sound() if source.has_sound else None

"""The window put together: source, session, recorder, settings and what shows them.

The source is started before Qt is loaded, so that the first picture is there when the window is.
"""

from __future__ import annotations

import gc
import os
import signal
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from types import FrameType, TracebackType
from typing import TYPE_CHECKING, get_args

from liveview.engine.clock import SessionClock
from liveview.engine.crew import SWITCH_INTERVAL_S
from liveview.engine.session import Session
from liveview.errors import BadRequest, LiveviewError, WorkerStuck
from liveview.recorder.recorder import Recorder
from liveview.settings import Enhance, Settings, load_settings
from liveview.worker import Worker

if TYPE_CHECKING:
    from PyQt6.QtCore import pyqtBoundSignal
    from PyQt6.QtWidgets import QApplication, QWidget

    from liveview.gui.bridge import Bridge, SourceOffer, Supplies
    from liveview.gui.window import Window

SIMULATED = "simulated"
VIEWS = get_args(Enhance.model_fields["view"].annotation)
"""The views that there are."""

RECORDER_CLOSE_S = 1.5

WIDTH, HEIGHT = 1440, 900
"""Of the window at first, pixels, where there is room."""

FRAME_PX = 50
"""More than window managers add around a window."""

BUILD_S = 30.0
"""Longest time for building a session, which opens nothing yet."""


def run_window(
    source: str | None = None, setup: Path | None = None, show: str | None = None
) -> int:
    """Open the window and stay until it is closed.

    Parameters
    ----------
    source : str, optional
        Address to open; else the settings', else the first camera that answers, else the
        simulated rig, which says so.
    setup : Path, optional
        Settings file.
    show : str, optional
        Name or path of a show file: goes on the audience's screen at once.

    Returns
    -------
    int
        Exit code: 0, or 1 when the window had to be given up.

    Raises
    ------
    LiveviewError
        There is no display, or the settings cannot be used.
    """
    from liveview.gui.display import display_problem

    settings = _settings_of(setup, show)
    problem = display_problem()
    if problem is not None:
        raise LiveviewError(
            problem, "window", "without a display use 'liveview process' or 'liveview simulate'"
        )
    if show is not None:
        _check_keys(settings, show)
    sys.setswitchinterval(SWITCH_INTERVAL_S)
    house = House(settings)
    try:
        candidates = house.candidates(source or settings.camera.source)
        return _show(house, settings, candidates, on_stage=show is not None)
    finally:
        house.close()


def _settings_of(setup: Path | None, show: str | None) -> Settings:
    if show is None:
        return load_settings(setup) if setup is not None else Settings()
    from liveview.shows import load_show

    if setup is not None:
        raise BadRequest(
            "--setup and --show together", "window", "name the set-up in the show file: show.setup"
        )
    return load_show(show)


def _check_keys(settings: Settings, show: str) -> None:
    """Wrong keys of a show are found before anything is opened."""
    from liveview.gui.show_keys import keys_for

    try:
        keys_for(settings.show.keys)
    except BadRequest as error:
        raise BadRequest(f"{error.where}: {error.what}", show, error.remedy) from error


class House:
    """Builds sessions and owns the recorder they share."""

    def __init__(self, settings: Settings) -> None:
        import platformdirs

        from liveview.sources.camera_memory import CameraMemory, CameraSettings

        self.words: list[str] = []
        self._address = ""
        memory = CameraMemory(Path(platformdirs.user_config_dir("liveview")) / "cameras.toml")
        self._cameras = CameraSettings(memory, settings.camera)
        if memory.words:
            self.words.append(memory.words)
        self._recorder: Recorder | None = None
        try:
            self._recorder = Recorder(settings.store)
        except LiveviewError as error:
            self.words.append(f"events are not kept: {error}")

    def candidates(self, wanted: str) -> list[str]:
        """Addresses to try in turn at the start."""
        if wanted:
            return [wanted]
        from liveview.sources.devices import find_cameras

        cameras = [device.address for device in find_cameras()]
        if not cameras:
            self.words.append("no camera is there: this is the simulated rig")
        return [*cameras, SIMULATED]

    def cameras(self) -> Sequence[SourceOffer]:
        """Cameras that are there, with what they say of themselves.

        The one in use is not opened a second time.
        """
        from liveview.gui.bridge import SourceOffer
        from liveview.sources.devices import find_cameras
        from liveview.sources.listing import list_cameras, list_genicam

        used = self._address
        found = find_cameras()
        offers = [
            SourceOffer(d.address, d.name or d.address, "in use")
            for d in found
            if d.address == used
        ]
        others = [device for device in found if device.address != used]
        answers = (*list_cameras(find=lambda: others), *list_genicam())
        return [*offers, *(SourceOffer(a.address, a.name, a.words) for a in answers)]

    def microphones(self) -> Sequence[SourceOffer]:
        """Sound inputs that are there."""
        from liveview.gui.bridge import SourceOffer
        from liveview.sources.listing import list_microphones

        answers = list_microphones()
        return [SourceOffer(a.name, a.name, a.words) for a in answers if a.answers]

    def scenes(self) -> Sequence[SourceOffer]:
        """The simulated rig and its scenes."""
        from liveview.bench.scene import load_scene, scene_names
        from liveview.gui.bridge import SourceOffer

        scenes = [SourceOffer(SIMULATED, "Your rig", "mirror, lamp and blade of the set-up")]
        for name in scene_names():
            scenes.append(SourceOffer(f"{SIMULATED}:{name}", load_scene(name).title))
        return scenes

    def session(self, address: str, settings: Settings) -> Session:
        """A session for an address, not started."""
        from liveview.sources import Input

        clock = SessionClock()
        sink = self._recorder
        settings, keep = self._cameras.begin(address, settings)
        source = Input(address, settings, clock=clock, live=True)
        if keep is not None and source.camera is not None:
            source.camera.on_change = keep
        self._address = address
        return Session(
            settings,
            source.frames,
            sound=source.sound if source.has_sound else None,
            sound_wanted=source.use,
            sink=sink,
            store_status=None if sink is None else sink.status,
            rig=source.rig,
            camera=source.camera,
            clock=clock,
        )

    def supplies(self) -> Supplies:
        """What the window is handed."""
        from liveview.gui.bridge import Supplies

        keep = None if self._recorder is None else self._recorder.save_pending
        return Supplies(self.session, self.cameras, self.scenes(), self.microphones, keep)

    def close(self) -> None:
        """Let the recorder finish what it can in the time."""
        if self._recorder is None:
            return
        try:
            self._recorder.close(RECORDER_CLOSE_S)
        except WorkerStuck as error:
            print(f"liveview: {error}", file=sys.stderr)


def _show(
    house: House, settings: Settings, candidates: list[str], *, on_stage: bool = False
) -> int:
    first = _First(house, settings, candidates)
    try:
        from PyQt6.QtWidgets import QApplication

        from liveview.gui.bridge import Bridge
        from liveview.gui.other_pages import add_other_pages_later
        from liveview.gui.theme import dress
        from liveview.gui.window import Window

        app = QApplication(["liveview"])
        app.setApplicationName("liveview")
        app.setDesktopFileName("liveview")
        dress(app)
        bridge = Bridge(house.supplies(), settings, frame_interval_s=_interval(app))
        window = Window(bridge, VIEWS)
        early = first.session()
    except BaseException:
        first.give_up()
        raise
    for words in house.words:
        bridge.note(words)
    if early is not None:
        bridge.adopt(early, candidates[0], candidates[1:])
    else:
        bridge.open_first(candidates)
    _fit_to_screen(window, app)
    _tell_first_picture(window.page.dial.picture.painted)
    begin = _stage(window, bridge) if on_stage else None
    add_other_pages_later(window, bridge)
    with _Guard(window, app) as guard:
        window.show()
        if begin is not None:
            begin()
        bridge.start()
        gc.freeze()
        gc.enable()
        code = app.exec()
    for words in (*guard.words, *window.stuck):
        print(f"liveview: {words}", file=sys.stderr)
    return 1 if guard.words else code


class _First:
    """The first candidate's session, built and started while Qt is being loaded."""

    def __init__(self, house: House, settings: Settings, candidates: list[str]) -> None:
        self._last = len(candidates) == 1
        self._session: Session | None = None

        def start(stop: object) -> None:
            session = house.session(candidates[0], settings)
            session.start()
            self._session = session

        self._worker = Worker("start", start)
        self._worker.start()

    def session(self) -> Session | None:
        """Wait for it; None when it cannot even be built and there are other candidates."""
        self._worker.join(BUILD_S)
        if not isinstance(self._worker.error, LiveviewError) or self._last:
            self._worker.raise_error()
        return self._session

    def give_up(self) -> None:
        """The window is not to be."""
        self._worker.join(BUILD_S)
        if self._session is not None:
            self._session.stop()


def _stage(window: Window, bridge: Bridge) -> Callable[[], None]:
    """The Show page from the start; returns what puts the show on the audience's screen."""
    from liveview.gui.show_page import join_show

    page = join_show(window, bridge)
    _tell_first_picture(page.desk.audience.painted)

    def begin() -> None:
        window.turn_to("Show")
        page.desk.begin()

    return begin


def _interval(app: QApplication) -> float:
    """Seconds between two pictures of the display."""
    screen = app.primaryScreen()
    rate = 60.0 if screen is None else screen.refreshRate()
    return 1.0 / min(max(rate, 30.0), 120.0)


def _tell_first_picture(painted: pyqtBoundSignal) -> None:
    """For scripts that start the window: write the time of the first picture into a file."""
    wanted = os.environ.get("LIVEVIEW_FIRST_PICTURE")
    if not wanted:
        return

    def tell(reading: object) -> None:
        if reading is not None:
            painted.disconnect(tell)
            Path(wanted).write_text(f"{time.time():.6f}\n", encoding="ascii")

    painted.connect(tell)


def _fit_to_screen(window: QWidget, app: QApplication) -> None:
    """As large as there is room for.

    How much of it the frame takes is known to the window manager only: where the window with a
    title bar would not fit, it is asked to fill the screen.
    """
    from PyQt6.QtCore import Qt

    screen = app.primaryScreen()
    if screen is None:
        window.resize(1280, 800)
        return
    room = screen.availableGeometry()
    width, height = min(WIDTH, room.width()), min(HEIGHT, room.height())
    window.resize(width, height)
    if room.width() < WIDTH + FRAME_PX or room.height() < HEIGHT + FRAME_PX:
        window.setWindowState(window.windowState() | Qt.WindowState.WindowMaximized)


class _Guard:
    """Ends the window in words: on Ctrl-C, on SIGTERM, and on a fault inside a Qt callback."""

    def __init__(self, window: Window, app: QApplication) -> None:
        self._window = window
        self._app = app
        self.words: list[str] = []
        self._hook: Callable[..., object] = sys.excepthook
        self._handlers: dict[int, object] = {}

    def __enter__(self) -> _Guard:
        sys.excepthook = self._fault
        for number in (signal.SIGINT, signal.SIGTERM):
            self._handlers[number] = signal.signal(number, self._asked)
        return self

    def __exit__(self, *fault: object) -> None:
        sys.excepthook = self._hook
        for number, handler in self._handlers.items():
            signal.signal(number, handler)  # type: ignore[arg-type]

    def _asked(self, number: int, frame: FrameType | None) -> None:
        self._close_soon()

    def _close_soon(self) -> None:
        """After the present event: this may be in the middle of a paint event."""
        from PyQt6.QtCore import QTimer

        QTimer.singleShot(0, self._window.close)

    def _fault(
        self, kind: type[BaseException], error: BaseException, trace: TracebackType | None
    ) -> None:
        from liveview.gui.faults import keep_trace

        first = not self.words
        place = keep_trace(error)
        self.words.append(f"{kind.__name__}: {' '.join(str(error).split())}{place}")
        if first:
            self._close_soon()

"""Between the window and the chain thread: asks for aids, hands the newest ones out."""

from __future__ import annotations

import threading

from liveview.engine.aids import AidsReading, AlignAids, SteadyUncut, Target
from liveview.engine.mailbox import Mailbox
from liveview.model import Frame, Reading, SourceInfo
from liveview.settings import Settings


class AidsDesk:
    """Orders come from any thread; the chain thread serves them for each frame shown.

    ``serve_blade`` is for before the reading is announced, so that the number on the screen is
    that of the picture beside it; ``serve`` does all the rest when the picture is on its way.

    Nothing is computed while nobody asked (``want(False)``, as at the start).
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._wanted = False
        self._target = Target.MIRROR
        self._focus_at: tuple[float, float, float] | None = None
        self._smooth_s = 0.15
        self._forget = 0
        self._mailbox: Mailbox[AidsReading] = Mailbox()
        self._uncut: SteadyUncut | None = None
        self._aids: AlignAids | None = None
        self._made_for: tuple[SourceInfo, str, str] | None = None
        self._done: tuple[Target, tuple[float, float, float] | None, int] | None = None

    def want(self, on: bool) -> None:
        """Switch the aids on (somebody looks at them) or off."""
        with self._lock:
            self._wanted = on

    def look_at(self, target: Target) -> None:
        """Say what the camera looks at."""
        with self._lock:
            self._target = target

    def focus_on(self, at: tuple[float, float, float] | None) -> None:
        """Judge sharpness in a square (x, y, side) in pixels; None: on the mirror's rim."""
        with self._lock:
            self._focus_at = at

    def smooth(self, tau_s: float) -> None:
        """Time constant of the blade reading's smoothing, seconds; 0 switches it off."""
        with self._lock:
            self._smooth_s = tau_s

    def forget_best(self) -> None:
        """Forget the best sharpness and the smallest image."""
        with self._lock:
            self._forget += 1

    def newest(self) -> AidsReading | None:
        """The newest aids, None before the first."""
        return self._mailbox.get()

    def newest_uncut(self) -> SteadyUncut | None:
        """The smoothed blade reading of the newest reading, None where there is none."""
        return self._uncut

    def serve_blade(self, reading: Reading, settings: Settings, info: SourceInfo) -> None:
        """Smooth the blade reading when somebody wants aids. Chain thread only."""
        with self._lock:
            wanted, smooth_s = self._wanted, self._smooth_s
        if not wanted:
            self._uncut = None
            return
        aids = self._made(settings, info)
        aids.smoother.tau_s = smooth_s
        self._uncut = aids.see_blade(reading)

    def serve(self, frame: Frame, reading: Reading, settings: Settings, info: SourceInfo) -> None:
        """Compute the aids for a frame when somebody wants them. Chain thread only."""
        with self._lock:
            wanted, order = self._wanted, (self._target, self._focus_at, self._forget)
        if not wanted:
            return
        self.serve_blade(reading, settings, info)
        aids = self._made(settings, info)
        self._obey(aids, order)
        self._mailbox.put(aids.see(frame, reading))

    def _made(self, settings: Settings, info: SourceInfo) -> AlignAids:
        made_for = (info, settings.camera.transfer, settings.camera.channel)
        if self._aids is None or made_for != self._made_for:
            self._aids, self._made_for, self._done = AlignAids(settings, info), made_for, None
        return self._aids

    def _obey(
        self, aids: AlignAids, order: tuple[Target, tuple[float, float, float] | None, int]
    ) -> None:
        done, self._done = self._done, order
        if done is None or done[0] is not order[0]:
            aids.look_at(order[0])
        if done is None or done[1] != order[1]:
            aids.focus_on(order[1])
        if done is not None and done[2] != order[2]:
            aids.forget_best()

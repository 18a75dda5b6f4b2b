"""The presenter's desk: what the audience sees at this moment, and what changes it.

::

    live reading --.
    frozen one  ---+--> one picture --> scene --> frame --> flash guard --> audience's window
    slow replay --'     (wipe, spotlight, words, drawing, fades)      '--> presenter's small copy

It lives in the window's thread. New readings are composed at once; a timer runs only while
something glides, a replay plays or the guard holds something back.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

from PyQt6.QtCore import QObject, Qt, QTimer, pyqtSignal
from PyQt6.QtWidgets import QWidget

from liveview.gui.audience import AudienceWindow
from liveview.gui.audience_frame import AudienceFrame, Seen
from liveview.gui.audience_screens import Stage
from liveview.gui.bridge import Bridge
from liveview.gui.controls import Controls
from liveview.gui.show_board import Board
from liveview.gui.show_faders import Fader
from liveview.gui.show_gain import MoreGain
from liveview.gui.show_scene import SceneMaker, Source
from liveview.gui.show_slow import SlowReplays
from liveview.gui.show_still import Still, Stills
from liveview.gui.show_words import GuardLog
from liveview.imaging.flashes import FIELD_SHARE
from liveview.model import ArmState, Reading, SessionState, SessionStatus
from liveview.settings import Settings, Show

TICK_MS = 16
STALL_S = 1.0
"""Without a new picture for so long the small mark is shown."""
SPOT_STEP = 0.12


class ShowDesk(QObject):
    """Owns the audience's window and all that it shows.

    Parameters
    ----------
    bridge : Bridge
        Readings, status, session.
    controls : Controls
        Changes settings for the whole window.
    views : tuple of str
        The views there are.
    presenter : QWidget
        A widget of the presenter's window.
    """

    changed = pyqtSignal()
    """Something the presenter reads is different."""
    composed = pyqtSignal()
    """A new frame was sent."""

    def __init__(
        self,
        bridge: Bridge,
        controls: Controls,
        views: tuple[str, ...],
        presenter: QWidget,
        *,
        clock: Callable[[], float] = time.perf_counter,
    ) -> None:
        super().__init__(presenter)
        self._bridge = bridge
        self._controls = controls
        self._views = tuple(view for view in views if view != "plain")
        self._clock = clock
        self._settings = bridge.settings
        self.frame = AudienceFrame()
        self.audience = AudienceWindow()
        self.stage = Stage(presenter, self.audience)
        self.log = GuardLog()
        self.page_open = False
        self.board = Board(bridge.settings.show)
        self.began_s: float | None = None
        self._scenes = SceneMaker(self.board, clock)
        self._live: Reading | None = None
        self._arrived_s = 0.0
        self._armed: object = None
        self._frozen: Still | None = None
        self._stills = Stills(bridge)
        self.slow = SlowReplays(bridge, lambda: (self._settings, self._live))
        self.slow.by_itself = bridge.settings.show.replay_by_itself
        self._presented_s = self._ticked_s = self._clock()
        self.gain = MoreGain(self, controls, bridge.said.emit)
        self.gain.ended.connect(self._now)
        self._timer = QTimer(self)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.setInterval(TICK_MS)
        self._timer.timeout.connect(self._tick)
        bridge.new_reading.connect(self._on_reading)
        bridge.new_status.connect(self._on_status)
        self.stage.said.connect(bridge.said)
        self.stage.changed.connect(self._stage_changed)
        self.audience.resized.connect(self._resized)

    # --- what is so

    @property
    def show(self) -> Show:
        """The show's own settings."""
        return self.board.show

    @property
    def frozen(self) -> bool:
        """The picture is held by the presenter."""
        return self._frozen is not None

    @property
    def replaying(self) -> bool:
        """A slow replay is under way or about to begin."""
        return self.slow.under_way

    @property
    def boosted(self) -> bool:
        """Bigger gain for a moment."""
        return self.gain.on

    @property
    def live(self) -> Reading | None:
        """The newest live reading."""
        return self._live

    @property
    def stalled(self) -> bool:
        """No new picture comes."""
        if self._live is None:
            return False
        running = self._bridge.status.state is SessionState.RUNNING
        return not running or self._clock() - self._arrived_s > STALL_S

    @property
    def active(self) -> bool:
        """Somebody looks: the audience, or the presenter at the small copy."""
        return self.stage.running or self.page_open

    def set_settings(self, settings: Settings) -> None:
        """The settings in force; another show starts at its beginning."""
        before, self._settings = self._settings, settings
        self._scenes.set_rig(settings)
        self.gain.set_settings(settings)
        if settings.show != before.show:
            self.board.start(settings.show)
            self.slow.by_itself = settings.show.replay_by_itself
            self.stage.wanted = settings.show.screen
            self.changed.emit()

    def set_page_open(self, on: bool) -> None:
        """The Show page is looked at."""
        self.page_open = on
        if on:
            self.present()

    # --- what can be done

    def deed(self, name: str) -> Callable[[], None]:
        """What a presenter's key does."""
        step = {
            "spotlight_left": (-SPOT_STEP, 0.0),
            "spotlight_right": (SPOT_STEP, 0.0),
            "spotlight_up": (0.0, -SPOT_STEP),
            "spotlight_down": (0.0, SPOT_STEP),
        }
        deeds: dict[str, Callable[[], None]] = {
            "next": lambda: self.go_to(self.board.at + 1),
            "previous": lambda: self.go_to(self.board.at - 1),
            "blank": lambda: self._fade(self.board.light, 1.0 if self.board.blank else 0.0),
            "freeze": self.freeze,
            "wipe": self.wipe,
            "half": lambda: self._wipe_to(0.5 if self.board.edge.target != 0.5 else 0.0),
            "replay": self.replay,
            "replay_by_itself": self._flip_by_itself,
            "spotlight": lambda: self._fade(
                self.board.spot_depth, 1.0 - self.board.spot_depth.target
            ),
            "more_gain": self.more_gain,
            "view": self.next_view,
            "caption": lambda: self._flip("caption_on"),
            "clock": lambda: self._flip("clock_on"),
            "legend": lambda: self._flip("legend_on"),
            "explanation": lambda: self._flip("drawing_on"),
            "screen": self.toggle_stage,
            "next_screen": self.stage.next_screen,
            "swap": self.stage.swap,
        }
        if name in step:
            dx, dy = step[name]
            return lambda: self.point_at(self.board.spot[0] + dx, self.board.spot[1] + dy)
        return deeds[name]

    def toggle_stage(self) -> None:
        """On the audience's screen, or off it."""
        if self.stage.running:
            self.stage.end()
        else:
            self.begin()

    def begin(self) -> None:
        """Go on the audience's screen with what there is."""
        if self.began_s is None:
            self.began_s = self._clock()
        self.present()
        self.stage.begin()
        self._show_sent()

    def go_to(self, index: int) -> None:
        """Another caption, with its view."""
        last = len(self.board.captions) - 1
        if last < 0:
            self._bridge.said.emit("No captions were prepared: they stand in the show file.")
            return
        wanted = min(max(index, -1), last)
        if wanted == self.board.at:
            end = "That was the last caption." if index > last else "That was the first one."
            self._bridge.said.emit(end)
            return
        self.board.at, self.board.caption_on = wanted, True
        caption = self.board.caption
        if caption is not None and caption.view is not None:
            self.look(caption.view)
        self._now()

    def look(self, view: str) -> None:
        """Another view: the plain one is wiped in, others are wiped to."""
        if view == "plain":
            self._wipe_to(1.0)
        else:
            self._from_plain(view)

    def next_view(self) -> None:
        """The next view that is not plain."""
        now = self._settings.enhance.view
        at = self._views.index(now) + 1 if now in self._views else 0
        self._from_plain(self._views[at % len(self._views)])

    def wipe(self) -> None:
        """To the plain picture, or back."""
        if self._settings.enhance.view == "plain":
            self._from_plain("lifted")
        else:
            self._wipe_to(0.0 if self.board.edge.target > 0.0 else 1.0)

    def _from_plain(self, view: str) -> None:
        if self._settings.enhance.view == "plain":
            self.board.edge.jump(1.0)
        if view != self._settings.enhance.view:
            self._controls.view(view)
        self._wipe_to(0.0)

    def _wipe_to(self, edge: float) -> None:
        self._fade(self.board.edge, edge)

    def set_edge(self, edge: float) -> None:
        """The wipe's edge by hand, share of the disc's width."""
        self.board.edge.jump(min(max(edge, 0.0), 1.0))
        self._now()

    def freeze(self) -> None:
        """Hold what is seen; again: go on. A replay is held, too."""
        if self._frozen is not None:
            self._frozen = None
        else:
            there = self._current()
            if there is None:
                self._bridge.said.emit("There is no picture to hold yet.")
                return
            frame = there.frame or self._stills.raw(there.reading)
            own = replace(there.reading, picture=there.reading.picture.copy())
            self._frozen = Still(own, frame)
        self._now()

    def point_at(self, x: float, y: float) -> None:
        """Spotlight on a place, -1..1 over the disc."""
        size = max(1.0, (x * x + y * y) ** 0.5)
        self.board.spot = (x / size, y / size)
        self._fade(self.board.spot_depth, 1.0)

    def more_gain(self) -> None:
        """Bigger gain for a moment; again: back at once."""
        show = self.show
        self.gain.toggle(self._settings, self._live, show.more_gain, show.more_gain_for_s)
        self._now()

    def set_guard(self, on: bool) -> None:
        """The flash guard; the page asks before it is switched off."""
        self.frame.guarded = on
        self._now()

    def _flip_by_itself(self) -> None:
        self.slow.by_itself = not self.slow.by_itself
        self._now()

    def _flip(self, name: str) -> None:
        setattr(self.board, name, not getattr(self.board, name))
        self._now()

    def _fade(self, fader: Fader, target: float) -> None:
        fader.go(target)
        self._now()

    def _now(self) -> None:
        self.changed.emit()
        self.present()
        self._keep_ticking()

    def replay(self) -> None:
        """The last spark slowly; again: live at once."""
        self.slow.toggle(self._bridge.status)
        self._now()

    # --- what comes in

    def _on_reading(self, reading: Reading) -> None:
        self._live, self._arrived_s = reading, self._clock()
        self._scenes.set_reading(reading)
        if self.active and self._frozen is None and not self.slow.playing:
            self.present()

    def _on_status(self, status: SessionStatus) -> None:
        if not self.active:
            return
        self._arm_once(status)
        self.slow.watch(status, on_stage=self.stage.running)
        if self._clock() - self._presented_s > 0.25:
            self.present()  # the clock, the small mark, a drawing: also without new pictures
        self._keep_ticking()

    def _arm_once(self, status: SessionStatus) -> None:
        """Without the trigger nothing would be replayed by itself."""
        session = self._bridge.session
        wanted = self.slow.by_itself and self.stage.running
        if wanted and status.state is SessionState.RUNNING and session is not self._armed:
            self._armed = session
            if session is not None and status.arm is ArmState.OFF:
                session.arm()
                self._bridge.said.emit("The trigger is armed, for the replays.")

    def _stage_changed(self) -> None:
        if self.stage.running and self.began_s is None:
            self.began_s = self._clock()
        self._show_sent()
        self.changed.emit()

    def _resized(self) -> None:
        if self.stage.running:
            QTimer.singleShot(0, self.present)  # painting has to wait for the end of the resizing

    def _tick(self) -> None:
        now = self._clock()
        gone, self._ticked_s = min(now - self._ticked_s, 0.1), now
        self.board.glide(gone)
        if self._frozen is None and self.slow.advance(gone):
            self.changed.emit()
        if now - self._presented_s > TICK_MS * 0.6e-3:
            self.present()
        self._keep_ticking()

    def _keep_ticking(self) -> None:
        held = self.log.share < 1.0
        wanted = self.active and (self.board.gliding or held or self.slow.playing)
        if wanted and not self._timer.isActive():
            self._ticked_s = self._clock()
            self._timer.start()
        elif not wanted:
            self._timer.stop()

    # --- the picture

    def _current(self) -> Still | None:
        """The picture of the moment."""
        if self._frozen is not None:
            return self._frozen
        if self.slow.shown is not None:
            return self.slow.shown
        return None if self._live is None else Still(self._live, None)

    def present(self) -> None:
        """Compose, judge and send one frame."""
        if not self.active:
            return
        now = self._presented_s = self._clock()
        self._fit()
        still = self._current()
        seen = None
        if still is not None:
            plain = (
                self._stills.plain(still, self._settings) if self.board.edge.value > 0.0 else None
            )
            seen = Seen(still.reading.picture, still.reading.disc, plain)
        scene = self._scenes.scene(self._source(still), self.frame.places.drawing)
        result = self.frame.compose(seen, scene, now)
        self.log.note(result, now)
        if result.share < 1.0:
            self._keep_ticking()
        if self.stage.running:
            self.audience.show_frame(result.picture, None if still is None else still.reading.stamp)
        self.composed.emit()

    def _fit(self) -> None:
        if self.stage.running and self.audience.isVisible():
            size = self.audience.pixels
            self.frame.fit(size.width(), size.height())
        elif self.stage.place is not None:
            place = self.stage.place
            size = place.size() * place.devicePixelRatio()
            self.frame.fit(size.width(), size.height())

    def _show_sent(self) -> None:
        if self.stage.running and self.frame.sent is not None:
            self.audience.show_frame(self.frame.sent)

    def _source(self, still: Still | None) -> Source:
        """What the audience is told about the picture of the moment."""
        mark, source = self.slow.mark, self._bridge.status.source
        if self._frozen is not None:
            mark = f"{mark}, held" if mark else "Frozen picture"
        return Source(
            reading=None if still is None else still.reading,
            mark=mark,
            stalled=not mark and self.stalled,
            simulated=source is not None and source.simulated,
        )

    def guard_words(self) -> tuple[str, str]:
        """What the flash guard does, for the presenter."""
        return self.log.words(
            on=self.frame.guarded,
            flashes=self.flashes,
            over=self.frame.over_limit > FIELD_SHARE,
        )

    @property
    def flashes(self) -> int:
        """Flashes that count in the last second."""
        return self.frame.guard.flashes(self._clock())

    # --- the end

    def finish(self, timeout_s: float) -> tuple[str, ...]:
        """Close the audience's window and end the replay; words about what is stuck."""
        self._timer.stop()
        self.gain.stop()
        words = self.slow.finish(timeout_s)
        self.stage.running = False
        self.audience.end()
        return words

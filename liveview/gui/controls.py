"""What the user can do to the session, apart from how it is asked for."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from liveview.errors import LiveviewError
from liveview.gui.bridge import Bridge
from liveview.gui.words import with_unit
from liveview.model import ArmState, CalibrationKind, Disc, Reading, Side
from liveview.settings import Settings

GAIN_STEP = 2**0.5
SIDES = (Side.LEFT, Side.TOP, Side.RIGHT, Side.BOTTOM)


class Controls:
    """Turns wishes into calls of the session; what cannot be done is said, never raised.

    Parameters
    ----------
    bridge : Bridge
    newest : callable
        The reading on the screen.
    changed : callable
        Told the new settings.
    """

    def __init__(
        self,
        bridge: Bridge,
        newest: Callable[[], Reading | None],
        changed: Callable[[Settings], None],
    ) -> None:
        self._bridge = bridge
        self._newest = newest
        self._changed = changed

    def take(self, kind: CalibrationKind) -> None:
        """Take a calibration picture; the same again while it is taken stops it."""
        session = self._bridge.session
        if session is None:
            self._say("No source is open yet.")
            return
        taking = session.status().taking
        try:
            if taking is not None and taking[0] == kind.value:
                session.cancel_take()
                self._say(f"Stopped taking the {kind.value} picture.")
            else:
                session.take(kind)
        except LiveviewError as error:
            self._say(str(error))

    def undo(self) -> None:
        """Back to the calibration before the last change."""
        session = self._bridge.session
        if session is None or not session.status().can_undo:
            self._say("Nothing to undo.")
            return
        session.undo_take()
        self._say("Back to the calibration before.")

    def arm(self) -> None:
        """Arm, or disarm."""
        session = self._bridge.session
        if session is None:
            self._say("No source is open yet.")
        elif session.status().arm is ArmState.OFF:
            self._try(session.arm)
        else:
            self._try(session.disarm)

    def learn_quiet(self) -> None:
        """Arm by learning the quiet, also when it is armed already."""
        session = self._bridge.session
        if session is None:
            self._say("No source is open yet.")
        else:
            self._try(session.arm)

    def trigger(self) -> None:
        """Keep an event now."""
        session = self._bridge.session
        if session is None:
            self._say("No source is open yet.")
        else:
            self._try(session.trigger)

    def place_disc(self, disc: Disc | None) -> None:
        """Set the disc, or have it found."""
        if self._bridge.session is not None:
            self._bridge.session.place_disc(disc)

    def view(self, name: str) -> None:
        """Choose a view."""
        self._set("enhance", view=name)

    def gain(self) -> None:
        """Between automatic and fixed at what it is."""
        if self._bridge.settings.enhance.gain_contrast is not None:
            self._set("enhance", gain_contrast=None)
            return
        scale = self._scale()
        if scale is None:
            self._say("This view has no gain.")
        else:
            self._set("enhance", gain_contrast=scale)

    def gain_by(self, steps: int) -> None:
        """Make the faint brighter (or less so); fixes the gain."""
        scale = self._bridge.settings.enhance.gain_contrast or self._scale()
        if scale is None:
            self._say("This view has no gain.")
            return
        wanted = min(max(scale / GAIN_STEP**steps, 1e-4), 10.0)
        self._set("enhance", gain_contrast=wanted)
        self._say(f"Full colour at ±{with_unit(wanted, 'contrast')} of contrast.")

    def blade_side(self) -> None:
        """The blade comes in from the next side."""
        side = self._bridge.settings.blade.side
        following = SIDES[(SIDES.index(side) + 1) % len(SIDES)]
        self._set("blade", side=following)
        self._say(f"The blade comes in from the {following.value}.")

    def _scale(self) -> float | None:
        """Contrast at the palette's end, from the reading on the screen."""
        reading = self._newest()
        if reading is None or reading.scale is None or reading.unit != "contrast":
            return 0.05 if reading is not None and reading.scale is not None else None
        return reading.scale

    def set(self, section: str, name: str, value: object) -> None:
        """Change one setting."""
        self._set(section, **{name: value})

    def set_all(self, section: str, values: Mapping[str, object]) -> None:
        """Change several settings of one section at once."""
        self._set(section, **values)

    def _set(self, section: str, **values: object) -> None:
        try:
            settings = self._bridge.settings.replaced(section, **values)
        except LiveviewError as error:
            self._say(str(error))
            return
        self._bridge.apply(settings)
        self._changed(settings)

    def _try(self, what: Callable[[], None]) -> None:
        try:
            what()
        except LiveviewError as error:
            self._say(str(error))

    def _say(self, words: str) -> None:
        self._bridge.said.emit(words)

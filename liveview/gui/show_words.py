"""Words of the show: what the audience reads about the picture, what the presenter is told."""

from __future__ import annotations

from collections import deque

from liveview.gui.audience_scene import Legend
from liveview.gui.legend import legend_words
from liveview.gui.words import THIN, count
from liveview.imaging.flash_guard import Guarded
from liveview.model import Reading, SessionState, SessionStatus

CAUTION = (
    "Flashing pictures can harm people with photosensitive epilepsy. "
    "Tell the audience before sparks; the guard is no promise."
)

CAUTIONS = (
    (
        "What the guard does",
        "It weighs every picture before it is sent to the audience's screen, words and drawing "
        "included, against WCAG 2.3.1 and ITU-R BT.1702: no more than three flashes in any one "
        "second over more than a quarter of a ten degree field, flashes to and from saturated red "
        "included. A picture that would exceed this is mixed with the one before, or held.",
    ),
    (
        "What it cannot do",
        "Pictures within these limits can still harm some people. Nobody knows how near they sit, "
        "and the spark itself flashes in the room, outside the screen. A window smaller than the "
        "screen is judged as if it were the screen.",
    ),
    (
        "Without it",
        "Sparks, switched lamps and hands before the lamp may flash over the whole screen as often "
        "as they please. Only where everybody who can see the screen has been told and agrees.",
    ),
    (
        "Before the show",
        "Say that there will be flashes and loud cracks, and let people leave or look away. Local "
        "rules for public shows, high voltage and flames come first.",
    ),
)

VIEW_LEGENDS = {
    "plain": "As the camera sees it",
    "lifted": "Lifted from the still background",
    "signed": "Light bent one way or the other",
    "movement": "Only what moves",
    "trail": "Peaks of the last seconds",
    "arrows": "Where it flows",
    "significance": "Against the camera's own noise",
}


def legend_of(reading: Reading, edge: float) -> Legend:
    """What the audience reads about the picture; ``edge`` is the share shown plainly."""
    view = VIEW_LEGENDS.get(reading.view, reading.view)
    if reading.view == "plain" or edge >= 1.0:
        return Legend(VIEW_LEGENDS["plain"])
    words = view if edge <= 0.0 else f"Left: as the camera sees it. Right: {_low(view)}"
    if reading.scale is None:
        return Legend(words)
    return Legend(words, reading.view, legend_words(reading))


class CalmLegend:
    """The legend; its figures follow the gain only now and then."""

    EVERY_S = 1.0

    def __init__(self) -> None:
        self._made_s = float("-inf")
        self._made_for: object = None
        self._legend = Legend("")

    def of(self, reading: Reading, edge: float, now_s: float) -> Legend:
        """What the audience reads about the picture; at once when it is another one."""
        key = (reading.view, edge <= 0.0, edge >= 1.0)
        if self._made_for != key or now_s - self._made_s > self.EVERY_S:
            self._legend = legend_of(reading, edge)
            self._made_s, self._made_for = now_s, key
        return self._legend


def _low(words: str) -> str:
    return words[:1].lower() + words[1:]


STILL = {
    SessionState.STALLED: "No picture comes from the camera: the audience sees the last one.",
    SessionState.FAILED: "The camera cannot be used: the audience sees the last picture.",
    SessionState.ENDED: "The recording is over: the audience sees its last picture.",
    SessionState.OPENING: "The source is being opened.",
}


def state_words(status: SessionStatus, *, seen: bool = False) -> str:
    """What is wrong with the source, for the presenter; empty when pictures come.

    ``seen``: there is a last picture, which stays while a source that stalled is opened again.
    """
    again = seen and status.state is SessionState.OPENING
    return STILL.get(SessionState.STALLED if again else status.state, "")


WHY = "One flash more than three in a second would be too many; less gain calms it."


class GuardLog:
    """What the flash guard has done, in words for the presenter."""

    KEPT_S = 60.0

    def __init__(self) -> None:
        self._touched: deque[tuple[float, float]] = deque()
        self._share = 1.0

    def note(self, result: Guarded, now_s: float) -> None:
        """One picture was judged."""
        self._share = result.share
        if result.share < 1.0:
            self._touched.append((now_s, result.share))
        while self._touched and self._touched[0][0] < now_s - self.KEPT_S:
            self._touched.popleft()

    @property
    def share(self) -> float:
        """How much of the newest picture was sent: 1 all of it."""
        return self._share

    @property
    def touched(self) -> int:
        """Pictures softened or held in the last minute."""
        return len(self._touched)

    def words(self, *, on: bool, flashes: int, over: bool) -> tuple[str, str]:
        """Headline and a line below it."""
        recent = count(flashes, "flash", "flashes") + " in the last second; three are allowed"
        if not on:
            now = "Over the limits at this moment." if over else recent + "."
            return "Flash guard is OFF", now
        if self._share < 1.0:
            does = "holds the picture"
            if self._share > 0.0:
                does = f"softens to {100 * self._share:.0f}{THIN}%"
            return f"Flash guard {does}", WHY
        if self._touched:
            held = sum(1 for _, share in self._touched if share == 0.0)
            softened = len(self._touched) - held
            return (
                "Flash guard is on",
                f"In the last minute it softened {count(softened, 'picture', 'pictures')} "
                f"and held {held}.",
            )
        return "Flash guard is on", "Nothing was held back in the last minute."

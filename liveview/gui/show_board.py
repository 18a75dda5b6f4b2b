"""What the presenter has set: the caption that is up, the words that are on, and what glides."""

from __future__ import annotations

from liveview.gui.show_faders import Fader
from liveview.settings import Caption, Show

FADE_S = 0.4
WIPE_S = 1.2


class Board:
    """The state of the audience's picture, apart from where the picture comes from.

    Parameters
    ----------
    show : Show
        The show's own settings.
    """

    def __init__(self, show: Show) -> None:
        self.caption_on = True
        self.light = Fader(1.0, FADE_S)
        """0 is a blank screen."""
        self.edge = Fader(0.0, WIPE_S)
        """Share of the disc's width, from the left, that shows the plain picture."""
        self.spot_depth = Fader(0.0, FADE_S)
        self.spot = (0.0, 0.0)
        """Middle of the spotlight, -1..1 over the disc."""
        self.start(show)

    def start(self, show: Show) -> None:
        """Another show, from its beginning."""
        self.show = show
        self.at = 0 if show.caption_first else -1
        """Index of the caption that is up; -1 before the first."""
        self.clock_on, self.legend_on = show.clock, show.legend
        self.drawing_on = show.explanation

    @property
    def captions(self) -> tuple[Caption, ...]:
        """All captions in order."""
        return self.show.captions

    @property
    def caption(self) -> Caption | None:
        """The one that is up."""
        return self.captions[self.at] if 0 <= self.at < len(self.captions) else None

    @property
    def blank(self) -> bool:
        """The screen is dark, or is going to be."""
        return self.light.target == 0.0

    @property
    def has_words(self) -> bool:
        """Something may stand beside the picture: room is kept for it."""
        return bool(self.captions or self.clock_on or self.legend_on or self.drawing_on)

    @property
    def gliding(self) -> bool:
        """Something is on its way."""
        return any(fader.moving for fader in self._faders)

    def glide(self, seconds: float) -> None:
        """So much time has gone by."""
        for fader in self._faders:
            fader.step(seconds)

    @property
    def _faders(self) -> tuple[Fader, ...]:
        return self.light, self.edge, self.spot_depth

"""The look of the instrument: colours, one type scale, one spacing.

Everything on the screen is measured in one unit that follows the window's size, so that the same
drawing serves a laptop and a projector.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from functools import lru_cache

from PyQt6.QtCore import QByteArray
from PyQt6.QtGui import QColor, QFont, QFontDatabase, QPalette
from PyQt6.QtWidgets import QApplication

from liveview.shipped import shipped_folder

REFERENCE_HEIGHT = 800.0
REFERENCE_WIDTH = 1280.0
REFERENCE_TEXT = 15.0
"""Body text is 15 px in a window of 1280 x 800 and grows with it."""

FAMILY = "Karla"
"""Shipped typeface; the system's own sans serif stands in where it cannot be loaded."""


class Type(Enum):
    """The type scale: sizes relative to body text."""

    SMALL = 0.867
    BODY = 1.0
    LEAD = 1.27
    HEAD = 1.73
    TITLE = 2.5
    FIGURE = 4.4


class Weight(Enum):
    """Weights of the shipped typeface."""

    PLAIN = QFont.Weight.Normal
    FIRM = QFont.Weight.Medium
    STRONG = QFont.Weight.Bold


@dataclass(frozen=True, slots=True)
class Colours:
    """Dark-room colours: charcoal, bone, brass. All text keeps at least 7:1 on ``ground``."""

    ground: QColor
    raised: QColor
    line: QColor
    tick: QColor
    """Engraved marks, no text."""
    quiet: QColor
    """Secondary text."""
    text: QColor
    """Readings and words."""
    brass: QColor
    """The accent: index, target, what is switched on."""
    brass_dim: QColor
    shade: QColor
    """The shadow's mark; far from brass in hue and told apart by shape, too."""
    ember: QColor
    """What needs a person."""


COLOURS = Colours(
    ground=QColor("#141210"),
    raised=QColor("#1f1c19"),
    line=QColor("#3a352f"),
    tick=QColor("#7d7568"),
    quiet=QColor("#aca393"),
    text=QColor("#e6dfd1"),
    brass=QColor("#d2aa63"),
    brass_dim=QColor("#6f5a35"),
    shade=QColor("#93abc4"),
    ember=QColor("#ee8070"),
)


FITTING = (1.0, 0.93, 0.87, 0.8)
"""Sizes that are tried in turn where words have little room, of the usual size."""


@dataclass(frozen=True, slots=True)
class Look:
    """Sizes for one window size.

    ``text_px`` is the height of body text in pixels; ``step_px`` the spacing everything uses.
    ``text_scale`` is the part of the text's size that the spacing does not follow.
    """

    text_px: float = REFERENCE_TEXT
    text_scale: float = 1.0

    @classmethod
    def for_window(cls, width: float, height: float, text_scale: float = 1.0) -> Look:
        """The look for a window of this size in pixels.

        ``text_scale`` makes words larger or smaller in the same places; the settings limit it to
        what there is room for.
        """
        fit = min(width / REFERENCE_WIDTH, height / REFERENCE_HEIGHT)
        return cls(REFERENCE_TEXT * min(max(fit, 0.72), 4.0) * text_scale, text_scale)

    def spread(self, by: float) -> Look:
        """The same text with spacing so many times as wide."""
        return Look(self.text_px, self.text_scale / by)

    def smaller(self, by: float) -> Look:
        """Text so many times as large with the same spacing."""
        return Look(self.text_px * by, self.text_scale * by)

    @property
    def step_px(self) -> float:
        """One step of spacing: half of body text at scale 1."""
        return self.text_px / self.text_scale / 2

    def px(self, steps: float) -> float:
        """So many steps in pixels."""
        return self.step_px * steps

    def font(self, size: Type = Type.BODY, weight: Weight = Weight.PLAIN) -> QFont:
        """A font of the scale; figures have equal widths so that readings do not jitter."""
        return _font(max(9, round(self.text_px * size.value)), weight)

    def line(self, width: float = 1.0) -> float:
        """Line width in pixels: ``width`` at the reference size."""
        return max(1.0, width * self.text_px / REFERENCE_TEXT)


@lru_cache(maxsize=64)
def _font(pixels: int, weight: Weight) -> QFont:
    font = QFont(FAMILY)
    font.setPixelSize(pixels)
    font.setWeight(weight.value)
    if hasattr(font, "setFeature"):
        font.setFeature(QFont.Tag(QByteArray(b"tnum").data()), 1)
    return font


def load_typeface() -> bool:
    """Make the shipped typeface known to Qt; False where it cannot be loaded."""
    folder = shipped_folder("assets") / "fonts"
    loaded = [QFontDatabase.addApplicationFont(str(path)) for path in sorted(folder.glob("*.otf"))]
    return bool(loaded) and min(loaded) >= 0


def dress(app: QApplication) -> None:
    """Give the application the palette, the typeface and the few styled stock widgets."""
    load_typeface()
    app.setStyle("Fusion")
    app.setPalette(_palette())
    app.setFont(Look().font())
    app.setStyleSheet(_stock())


def faded(colour: QColor, alpha: float) -> QColor:
    """The colour with an opacity of 0..1."""
    copy = QColor(colour)
    copy.setAlphaF(alpha)
    return copy


def contrast_ratio(one: QColor, other: QColor) -> float:
    """Contrast of two opaque colours, 1..21 (WCAG 2.2, relative luminance)."""
    bright, dim = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (bright + 0.05) / (dim + 0.05)


def _luminance(colour: QColor) -> float:
    parts = [colour.redF(), colour.greenF(), colour.blueF()]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _palette() -> QPalette:
    role, c = QPalette.ColorRole, COLOURS
    palette = QPalette()
    for where, colour in {
        role.Window: c.ground,
        role.WindowText: c.text,
        role.Base: c.raised,
        role.AlternateBase: c.ground,
        role.Text: c.text,
        role.PlaceholderText: c.quiet,
        role.Button: c.raised,
        role.ButtonText: c.text,
        role.ToolTipBase: c.raised,
        role.ToolTipText: c.text,
        role.Highlight: c.brass_dim,
        role.HighlightedText: c.text,
        role.Link: c.brass,
        role.Light: c.line,
        role.Mid: c.line,
        role.Dark: c.ground,
        role.Shadow: c.ground,
    }.items():
        palette.setColor(where, colour)
    palette.setColor(QPalette.ColorGroup.Disabled, role.ButtonText, c.tick)
    palette.setColor(QPalette.ColorGroup.Disabled, role.Text, c.tick)
    return palette


def _stock() -> str:
    c = COLOURS
    return f"""
    QToolTip {{ background: {c.raised.name()}; color: {c.text.name()};
                border: 1px solid {c.line.name()}; padding: 5px; }}
    QLineEdit {{ background: {c.ground.name()}; color: {c.text.name()};
                 border: none; border-bottom: 2px solid {c.line.name()}; padding: 5px 2px; }}
    QLineEdit:focus {{ border-bottom-color: {c.brass.name()}; }}
    QScrollArea, QScrollArea > QWidget, QWidget#rows {{ border: none; background: transparent; }}
    QScrollBar:vertical {{ background: transparent; width: 8px; }}
    QScrollBar::handle:vertical {{ background: {c.line.name()}; border-radius: 4px; }}
    QScrollBar::add-line, QScrollBar::sub-line {{ height: 0; }}
    """

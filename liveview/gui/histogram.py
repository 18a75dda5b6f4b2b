"""The sensitivity histogram, plotted: signed contrast over the disc, counts on a log scale.

Noise is a band, the ends of the blade's range are walls, and one line says what it means.
"""

from __future__ import annotations

import math

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QVBoxLayout, QWidget

from liveview.gui.theme import COLOURS, Look, Type, faded
from liveview.gui.words import with_unit
from liveview.model import Histogram

MOST_BARS = 128
"""Bars drawn at most; finer bins are merged."""

CALM_UPDATES = 15
"""Updates after which the range may become narrower again."""

FLOOR = 0.3
"""Height of an empty bar on the log scale, in counts."""


def merged_bars(
    histogram: Histogram, reach: float | None = None, most: int = MOST_BARS
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Edges and counts with neighbouring bins merged; sums are kept.

    At most ``most`` bars lie within ± ``reach`` (the whole range when None).
    """
    whole = float(max(-histogram.edges[0], histogram.edges[-1]))
    share = 1.0 if reach is None else min(reach / whole, 1.0)
    factor = max(1, -(-round(histogram.counts.size * share) // most))
    cut = histogram.counts.size - histogram.counts.size % factor
    counts = histogram.counts[:cut].reshape(-1, factor).sum(axis=1).astype(np.float64)
    edges = histogram.edges[: cut + 1 : factor]
    if cut < histogram.counts.size:
        counts = np.append(counts, histogram.counts[cut:].sum())
        edges = np.append(edges, histogram.edges[-1])
    return edges, counts


def shown_reach(histogram: Histogram, share: float = 0.002) -> float:
    """The shorter range ± a power-of-two part of the whole that leaves out at most ``share``."""
    reach = float(max(-histogram.edges[0], histogram.edges[-1]))
    total = int(histogram.counts.sum())
    middles = np.abs((histogram.edges[:-1] + histogram.edges[1:]) / 2)
    least = 8.0 * float(histogram.edges[1] - histogram.edges[0])
    while total and reach / 2 > least:
        beyond = int(histogram.counts[middles > reach / 2].sum())
        if beyond > share * total:
            break
        reach /= 2
    return reach


class HistogramPlot(QWidget):
    """The plot alone; the verdict beside it belongs to the page."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._look = Look()
        pg.setConfigOptions(useOpenGL=False, antialias=True, background=None)
        self._plot = pg.PlotWidget(self)
        self._plot.setBackground(None)
        self._plot.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._plot.setMouseEnabled(False, False)
        self._plot.hideButtons()
        self._plot.setMenuEnabled(False)
        self._plot.hideAxis("left")
        self._plot.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self._plot)
        self._noise = pg.LinearRegionItem(
            movable=False, brush=faded(COLOURS.shade, 0.22), pen=pg.mkPen(None)
        )
        self._bars = pg.PlotCurveItem(
            [0.0, 1.0],
            [float(np.log10(FLOOR))],
            stepMode="center",
            fillLevel=float(np.log10(FLOOR)),
            pen=pg.mkPen(COLOURS.text, width=1),
            brush=faded(COLOURS.quiet, 0.35),
            antialias=False,  # upright and level lines are as crisp, and drawn in half the time
        )
        zero = pg.InfiniteLine(0.0, pen=pg.mkPen(COLOURS.tick, width=1))
        self._walls = [
            pg.InfiniteLine(
                pen=pg.mkPen(COLOURS.ember, width=2, style=Qt.PenStyle.DashLine),
            )
            for _ in range(2)
        ]
        for item in (self._noise, zero, self._bars, *self._walls):
            self._plot.addItem(item)
        self._shown: tuple[float, str] | None = None
        self._top = 0.0
        self._calm = 0
        self.setAccessibleName("Sensitivity histogram")

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        axis = self._plot.getAxis("bottom")
        axis.setStyle(tickFont=look.font(Type.SMALL), tickLength=-4, tickTextOffset=3)
        axis.setPen(pg.mkPen(COLOURS.line))
        axis.setTextPen(pg.mkPen(COLOURS.quiet))
        axis.setHeight(round(look.px(3.0)))

    @property
    def reach(self) -> float | None:
        """The end of the axis, in the histogram's unit; None before the first."""
        return None if self._shown is None else self._shown[0]

    def show_histogram(self, histogram: Histogram) -> None:
        """Plot it; the range holds what the histogram holds."""
        reach = self._held_reach(histogram)
        edges, counts = merged_bars(histogram, reach)
        self._bars.setData(edges, np.log10(np.maximum(counts, FLOOR)))
        sigma = histogram.noise_sigma
        self._noise.setVisible(sigma is not None)
        if sigma is not None:
            self._noise.setRegion((-3 * sigma, 3 * sigma))
        for wall, at in zip(self._walls, (histogram.range_low, histogram.range_high), strict=True):
            wall.setVisible(at is not None and abs(at) <= reach)
            if at is not None:
                wall.setValue(at)
        box = self._plot.getViewBox()
        top = self._held_top(float(np.log10(max(counts.max(initial=1.0), 10.0))))
        if top != self._top:
            self._top = top
            box.setYRange(float(np.log10(FLOOR)), top * 1.05, padding=0)
        if self._shown != (reach, histogram.unit):
            self._shown = (reach, histogram.unit)
            # Light cannot fall below none: contrasts end at -100 %.
            low = max(-reach, -1.25) if histogram.unit == "contrast" else -reach
            box.setXRange(low, reach, padding=0.02)
            self._set_ticks(low, reach, histogram.unit)

    def _held_reach(self, histogram: Histogram) -> float:
        """Widen at once, narrow only after a while: the scale does not flutter.

        At once, too, where the histogram itself became narrower: it waited, or began anew.
        """
        wanted = shown_reach(histogram)
        whole = float(max(-histogram.edges[0], histogram.edges[-1]))
        if self._shown is not None and whole < 0.75 * self._shown[0]:
            self._calm = 0
            return wanted
        if self._shown is None or self._shown[1] != histogram.unit or wanted >= self._shown[0]:
            self._calm = 0
            return wanted
        self._calm += 1
        return wanted if self._calm > CALM_UPDATES else self._shown[0]

    def _held_top(self, highest: float) -> float:
        """In steps of a quarter decade, lowered only when there is half a decade to spare."""
        wanted = math.ceil(4.0 * highest) / 4.0
        return self._top if wanted <= self._top <= wanted + 0.5 else wanted

    def _set_ticks(self, low: float, reach: float, unit: str) -> None:
        step = nice_step(reach)
        count = int(reach / step + 1e-9)
        values = [k * step for k in range(-count, count + 1) if k * step >= low]
        words = [(v, with_unit(v, unit, sign=True) if v else "0") for v in values]
        self._plot.getAxis("bottom").setTicks([words, []])


def nice_step(reach: float) -> float:
    """A round step that puts one or two marks on each side of zero, none only at the very end.

    A mark at the end has no room for its figure.
    """
    most = 0.85 * reach
    power = 10.0 ** np.floor(np.log10(most))
    return float(max(factor * power for factor in (1.0, 2.0, 5.0) if factor * power <= most))

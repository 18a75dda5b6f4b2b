"""The diagram of a measurement, and its files: CSV for a table, PNG and SVG for a page."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyqtgraph as pg
from PyQt6.QtCore import QRectF, Qt
from PyQt6.QtGui import QPainter
from PyQt6.QtSvg import QSvgGenerator
from PyQt6.QtWidgets import QVBoxLayout, QWidget

from liveview.errors import OutputFailed
from liveview.gui.review_measuring import Plot
from liveview.gui.theme import COLOURS, Look, Type, faded


class ReviewPlot(QWidget):
    """Shows one plot at a time; drag and wheel look closer, a double click shows all again."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        pg.setConfigOptions(useOpenGL=False, antialias=True, background=None)
        self._look = Look()
        self._plot = pg.PlotWidget(self)
        self._plot.setBackground(COLOURS.ground)
        self._plot.setMenuEnabled(False)
        self._plot.hideButtons()
        self._plot.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self._plot)
        self._shown: Plot | None = None

    @property
    def shown(self) -> Plot | None:
        """What is drawn."""
        return self._shown

    def set_look(self, look: Look) -> None:
        """Sizes for the present window."""
        self._look = look
        for side in ("bottom", "left"):
            axis = self._plot.getAxis(side)
            axis.setStyle(tickFont=look.font(Type.SMALL), tickLength=-4, tickTextOffset=3)
            axis.setPen(pg.mkPen(COLOURS.tick))
            axis.setTextPen(pg.mkPen(COLOURS.quiet))
            axis.enableAutoSIPrefix(False)
        self._name_axes()

    def _name_axes(self) -> None:
        if self._shown is None:
            return
        style = {
            "color": COLOURS.quiet.name(),
            "font-size": f"{round(self._look.text_px * 0.867)}px",
        }
        self._plot.setLabel("bottom", self._shown.x_name, **style)
        self._plot.setLabel("left", self._shown.y_name, **style)

    def show_plot(self, plot: Plot) -> None:
        """Replace what is drawn."""
        self._shown = plot
        self._plot.clear()
        self._name_axes()
        self.setAccessibleName(f"Diagram: {plot.name}")
        if plot.image is not None:
            self._add_image(plot, plot.image)
        else:
            self._add_points(plot)
        self._plot.autoRange()

    def _add_points(self, plot: Plot) -> None:
        good = np.isfinite(plot.x) & np.isfinite(plot.y)
        x, y = plot.x[good], plot.y[good]
        if plot.line is not None:
            pen = pg.mkPen(COLOURS.brass, width=1.6)
            self._plot.plot(*plot.line, pen=pen)
        if plot.sigma is not None and plot.joined:
            sigma = np.nan_to_num(plot.sigma[good])
            ends = [self._plot.plot(x, y + s * sigma, pen=pg.mkPen(None)) for s in (-1.0, 1.0)]
            self._plot.addItem(pg.FillBetweenItem(*ends, brush=faded(COLOURS.shade, 0.3)))
        elif plot.sigma is not None:
            bars = pg.ErrorBarItem(
                x=x, y=y, height=2 * plot.sigma[good], pen=pg.mkPen(COLOURS.shade, width=1.4)
            )
            self._plot.addItem(bars)
        if plot.joined:
            self._plot.plot(x, y, pen=pg.mkPen(COLOURS.text, width=1.4))
        else:
            symbols = {"symbol": "o", "symbolSize": 5, "symbolPen": None}
            self._plot.plot(x, y, pen=None, symbolBrush=COLOURS.text, **symbols)

    def _add_image(self, plot: Plot, image: np.ndarray) -> None:
        known = np.nan_to_num(image)
        reach = max(float(np.quantile(np.abs(known), 0.995)), 1e-9)
        item = pg.ImageItem(known, axisOrder="row-major", levels=(-reach, reach))
        item.setRect(QRectF(plot.x[0], plot.y[0], plot.x[-1] - plot.x[0], plot.y[-1] - plot.y[0]))
        self._plot.addItem(item)

    def save(self, folder: Path, stem: str) -> tuple[Path, ...]:
        """Write the table and the drawing; never over a file that is there.

        Raises
        ------
        OutputFailed
            The folder cannot be written.
        """
        if self._shown is None:
            return ()
        base = f"{stem}_{self._shown.name.replace(' ', '_')}"
        name = base
        number = 2
        while any((folder / f"{name}{end}").exists() for end in (".csv", ".png", ".svg")):
            name, number = f"{base}_{number}", number + 1
        files = tuple(folder / f"{name}{end}" for end in (".csv", ".png", ".svg"))
        try:
            folder.mkdir(parents=True, exist_ok=True)
            files[0].write_text(self._shown.table, encoding="utf-8")
        except OSError as error:
            raise OutputFailed(
                f"cannot be written ({error.strerror or error})",
                str(folder),
                "choose another folder",
            ) from error
        if not (self._plot.grab().save(str(files[1])) and self._draw_svg(files[2])):
            raise OutputFailed("cannot be written", str(files[1]), "choose another folder")
        return files

    def _draw_svg(self, path: Path) -> bool:
        made = QSvgGenerator()
        made.setFileName(str(path))
        made.setSize(self._plot.size())
        made.setViewBox(self._plot.rect())
        made.setTitle(self.accessibleName())
        p = QPainter()
        if not p.begin(made):
            return False
        self._plot.render(p)
        p.end()
        return True

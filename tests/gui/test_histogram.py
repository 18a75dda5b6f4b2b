from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.readings import histogram

from liveview.gui.histogram import CALM_UPDATES, HistogramPlot, merged_bars, nice_step, shown_reach
from liveview.gui.theme import Look


@pytest.mark.parametrize("reach", [None, 0.25, 0.06])
def test_merging_keeps_the_sum(reach: float | None) -> None:
    h = histogram()
    edges, counts = merged_bars(h, reach)
    assert counts.sum() == h.counts.sum()
    assert edges.size == counts.size + 1
    inside = np.abs((edges[:-1] + edges[1:]) / 2) < (reach or 0.25)
    assert 32 <= np.count_nonzero(inside) <= 130


def test_the_range_shown_leaves_out_next_to_nothing() -> None:
    h = histogram()  # standard deviation 0.02: 0.2 % lie beyond 3.1 of them
    reach = shown_reach(h)
    assert reach == 0.0625
    beyond = np.abs((h.edges[:-1] + h.edges[1:]) / 2) > reach
    assert h.counts[beyond].sum() <= 0.002 * h.counts.sum()


@pytest.mark.parametrize("reach", [0.0078, 0.05, 0.25, 0.5, 1.0, 16.0, 300.0])
def test_steps_are_round_and_few(reach: float) -> None:
    step = nice_step(reach)
    leading = step / 10 ** np.floor(np.log10(step) + 1e-9)
    assert round(leading, 6) in (1.0, 2.0, 5.0)
    # The first mark is well within the end, where its figure has room.
    assert 1.1 <= reach / step < 3


def test_the_axis_follows_a_histogram_that_begins_anew(app: object) -> None:
    plot = HistogramPlot()
    plot.set_look(Look())
    plot.resize(300, 180)
    narrow = histogram()
    wide = replace(narrow, edges=narrow.edges * 64, counts=np.full_like(narrow.counts, 9))
    plot.show_histogram(wide)
    assert plot.reach == 16.0
    plot.show_histogram(narrow)
    assert plot.reach == 0.0625


def test_the_axis_waits_while_the_histogram_keeps_its_range(app: object) -> None:
    plot = HistogramPlot()
    plot.set_look(Look())
    narrow = histogram()
    plot.show_histogram(replace(narrow, counts=np.full_like(narrow.counts, 9)))
    for _ in range(CALM_UPDATES):
        plot.show_histogram(narrow)
        assert plot.reach == 0.25
    plot.show_histogram(narrow)
    assert plot.reach == 0.0625


def test_it_plots_without_opengl(app: object) -> None:
    plot = HistogramPlot()
    plot.set_look(Look())
    plot.resize(300, 180)
    plot.show()
    plot.show_histogram(histogram(range_low=-0.05, range_high=0.05))
    grabbed = plot.grab().toImage()
    colours = {
        grabbed.pixelColor(x, y).name()
        for x in range(0, 300, 3)
        for y in range(0, 180, 3)
        if grabbed.pixelColor(x, y).alpha()
    }
    assert len(colours) > 4

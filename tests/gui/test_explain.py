"""The explaining drawing: what it says is computed as for the rig, and it moves slowly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PyQt6.QtCore import QRectF
from PyQt6.QtGui import QImage, QPainter
from PyQt6.QtTest import QTest
from support.readings import reading

from liveview.gui.audience_scene import places
from liveview.gui.explain import ExplainWidget, Explanation
from liveview.gui.explain_ink import far_layout, mirror_picture, words_size
from liveview.gui.explain_model import PUFF, STORIES, Air, Moment, RigNow, moment, rig_now
from liveview.gui.show_board import Board
from liveview.gui.show_scene import SceneMaker, Source
from liveview.model import BladeReading, Side
from liveview.optics.deflection import contrast_from_angle
from liveview.settings import Settings, Show


class Clock:
    """A clock turned by hand."""

    def __init__(self) -> None:
        self.now = 100.0

    def __call__(self) -> float:
        return self.now


def rig(uncut: float | None = 0.47, **rig_values: object) -> RigNow:
    made = rig_now(Settings().replaced("rig", **rig_values))
    assert isinstance(made, RigNow)
    return replace(made, uncut=uncut)


def pixels(image: QImage) -> np.ndarray:
    """Red, green and blue of a 32-bit picture, 0..1."""
    bits = image.constBits()
    assert bits is not None
    data = np.frombuffer(bits.asarray(image.sizeInBytes()), np.uint8)
    shape = (image.height(), image.bytesPerLine() // 4, 4)
    return data.reshape(shape)[:, : image.width(), 2::-1] / 255.0


def luminance(image: QImage) -> np.ndarray:
    """Relative luminance, 0..1 (IEC 61966-2-1)."""
    c = pixels(image)
    linear = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    return np.asarray(linear @ np.array([0.2126, 0.7152, 0.0722]))


def at_blade(uncut: float) -> object:
    return replace(reading(), blade=BladeReading(Side.LEFT, uncut=uncut))


@pytest.mark.parametrize("shape", ["slit", "round"])
@pytest.mark.parametrize("uncut", [0.2, 0.5, 0.8])
def test_quiet_air_leaves_the_mirror_evenly_as_bright_as_what_passes(
    shape: str, uncut: float
) -> None:
    now = replace(rig(uncut), shape=shape)
    assert now.brightness(now.cut, np.zeros(3)) == pytest.approx([uncut] * 3)
    picture = pixels(mirror_picture(now, Moment(now.cut, Air(), (), "")))
    assert np.ptp(picture, axis=(0, 1)).max() == 0.0


@pytest.mark.parametrize("side", list(Side))
def test_warm_air_is_dark_on_the_side_of_the_blade(side: Side) -> None:
    now = replace(rig(0.5), side=side)
    picture = pixels(mirror_picture(now, Moment(now.cut, Air(puff=0.3), (), "")))[..., 1]
    nx, ny = side.normal
    middle, off = picture.shape[0] // 2, round(PUFF * picture.shape[0] / 2)
    near = picture[middle + round(ny * off), middle + round(nx * off)]
    far = picture[middle - round(ny * off), middle - round(nx * off)]
    rim = picture[3, middle]
    assert near < rim < far


@pytest.mark.parametrize("shape", ["slit", "round"])
def test_its_brightness_is_that_of_the_formulas(shape: str) -> None:
    now = replace(rig(0.6), shape=shape)
    air = Air(puff=0.25)
    for place in (-PUFF, -0.1, 0.2, 0.6):
        shift = air.shift_at(place)
        angle = shift * now.rig.image_width_m / now.rig.arm_sum_m
        contrast = contrast_from_angle(
            angle, now.rig.arm_sum_m, now.rig.image_width_m, 0.6, now.shape
        )
        shown = float(now.brightness(now.cut, np.asarray(shift)))
        assert shown == pytest.approx(0.6 * (1 + contrast), abs=1e-12)


@pytest.mark.parametrize("scene", range(len(STORIES)))
@pytest.mark.parametrize("uncut", [0.0, 0.3, 1.0, None])
def test_scenes_join_without_a_jump(scene: int, uncut: float | None) -> None:
    now = rig(uncut)
    for t in (0.0, STORIES[scene].seconds):
        there = moment(now, scene, t)
        assert there.cut == pytest.approx(now.cut)
        assert (there.air.puff, there.air.front) == (0.0, 0.0)
        assert there.presence == 0.0


def test_the_angles_are_those_of_the_rig() -> None:
    # Slit 1 mm at 2 f = 2.4 m, half cut, two passes: half of 1 mm over 4.8 m is 21.5 arcseconds.
    assert "black at 21.5\u2033, full light at 21.5\u2033" in moment(rig(0.5), 2, 7.0).figure
    longer = moment(rig(0.5, focal_length_m=2.4), 2, 7.0).figure
    assert "black at 10.7\u2033" in longer
    assert moment(rig(1.0), 2, 7.0).figure == ""


def test_the_sparks_front_crosses_in_the_rigs_own_time() -> None:
    # 75 mm at 343 m/s.
    assert "0.22" in moment(rig(), 3, 5.0).figure
    assert "0.87" in moment(rig(mirror_diameter_m=0.6), 3, 5.0).figure


def test_the_blade_follows_the_reading(app: object) -> None:
    clock = Clock()
    shown = Explanation(clock)
    assert "Not measured yet" in shown.words
    shown.set_reading(at_blade(0.8))
    assert "80" in shown.words
    shown.set_reading(at_blade(0.2))
    clock.now += 0.1
    assert "80" not in shown.words
    assert "20\u2009%" not in shown.words, "it moves there, it does not jump"
    clock.now += 5.0
    assert "20\u2009%" in shown.words
    shown.set_reading(None)
    assert "Not measured yet" in shown.words


def test_it_goes_through_all_scenes_or_repeats_one(app: object) -> None:
    clock = Clock()
    shown = Explanation(clock)
    seen = []
    for _ in range(2 * len(STORIES)):
        seen.append(shown.scene)
        clock.now += STORIES[shown.scene].seconds + 0.01
    assert seen == [*range(len(STORIES)), *range(len(STORIES))]
    shown.show_only(2)
    clock.now += STORIES[2].seconds + 3.0
    assert shown.scene == 2
    shown.show_only(None)
    shown.next_scene()
    assert shown.scene == 3
    with pytest.raises(IndexError):
        shown.show_only(len(STORIES))


def test_a_rig_that_cannot_be_is_told_in_words(app: object) -> None:
    shown = Explanation(Clock())
    shown.set_rig(Settings().replaced("rig", lamp_distance_m=0.5))
    assert "rig.lamp_distance" in shown.words
    assert luminance(shown.picture(320, 200)).max() > 0.5


@pytest.mark.parametrize("kind", ["one mirror", "two mirrors", "lenses"])
@pytest.mark.parametrize("size", [(320, 200), (300, 420), (900, 500)])
def test_every_rig_is_drawn_in_every_shape(app: object, kind: str, size: tuple[int, int]) -> None:
    shown = Explanation(Clock())
    shown.set_rig(Settings().replaced("rig", kind=kind))
    light = luminance(shown.picture(*size))
    assert light.shape == size[::-1]
    # Lines and words to all four sides; half of it stays dark ground at least.
    rows, columns = np.nonzero(light > 0.1)
    assert rows.min() < 0.3 * size[1]
    assert rows.max() > 0.7 * size[1]
    assert columns.min() < 0.2 * size[0]
    assert columns.max() > 0.8 * size[0]
    assert np.mean(light < 0.1) > 0.5


@pytest.mark.slow
def test_nothing_flashes(app: object) -> None:
    """A pair of opposite changes by a tenth of full luminance (WCAG 2.3.1) is a flash.

    Three within a second over a tenth of a screen would be too many; here even a single one, under
    the edges of moving lines, covers less than a fiftieth of the drawing.
    """
    clock, step = Clock(), 0.2
    shown = Explanation(clock)
    shown.set_reading(at_blade(0.5))
    reference = luminance(shown.picture(160, 100))
    way = np.zeros(reference.shape, np.int8)
    turned_at = np.full(reference.shape, -np.inf)
    worst = 0.0
    for _ in range(round(sum(story.seconds for story in STORIES) / step)):
        clock.now += step
        light = luminance(shown.picture(160, 100))
        change = light - reference
        far = np.abs(change) >= 0.1
        sense = np.sign(change).astype(np.int8)
        turned = far & (way != 0) & (sense != way)
        quick = turned & (clock.now - turned_at < 1.0)
        worst = max(worst, float(np.mean(quick)))
        turned_at[turned] = clock.now
        way = np.where(far, sense, way)
        onward = far | ((sense == way) & (way != 0))
        reference = np.where(onward, light, reference)
    assert worst < 0.02


def test_the_widget_moves_only_while_it_is_seen(app: object) -> None:
    widget = ExplainWidget()
    assert not widget.moving
    widget.set_rig(Settings())
    widget.set_reading(None)
    widget.resize(320, 200)
    widget.show()
    QTest.qWait(120)
    assert widget.moving
    widget.hide()
    assert not widget.moving


@pytest.mark.parametrize("size", [(1280, 720), (1280, 800), (1920, 1080), (1024, 768), (800, 1200)])
def test_an_audience_reads_its_words_across_the_room(app: object, size: tuple[int, int]) -> None:
    """As large as the smallest words beside it, a caption's smallest and the legend's."""
    at = places(*size, drawing=True)
    box = QRectF(0, 0, at.drawing.width(), at.drawing.height())
    there = far_layout(box)
    parts = (there.rig, there.blade, there.mirror, there.words)
    for k, part in enumerate(parts):
        assert box.contains(part)
        assert not any(part.intersects(other) for other in parts[k + 1 :])
    paper = QImage(8, 8, QImage.Format.Format_RGB32)
    painter = QPainter(paper)
    found = []
    for number, story in enumerate(STORIES):
        for t in range(1, round(story.seconds)):
            now = moment(rig(), number, float(t))
            found.append(words_size(painter, there, now, story.title))
    painter.end()
    assert max(tall for _, tall in found) <= there.words.height()
    least = 2.4 if size[0] > 1.5 * size[1] else 1.6
    assert min(text_px for text_px, _ in found) >= least * at.unit


def test_it_begins_at_its_beginning_when_it_is_switched_on(app: object) -> None:
    clock = Clock()
    board = Board(Show())
    scenes = SceneMaker(board, clock)
    begun = Explanation(clock)
    box, source = QRectF(0, 0, 400, 380), Source(reading())
    clock.now += STORIES[0].seconds + 3.0
    scenes.scene(source, box)
    board.drawing_on = True
    scenes.scene(source, box)
    clock.now += 5.0
    shown = scenes.scene(source, box).drawing
    begun.set_rig(Settings())
    begun.begin()
    clock.now -= 5.0
    begun.begin()
    clock.now += 5.0
    wanted = begun.picture(400, 380, far=True)
    assert shown is not None
    assert np.array_equal(shown[..., 2::-1] / 255.0, pixels(wanted))
    clock.now += STORIES[0].seconds
    scenes.scene(source, box)
    board.drawing_on = False
    scenes.scene(source, box)
    board.drawing_on = True
    scenes.scene(source, box)
    clock.now += 5.0
    again = scenes.scene(source, box).drawing
    assert np.array_equal(again, shown)

"""Frames for the audience: what stands where, and that the guard judges what is sent."""

from __future__ import annotations

import numpy as np
import pytest
from PyQt6.QtCore import QRectF
from PyQt6.QtWidgets import QApplication
from support.readings import DISC, HEIGHT, INSIDE, OUTSIDE, WIDTH, picture

from liveview.gui.audience_frame import AudienceFrame, Seen
from liveview.gui.audience_scene import Legend, Places, Scene, Spotlight, Words, places
from liveview.gui.show_faders import Fader
from liveview.gui.show_ring import station_at, station_span
from liveview.gui.show_words import GuardLog, legend_of
from liveview.imaging.flash_guard import Guarded
from liveview.model import Disc

SIZES = [(1920, 1080), (1280, 720), (1280, 800), (1024, 768), (800, 1200), (2560, 800)]


def disc_box(at: Places) -> QRectF:
    return QRectF(at.disc_x, at.disc_y, at.disc, at.disc)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("drawing", [False, True])
def test_words_and_disc_never_meet_and_stay_on_the_screen(
    size: tuple[int, int], drawing: bool
) -> None:
    at = places(*size, drawing=drawing)
    screen = QRectF(0, 0, *size)
    boxes = [disc_box(at), at.top, at.caption, at.legend, *([at.drawing] if drawing else [])]
    for number, box in enumerate(boxes):
        assert screen.contains(box), number
        assert box.width() > 0
        assert box.height() > 0
    for k, one in enumerate(boxes):
        for other in boxes[k + 1 :]:
            assert not one.intersects(other)


@pytest.mark.parametrize("size", SIZES)
def test_without_words_the_disc_stands_in_the_middle_as_large_as_it_goes(
    size: tuple[int, int],
) -> None:
    at = places(*size, column=False)
    box = disc_box(at)
    assert box.center().x() == pytest.approx(size[0] / 2, abs=1)
    assert box.center().y() == pytest.approx(size[1] / 2, abs=1.5)
    assert at.disc > 0.93 * min(size)


def frame_of(width: int = 640, height: int = 360) -> AudienceFrame:
    frame = AudienceFrame()
    frame.fit(width, height)
    return frame


BARE = Scene(column=False)


def middle(frame: np.ndarray, frame_of: AudienceFrame, dx: float = 0.0) -> np.ndarray:
    at = frame_of.places
    return frame[at.disc_y + at.disc // 2, round(at.disc_x + (0.5 + dx / 2) * (at.disc - 1)), :3]


def test_the_disc_fills_its_circle_and_nothing_else(app: QApplication) -> None:
    frame = frame_of()
    sent = frame.compose(Seen(picture(), DISC), BARE, 0.0).picture
    assert sent.shape == (360, 640, 4)
    assert tuple(middle(sent, frame)) == INSIDE
    assert tuple(middle(sent, frame, 0.95)) == INSIDE
    assert tuple(middle(sent, frame, -0.95)) == INSIDE
    ground = sent[2, 2, :3]
    corner = sent[frame.places.disc_y + 4, frame.places.disc_x + 4, :3]
    assert np.array_equal(ground, corner)
    assert not (sent[..., :3] == OUTSIDE).all(axis=2).any()


def test_a_disc_beyond_the_pictures_edge_is_dark_there(app: QApplication) -> None:
    frame = frame_of()
    sent = frame.compose(Seen(picture(), Disc(5.0, HEIGHT / 2, 60.0)), BARE, 0.0).picture
    assert not middle(sent, frame, -0.6).any()
    assert middle(sent, frame, 0.3).any()


def test_without_a_disc_the_whole_picture_is_seen(app: QApplication) -> None:
    frame = frame_of()
    sent = frame.compose(Seen(picture(), None), BARE, 0.0).picture
    assert (sent[..., :3] == OUTSIDE).all(axis=2).any()
    rows = np.flatnonzero((sent[..., :3] == OUTSIDE).all(axis=2).any(axis=1))
    columns = np.flatnonzero((sent[..., :3] == OUTSIDE).all(axis=2).any(axis=0))
    shape = (np.ptp(columns) + 1) / (np.ptp(rows) + 1)
    assert shape == pytest.approx(WIDTH / HEIGHT, abs=0.03)


def test_the_wipe_shows_plain_to_the_left_of_its_edge(app: QApplication) -> None:
    frame = frame_of()
    plain = np.full((HEIGHT, WIDTH, 4), 200, np.uint8)
    seen = Seen(picture(), DISC, plain)
    sent = frame.compose(seen, Scene(column=False, edge=0.5), 0.0).picture
    assert tuple(middle(sent, frame, -0.5)) == (200, 200, 200)
    assert tuple(middle(sent, frame, 0.5)) == INSIDE
    sent = frame.compose(seen, Scene(column=False, edge=1.0), 2.0).picture
    assert tuple(middle(sent, frame, 0.9)) == (200, 200, 200)
    sent = frame.compose(seen, Scene(column=False, edge=0.0), 4.0).picture
    assert tuple(middle(sent, frame, -0.9)) == INSIDE


def test_the_spotlight_darkens_all_but_its_place(app: QApplication) -> None:
    frame = frame_of()
    spot = Spotlight(x=0.5, y=0.0, size=0.3, depth=1.0)
    sent = frame.compose(Seen(picture(), DISC), Scene(column=False, spotlight=spot), 0.0).picture
    assert tuple(middle(sent, frame, 0.5)) == INSIDE
    assert middle(sent, frame, -0.5).max() < 0.3 * max(INSIDE)


def test_blank_is_black_and_leaves_no_trace(app: QApplication) -> None:
    frame = frame_of()
    lit = frame.compose(Seen(picture(), DISC), BARE, 0.0).picture.copy()
    dark = frame.compose(Seen(picture(), DISC), Scene(column=False, light=0.0), 2.0).picture
    assert not dark.any()
    half = frame.compose(Seen(picture(), DISC), Scene(column=False, light=0.5), 4.0).picture
    assert tuple(middle(half, frame)) == pytest.approx([code / 2 for code in INSIDE], abs=1)
    again = frame.compose(Seen(picture(), DISC), BARE, 6.0).picture
    assert np.array_equal(again[..., :3], lit[..., :3])


def test_words_are_where_they_belong_and_go_away(app: QApplication) -> None:
    frame = frame_of()
    words = Words(caption="Warm air", legend=Legend("Lifted", "lifted", ("-1", "0", "+1")))
    words_scene = Scene(words=words)
    with_words = frame.compose(Seen(picture(), DISC), words_scene, 0.0).picture.copy()
    box = frame.places.caption.toRect()
    part = with_words[box.top() : box.bottom(), box.left() : box.right(), :3]
    assert part.max() > 200
    without = frame.compose(Seen(picture(), DISC), Scene(), 2.0).picture
    part = without[box.top() : box.bottom(), box.left() : box.right(), :3]
    assert part.max() < 40


def test_what_was_sent_is_not_written_into_while_it_is_shown(app: QApplication) -> None:
    frame = frame_of()
    first = frame.compose(Seen(picture(), DISC), BARE, 0.0).picture
    kept = first.copy()
    second = frame.compose(Seen(picture() // 2, DISC), BARE, 0.016).picture
    assert second is not first
    assert np.array_equal(first, kept)


def test_words_that_flash_are_guarded_too(app: QApplication) -> None:
    """A drawing in the corner that flickers over more than its share is softened like a picture."""
    frame = frame_of()
    shares = []
    for number in range(60):
        box = places(640, 360, drawing=True).drawing
        code = 255 if number % 4 < 2 else 0
        drawing = np.full((round(box.height()), round(box.width()), 4), code, np.uint8)
        scene = Scene(drawing=drawing, room_for_drawing=True)
        shares.append(frame.compose(Seen(picture(), DISC), scene, number / 60).share)
    assert min(shares) < 1.0


def test_with_the_guard_off_everything_is_sent_and_still_judged(app: QApplication) -> None:
    frame = frame_of()
    frame.guarded = False
    over = []
    for number in range(60):
        code = 255 if number % 4 < 2 else 0
        flat = np.full((HEIGHT, WIDTH, 4), code, np.uint8)
        result = frame.compose(Seen(flat, None), BARE, number / 60)
        assert result.share == 1.0
        over.append(frame.over_limit)
    assert max(over) > 0.25


def test_faders_glide_at_their_pace_and_stop() -> None:
    fader = Fader(0.0, 2.0)
    fader.go(1.0)
    assert fader.step(0.5)
    assert fader.value == pytest.approx(0.25)
    for _ in range(4):
        fader.step(0.5)
    assert fader.value == 1.0
    assert not fader.step(0.5)
    fader.go(0.0)
    fader.step(0.5)
    assert fader.value == pytest.approx(0.75)


@pytest.mark.parametrize("count", [1, 3, 12])
def test_stations_are_found_where_they_are_drawn(count: int) -> None:
    for index in range(count):
        start, sweep = station_span(count, index)
        assert station_at(count, start + sweep / 2) == index
    assert station_at(count, 180.0) is None
    assert station_at(0, 0.0) is None


def test_the_legend_says_what_is_on_each_side_of_the_edge() -> None:
    from support.readings import reading

    there = reading()
    assert legend_of(there, 0.0).palette == "lifted"
    assert "Left" in legend_of(there, 0.4).words
    assert legend_of(there, 1.0) == Legend("As the camera sees it")
    assert legend_of(reading(view="plain", scale=None), 0.0) == Legend("As the camera sees it")


def test_the_guards_words() -> None:
    log = GuardLog()
    flat = np.zeros((2, 2, 4), np.uint8)
    log.note(Guarded(flat, 1.0), 0.0)
    assert log.words(on=True, flashes=0, over=False)[0] == "Flash guard is on"
    log.note(Guarded(flat, 0.35), 1.0)
    headline, why = log.words(on=True, flashes=3, over=False)
    assert "35" in headline
    assert "One flash more than three" in why
    assert "allowed" not in why, "nothing that sounds as if all were well"
    log.note(Guarded(flat, 0.0), 1.1)
    assert "holds" in log.words(on=True, flashes=3, over=False)[0]
    log.note(Guarded(flat, 1.0), 2.0)
    assert "softened 1 picture and held 1" in log.words(on=True, flashes=0, over=False)[1]
    log.note(Guarded(flat, 1.0), 63.0)
    assert log.touched == 0
    assert "OFF" in log.words(on=False, flashes=0, over=True)[0]

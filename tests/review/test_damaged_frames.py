"""A frame that cannot be read takes nothing with it: all others are shown, measured, exported."""

from __future__ import annotations

import json

import numpy as np
import pytest
from support.damage import damage_frame

from liveview.cli import main
from liveview.errors import InputUnreadable
from liveview.recorder import StoredEvent
from liveview.review.enhance import Enhancer
from liveview.review.export import Stretch, export_clip, export_stack, export_still, export_table
from liveview.settings import Settings, validated

WAYS = [
    {"view": "lifted"},
    {"view": "trail"},
    {"view": "movement"},
    {"view": "significance"},
    {"background": "running", "background_time": 0.05},
]
COUNT = 24


@pytest.mark.slow
@pytest.mark.parametrize("way", WAYS, ids=str)
@pytest.mark.parametrize("calibrated", [True, False])
@pytest.mark.parametrize("damaged", [0, 3, 12])
def test_all_others_are_shown(record, way, calibrated, damaged) -> None:
    """The first frame, one that serves as background, and one in the middle."""
    path = record(calibrated=calibrated, settings=validated({"enhance": way}, "test"))
    damage_frame(path, damaged)
    with StoredEvent.open(path) as event:
        enhancer = Enhancer(event)
        others = [index for index in range(COUNT) if index != damaged]
        for index in others:
            assert np.isfinite(enhancer.contrast(index)).any()
            assert enhancer.picture(index).any()
        for look in (enhancer.picture, enhancer.contrast, enhancer.light):
            with pytest.raises(InputUnreadable, match=f"frame {damaged}: a frame is damaged"):
                look(damaged)
        again = Enhancer(event)
        for index in (others[-1], others[0], others[len(others) // 2]):
            np.testing.assert_array_equal(again.picture(index), enhancer.picture(index))


@pytest.mark.slow
def test_it_is_said(record) -> None:
    path = record(settings=Settings().replaced("enhance", view="trail"))
    damage_frame(path, 12)
    with StoredEvent.open(path) as event:
        enhancer = Enhancer(event)
        assert not any("left out" in words for words in enhancer.reading(11).words)
        (said,) = (words for words in enhancer.reading(13).words if "left out" in words)
        assert said.startswith("1 damaged frame left out before this one")
        assert "1 damaged frame left out of the event, which cannot be read" in enhancer.words
        # of what is shown alone nothing is missing
        lifted = Enhancer(event, Settings())
        assert not any("left out" in words for words in lifted.reading(13).words)


@pytest.mark.slow
def test_a_background_of_what_is_left(record) -> None:
    path = record(calibrated=False)
    damage_frame(path, 2)
    with StoredEvent.open(path) as event:
        enhancer = Enhancer(event)
        assert enhancer.calibration.reference.frames == 7  # of the eight before the spark
        assert "the first 7 frames" in enhancer.words[0]


@pytest.mark.slow
def test_no_quiet_frame_is_left(record) -> None:
    path = record(calibrated=False)
    for index in range(8):
        damage_frame(path, index)
    with StoredEvent.open(path) as event:
        enhancer = Enhancer(event)
        assert enhancer.calibration.reference.frames == 1
        assert enhancer.picture(20).any()
        assert any("8 damaged frames" in words for words in enhancer.words)


@pytest.mark.slow
def test_nothing_can_be_read(record) -> None:
    path = record(count=3)
    for index in range(3):
        damage_frame(path, index)
    with (
        StoredEvent.open(path) as event,
        pytest.raises(InputUnreadable, match="none of its frames"),
    ):
        Enhancer(event)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("write", "name"), [(export_stack, "x.npy"), (export_table, "x.csv"), (export_clip, "x.mkv")]
)
def test_exports_of_what_comes_later_say_it(record, tmp_path, write, name) -> None:
    path = record(settings=Settings().replaced("enhance", view="trail"))
    damage_frame(path, 12)
    with StoredEvent.open(path) as event:
        enhancer = Enhancer(event)
        write(enhancer, tmp_path / name, stretch=Stretch(14, 17))
    said = "1 damaged frame left out of the event"
    if name.endswith(".mkv"):
        assert said.encode() in (tmp_path / name).read_bytes()
    else:
        about = json.loads((tmp_path / f"{name}.json").read_text())
        assert any(said in words for words in about["words"])


@pytest.mark.slow
def test_the_command_says_it(record, tmp_path, capsys) -> None:
    path = record(settings=Settings().replaced("enhance", view="trail"))
    damage_frame(path, 0)
    still = str(tmp_path / "x.png")
    assert main(["export", str(path), "--still", still]) == 0
    assert "1 damaged frame left out" in capsys.readouterr().err


@pytest.mark.slow
def test_the_frame_that_the_legend_asks_is_damaged(record, tmp_path) -> None:
    path = record(settings=Settings().replaced("enhance", view="significance"))
    damage_frame(path, COUNT - 1)
    with StoredEvent.open(path) as event:
        export_still(Enhancer(event), tmp_path / "x.png", 5)
    assert (tmp_path / "x.png").exists()

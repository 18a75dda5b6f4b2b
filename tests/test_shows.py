"""Show files: by name and path, built on a set-up, and wrong ones refused in one line."""

from __future__ import annotations

from pathlib import Path

import pytest

from liveview.bench.scene import load_scene
from liveview.errors import BadRequest
from liveview.settings import Settings, load_settings, save_settings
from liveview.shows import find_show, load_show, show_names, show_over


def written(folder: Path, text: str) -> str:
    path = folder / "evening.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


@pytest.mark.parametrize("name", show_names())
def test_a_shipped_show_loads_and_survives_saving(name: str, tmp_path: Path) -> None:
    settings = load_show(name)
    assert settings.show.title
    assert settings.show.captions
    save_settings(settings, tmp_path / "again.toml")
    assert load_settings(tmp_path / "again.toml") == settings


@pytest.mark.parametrize("name", show_names())
def test_a_shipped_show_describes_the_simulated_rig_it_runs_on(name: str) -> None:
    settings = load_show(name)
    kind, _, scene = settings.camera.source.partition(":")
    assert kind == "simulated"
    there = load_scene(scene)
    assert (settings.rig, settings.lamp, settings.blade) == (there.rig, there.lamp, there.blade)
    assert settings.camera.transfer == there.sensor.transfer
    assert settings.catch.mic_distance_m == there.microphone.distance_m


def test_a_show_builds_on_a_set_up_and_goes_before_it(tmp_path: Path) -> None:
    (tmp_path / "rig.toml").write_text(
        "[rig]\nmirror_diameter = '200 mm'\nfocal_length = '1 m'\n[enhance]\nview = 'signed'\n"
    )
    settings = load_show(
        written(tmp_path, "[rig]\nfocal_length = '1.5 m'\n[show]\nsetup = 'rig.toml'\n")
    )
    assert settings.rig.mirror_diameter_m == pytest.approx(0.2)
    assert settings.rig.focal_length_m == pytest.approx(1.5)
    assert settings.enhance.view == "signed"


def test_a_shipped_set_up_is_found_by_name(tmp_path: Path) -> None:
    settings = load_show(written(tmp_path, "[show]\nsetup = 'two-mirrors'\n"))
    assert settings.rig.kind == "two mirrors"


def test_captions_and_keys_may_be_plain_text(tmp_path: Path) -> None:
    show = load_show(
        written(
            tmp_path,
            "[show]\ncaptions = ['one', {text = 'two', view = 'plain', note = 'quietly'}]\n"
            "[show.keys]\nnext = 'F13'\n",
        )
    ).show
    assert [caption.text for caption in show.captions] == ["one", "two"]
    assert show.captions[1].view == "plain"
    assert show.keys == {"next": ("F13",)}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[rig]\nname = 'x'\n", "no section [show]"),
        ("[show]\nsetup = 'nowhere'\n", "show.setup = 'nowhere'"),
        ("[show]\ncaptions = [{tekst = 'a'}]\n", "show.captions.0.tekst"),
        ("[show]\ncaptions = [3]\n", "show.captions.0 = 3"),
        ("[show]\nreplay_rate = 'slow'\n", "such as '1/40'"),
        ("[show]\nreplay_rate = '0'\n", "between 1/1000 and 4"),
        ("[show]\nguard = false\n", "unknown key 'show.guard'"),
        ("[show\n", "not valid TOML"),
        (f"[show]\nx = {'[' * 2000}{']' * 2000}\n", "nested too deeply"),
        (f"[show]\ntitle = '{'x' * 6000}'\n", "is too large"),
    ],
)
def test_a_wrong_show_is_refused_in_one_line(tmp_path: Path, text: str, says: str) -> None:
    with pytest.raises(BadRequest) as refused:
        load_show(written(tmp_path, text))
    line = str(refused.value)
    assert says in line
    assert "evening.toml" in line
    assert "\n" not in line


def test_an_unknown_name_lists_the_known_ones() -> None:
    with pytest.raises(BadRequest, match="candle-and-hand"):
        find_show("matinee")


def session() -> Settings:
    """A session with a rig, a place and a show of its own."""
    return (
        Settings()
        .replaced("rig", name="Attic", focal_length_m=0.9)
        .replaced("camera", source="camera:2", width=640)
        .replaced("screen", length_unit="in")
        .replaced("store", folder="/events")
        .replaced("show", title="Old", clock=True)
    )


def test_a_show_with_a_source_brings_its_rig_and_leaves_the_place() -> None:
    settings = show_over("sparks", session())
    started = load_show("sparks")
    assert settings == started.replaced("screen", length_unit="in").replaced(
        "store", folder="/events"
    )


def test_a_show_without_a_source_goes_on_with_the_camera_and_rig(tmp_path: Path) -> None:
    told = written(tmp_path, "[show]\ntitle = 'New'\n[enhance]\nview = 'signed'\n")
    settings = show_over(told, session())
    assert settings.rig == session().rig
    assert settings.camera == session().camera.model_copy(update={"source": ""})
    assert (settings.show.title, settings.show.clock) == ("New", False)
    assert settings.enhance.view == "signed"


def test_no_show_is_no_show_over_a_session_either(tmp_path: Path) -> None:
    with pytest.raises(BadRequest, match=r"no section \[show\]"):
        show_over(written(tmp_path, "[rig]\nname = 'x'\n"), session())

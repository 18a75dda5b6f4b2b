from __future__ import annotations

from pathlib import Path

import pytest

from liveview.bench.scene import Scene, load_scene, scene_like, scene_names
from liveview.errors import BadRequest
from liveview.settings import Settings


def test_shipped_scenes_load_and_say_what_they_are() -> None:
    names = scene_names()
    assert {"candle", "spark", "workshop"} <= set(names)
    titles = [load_scene(name).title for name in names]
    assert len(set(titles)) == len(names)


def test_default_scene_stands_on_the_users_rig() -> None:
    settings = Settings().replaced("rig", mirror_diameter_m=0.2)
    assert scene_like(settings).rig.mirror_diameter_m == 0.2


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("[sensor]\nwidht = 3", "sensor.widht"),
        ("[sensor]\nbits = 9", "sensor.bits"),
        ("[flows.candle]\nx = 'left'", "flows.candle.x"),
        ("[[steps]]\nat = 1", "steps.0.knob"),
        ("schema = 9", "schema"),
        ("seconds = ", "TOML"),
    ],
)
def test_wrong_scenes_are_refused_in_one_line(tmp_path: Path, text: str, named: str) -> None:
    path = tmp_path / "scene.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadRequest) as caught:
        load_scene(str(path))
    assert named in str(caught.value)
    assert "\n" not in str(caught.value)


def test_missing_and_unknown_scenes(tmp_path: Path) -> None:
    with pytest.raises(BadRequest, match="candle"):
        load_scene("cnadle")
    with pytest.raises(BadRequest, match="cannot read"):
        load_scene(str(tmp_path / "none.toml"))
    binary = tmp_path / "x.toml"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(BadRequest, match="UTF-8"):
        load_scene(str(binary))


def test_prelude_becomes_steps_in_order() -> None:
    scene = Scene.model_validate(
        {"prelude": {"dark": 1, "open": 2, "reference": 1}, "flows": {"spark": {"on": False}}}
    )
    steps = [(s.at_s, s.knob, s.value) for s in scene.all_steps()]
    assert (0.0, "lens_capped", 1.0) in steps
    assert (1.0, "lens_capped", 0.0) in steps
    assert (1.0, "blade_out", 1.0) in steps
    assert (3.0, "blade_out", 0.0) in steps
    assert (4.0, "flow_candle", 1.0) in steps
    assert not any(knob == "flow_spark" for _, knob, _ in steps)
    assert steps == sorted(steps, key=lambda step: step[0])

"""A whole plan: shipped set-ups work, and every caution comes when it should."""

from __future__ import annotations

from typing import Any

import pytest

from liveview.errors import BadRequest
from liveview.optics.plan import make_plan
from liveview.optics.visibility import Verdict
from liveview.settings import Settings, load_settings
from liveview.shipped import shipped_folder

SETUPS = sorted(shipped_folder("configs").glob("*.toml"))


def changed(**sections: dict[str, Any]) -> Settings:
    settings = Settings().replaced("camera", width=1280, height=720)
    for section, values in sections.items():
        settings = settings.replaced(section, **values)
    return settings


def cautions(**sections: dict[str, Any]) -> list[tuple[str, str]]:
    return [(c.setting, c.text) for c in make_plan(changed(**sections)).cautions]


def test_there_are_setups_of_every_kind() -> None:
    kinds = {load_settings(path).rig.kind for path in SETUPS}
    assert kinds == {"one mirror", "two mirrors", "lenses"}
    assert len(SETUPS) >= 4


@pytest.mark.parametrize("path", SETUPS, ids=lambda path: path.stem)
def test_shipped_setups_have_nothing_against_them(path: Any) -> None:
    plan = make_plan(load_settings(path))
    assert plan.cautions == ()
    assert plan.expected.verdict is not Verdict.NO
    assert len({figure.key for figure in plan.figures}) == len(plan.figures)


def test_defaults_have_nothing_against_them() -> None:
    assert cautions() == []


def test_figures_are_those_of_the_formulas() -> None:
    plan = make_plan(changed(rig={"object_distance_m": 0.4}))
    assert plan.figure("arm_sum").value == pytest.approx(4.0)
    assert plan.figure("contrast_per_radian").value == pytest.approx(4.0 / 0.5e-3)
    assert plan.figure("range_dark").value == pytest.approx(-0.5e-3 / 4.0)
    assert plan.figure("axial_tolerance").value == pytest.approx(0.05 * 1e-3 * 2.4 / 0.15)
    assert plan.figure("sound_delay").value == pytest.approx(0.5 * 2.91363e-3, rel=1e-5)
    with pytest.raises(KeyError):
        plan.figure("weight")


@pytest.mark.parametrize(
    ("sections", "setting", "words"),
    [
        ({"camera": {"lens_focal_length_m": 0.09}}, "camera.lens_focal_length", "field of view"),
        ({"camera": {"lens_focal_length_m": 0.01}}, "camera.lens_focal_length", "takes only"),
        ({"camera": {"lens_focal_length_m": 2.0, "f_number": 1.0}, "rig": {"focal_length_m": 0.5}},
         "camera.lens_focal_length", "cannot focus"),
        ({"camera": {"f_number": 64.0}}, "camera.f_number", "second blade"),
        ({"camera": {"distance_from_blade_m": 0.3}}, "camera.distance_from_blade", "rim"),
        ({"blade": {"distance_m": 2.395}}, "blade.distance", "too near"),
        ({"blade": {"distance_m": 2.45}}, "blade.distance", "too far from"),
        ({"blade": {"distance_m": 2.45}}, "blade.distance", "fully dark or open"),
        ({"blade": {"target_uncut": 0.05}}, "blade.target_uncut", "dark side"),
        ({"blade": {"target_uncut": 0.95}}, "blade.target_uncut", "bright side"),
        ({"lamp": {"width_m": 2e-5}}, "lamp.width", "diffraction"),
        ({"expect": {"flow": "plume of a candle"}}, "lamp.width", "range is smaller"),
        ({"expect": {"flow": "draught of a person nearby"}}, "blade.target_uncut", "less than"),
        ({"camera": {"exposure_s": 0.01}, "expect": {"speed_m_s": 3.0}}, "camera.exposure",
         "smears"),
        ({"rig": {"mirror_diameter_m": 0.4}, "camera": {"lens_focal_length_m": 0.02}},
         "rig.mirror_diameter", "paraboloid"),
        ({"rig": {"kind": "two mirrors", "lamp_distance_m": 1.3}}, "rig.lamp_distance",
         "not parallel"),
    ],
)  # fmt: skip
def test_cautions(sections: dict[str, dict[str, Any]], setting: str, words: str) -> None:
    found = cautions(**sections)
    assert any(words in text for key, text in found if key == setting), found


def test_what_stops_comes_first() -> None:
    plan = make_plan(
        changed(camera={"lens_focal_length_m": 2.0}, rig={"focal_length_m": 0.5},
                blade={"target_uncut": 0.05})
    )  # fmt: skip
    assert plan.view is None
    assert plan.cautions[0].stops
    assert plan.figure("field_width").value is None


def test_remedies_mend() -> None:
    plan = make_plan(changed(camera={"lens_focal_length_m": 0.09}))
    assert plan.view is not None
    mended = changed(camera={"lens_focal_length_m": plan.view.wanted_lens_m})
    assert make_plan(mended).cautions == ()


def test_exposure_suggestion() -> None:
    plan = make_plan(changed(camera={"exposure_s": 1e-4}), brightness=0.4)
    assert plan.exposure is not None
    assert plan.figure("exposure").value == pytest.approx(2e-4)
    fast = changed(camera={"exposure_s": 1e-4}, expect={"speed_m_s": 300.0})
    limited = make_plan(fast, brightness=0.4)
    assert limited.exposure is not None
    assert limited.exposure.light_factor > 100.0
    assert "times more light" in limited.figure("exposure").note
    assert make_plan(changed()).figure("exposure").value is None


@pytest.mark.parametrize("brightness", [0.0, -1.0, 1.5])
def test_impossible_brightness(brightness: float) -> None:
    with pytest.raises(BadRequest, match="not a brightness"):
        make_plan(changed(camera={"exposure_s": 1e-3}), brightness=brightness)


def test_brightness_needs_an_exposure() -> None:
    with pytest.raises(BadRequest, match="without the exposure"):
        make_plan(changed(), brightness=0.5)


def test_unknown_flow() -> None:
    with pytest.raises(BadRequest, match="choose from"):
        make_plan(changed(expect={"flow": "storm"}))


def test_impossible_rig() -> None:
    with pytest.raises(BadRequest, match="behind the mirror"):
        make_plan(changed(rig={"lamp_distance_m": 0.5}))


def test_more_averaging_sees_smaller_angles() -> None:
    one = make_plan(changed()).figure("noise_angle").value
    many = make_plan(changed(enhance={"average_frames": 16})).figure("noise_angle").value
    assert one is not None
    assert many is not None
    assert many < one / 3.0

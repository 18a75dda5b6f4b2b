"""Arguments of ``process`` joined with a settings file; wrong ones name their option."""

from __future__ import annotations

import argparse
from pathlib import Path

import pytest

from liveview.cli import build_parser
from liveview.commands.processing.request import (
    Request,
    Stretch,
    differing,
    read_request,
    read_stretch,
)
from liveview.errors import BadRequest
from liveview.model import CalibrationKind, Side
from liveview.settings import Settings


def request(*options: str) -> Request:
    args: argparse.Namespace = build_parser("process").parse_args(
        ["process", "clip.mkv", "--out", "there", *options]
    )
    return read_request(args)


def test_nothing_stated_is_nothing_known() -> None:
    plain = request()
    assert plain.settings == Settings()
    assert plain.given == frozenset()
    assert not plain.lamp_is_known
    assert not plain.place_is_known
    assert (plain.every, plain.seconds, plain.pictures) == (1, None, {})


def test_every_option_arrives() -> None:
    full = request(
        *("--transfer", "gamma:2.2", "--catch", "both", "--mic-distance", "30 cm"),
        *("--row-time", "15 us", "--exposure", "2 ms", "--blade-side", "top"),
        *("--lamp", "round:0.5 mm", "--mirror-diameter", "114 mm", "--blade-distance", "1.8"),
        *("--rate", "240", "--white", "4095", "--every", "10", "--seconds", "3"),
        *("--contrast", "--picture", "--json", "--sound", "crack.wav"),
        *("--dark", "0:1", "--open", "1:", "--reference", "quiet.png"),
    )
    camera, settings = full.settings.camera, full.settings
    assert (camera.transfer, camera.white, camera.rate_hz) == ("gamma:2.2", 4095, 240.0)
    assert (camera.row_time_s, camera.exposure_s) == (pytest.approx(15e-6), 0.002)
    assert (settings.catch.on, settings.catch.mic_distance_m) == ("both", pytest.approx(0.3))
    assert settings.blade.side is Side.TOP
    assert (settings.lamp.shape, settings.lamp.image_width_m) == ("round", pytest.approx(5e-4))
    assert settings.rig.mirror_diameter_m == pytest.approx(0.114)
    assert settings.blade.distance_m == 1.8
    assert (full.every, full.seconds, full.sound) == (10, 3.0, "crack.wav")
    assert full.contrast and full.picture and full.json
    assert full.pictures == {
        CalibrationKind.DARK: Stretch(0.0, 1.0),
        CalibrationKind.OPEN: Stretch(1.0, float("inf")),
        CalibrationKind.REFERENCE: "quiet.png",
    }
    assert full.lamp_is_known and full.place_is_known


def test_options_go_before_the_settings_file(tmp_path: Path) -> None:
    file = tmp_path / "rig.toml"
    file.write_text(
        '[rig]\nmirror_diameter = "200 mm"\nfocal_length = 1.0\n[lamp]\nwidth = "1 mm"\n', "utf-8"
    )
    both = request("--setup", str(file), "--mirror-diameter", "0.114")
    assert both.settings.rig.mirror_diameter_m == pytest.approx(0.114)
    assert both.settings.rig.focal_length_m == 1.0
    assert both.lamp_is_known and both.place_is_known


def test_a_shipped_setup_goes_by_its_name() -> None:
    assert request("--setup", "small-telescope-mirror").place_is_known


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--lamp", "square:1"], "--lamp"),
        (["--lamp", "slit"], "--lamp"),
        (["--lamp", "slit:-1 mm"], "--lamp"),
        (["--mirror-diameter", "0"], "--mirror-diameter"),
        (["--mirror-diameter", "3 s"], "--mirror-diameter"),
        (["--transfer", "log"], "--transfer log"),
        (["--catch", "everything"], "--catch everything"),
        (["--blade-side", "north"], "--blade-side north"),
        (["--white", "0"], "--white 0"),
        (["--white", "many"], "--white many"),
        (["--every", "0"], "--every"),
        (["--every", "2.5"], "--every"),
        (["--seconds", "-1"], "--seconds"),
        (["--rate", "nan"], "--rate"),
        (["--dark", "2:1"], "--dark"),
        (["--reference", "1:1"], "--reference"),
        (["--setup", "no-such-setup"], "--setup"),
    ],
    ids=" ".join,
)
def test_wrong_values_name_the_option(options: list[str], words: str) -> None:
    with pytest.raises(BadRequest) as refused:
        request(*options)
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    ("text", "stretch"),
    [
        ("0.5:2", Stretch(0.5, 2.0)),
        (":2", Stretch(0.0, 2.0)),
        ("3:", Stretch(3.0, float("inf"))),
        (":", Stretch(0.0, float("inf"))),
        ("1e-1:.5", Stretch(0.1, 0.5)),
        ("C:/clip.mkv", "C:/clip.mkv"),
        ("camera:0", "camera:0"),
        ("dark.png", "dark.png"),
    ],
)
def test_stretches_and_addresses_are_told_apart(text: str, stretch: Stretch | str) -> None:
    assert read_stretch(text, "--dark") == stretch


def test_a_stretch_holds_its_start_and_not_its_end() -> None:
    stretch = Stretch(1.0, 2.0)
    assert [stretch.holds(t) for t in (0.999, 1.0, 1.999, 2.0)] == [False, True, True, False]


def test_a_snapshot_of_defaults_states_nothing() -> None:
    assert differing(Settings()) == set()
    changed = Settings().replaced("rig", mirror_diameter_m=0.2)
    assert "rig.mirror_diameter_m" in differing(changed)
    assert "lamp.width_m" not in differing(changed)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--transfer", "foo"], "--transfer foo: must be srgb, bt709, linear or gamma:G"),
        (["--white", "0"], "--white 0: must be greater than or equal to 1"),
        (["--white", "x"], "--white x: must be a whole number"),
        (["--white", "70000"], "--white 70000: must be less than or equal to 65535"),
        (["--rate", "0"], "--rate 0: must be greater than 0"),
        (["--lamp", "slit:-1mm"], "--lamp slit:-1mm: must be greater than 0"),
        (["--blade-side", "up"], "--blade-side up: must be 'left', 'right'"),
    ],
)
def test_faults_are_told_in_plain_words(options: list[str], words: str) -> None:
    with pytest.raises(BadRequest) as caught:
        request(*options)
    assert str(caught.value).startswith(words)

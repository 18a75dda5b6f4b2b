"""``liveview plan`` as scripts and people use it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from liveview.cli import main
from liveview.optics.plan import make_plan
from liveview.optics.visibility import whole_words
from liveview.settings import load_settings
from liveview.shipped import shipped_folder

SETUPS = sorted(path.stem for path in shipped_folder("configs").glob("*.toml"))


def plan(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(["plan", *arguments]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


@pytest.mark.parametrize("setup", SETUPS)
def test_table_of_each_shipped_setup(setup: str, capsys: pytest.CaptureFixture[str]) -> None:
    out = plan(capsys, "--setup", setup)
    name = load_settings(shipped_folder("configs") / f"{setup}.toml").rig.name
    assert out.startswith(name)
    for heading in ("DISTANCES", "SENSITIVITY", "CAMERA", "SOUND", "WHAT WILL BE SEEN", "ASSUMED"):
        assert heading in out
    assert max(map(len, out.splitlines())) <= 100
    assert not any(line != line.rstrip() for line in out.splitlines())


@pytest.mark.parametrize("setup", SETUPS)
def test_json_of_each_shipped_setup(setup: str, capsys: pytest.CaptureFixture[str]) -> None:
    data = json.loads(plan(capsys, "--setup", setup, "--json"))
    assert data["schema"] == 1
    assert data["figures"]["arm_sum"]["unit"] == "m"
    assert data["cautions"] == []
    assert data["expected"] in {flow["name"] for flow in data["flows"]}


def test_overrides(capsys: pytest.CaptureFixture[str]) -> None:
    data = json.loads(
        plan(
            capsys,
            "--json",
            *("--setup", "big-mirror"),
            *("--mirror-diameter", "114 mm"),
            *("--focal-length", "0.9"),
            *("--object-distance", "6 in"),
            *("--lamp", "slit:0.5 mm"),
            *("--pixels", "640x480"),
            *("--temperature", "30 degC"),
            *("--pressure", "900 hPa"),
            *("--speed", "36 km/h"),
        )
    )
    figures = data["figures"]
    assert figures["lamp_distance"]["value"] == pytest.approx(1.8)
    assert figures["object_distance"]["value"] == pytest.approx(0.1524)
    assert figures["image_width"]["value"] == pytest.approx(0.5e-3)
    assert figures["speed"]["value"] == pytest.approx(10.0)
    assert data["setup"]["rig"]["temperature"] == pytest.approx(303.15)
    assert data["setup"]["rig"]["pressure_pa"] == pytest.approx(90000.0)
    assert (data["setup"]["camera"]["width"], data["setup"]["camera"]["height"]) == (640, 480)


def test_units_of_the_table(capsys: pytest.CaptureFixture[str]) -> None:
    assert "94.49 in" in plan(capsys, "--unit", "in")
    assert "2.4 m" in plan(capsys, "--unit", "m")


def test_cautions_are_on_top(capsys: pytest.CaptureFixture[str]) -> None:
    out = plan(capsys, "--lens-focal-length", "90 mm")
    assert out.index("CARE: the field of view") < out.index("DISTANCES")
    out = plan(capsys, "--lens-focal-length", "2 m", "--focal-length", "0.5 m")
    assert "CANNOT WORK: a lens of 2 m cannot focus" in out


def test_exposure(capsys: pytest.CaptureFixture[str]) -> None:
    out = plan(capsys, "--exposure", "100 us", "--brightness", "0.4")
    assert "200 us  open picture at 80 % of the top code" in out


def test_save_writes_a_setup_that_gives_the_same_plan(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    saved = tmp_path / "deep" / "mine.toml"
    first = plan(capsys, "--setup", "lens-bench", "--lamp-width", "0.2 mm", "--save", str(saved))
    assert plan(capsys, "--setup", str(saved)) == first


def test_lists(capsys: pytest.CaptureFixture[str]) -> None:
    assert [line.split()[0] for line in plan(capsys, "--setups").splitlines()] == SETUPS
    assert "plume of a candle: 54 arcsec" in plan(capsys, "--flows")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (
            ["--mirror-diameter", "114"],
            "--mirror-diameter 114: must be less than or equal to 10; a",
        ),
        (["--mirror-diameter=-3 mm"], "must be greater than 0"),
        (["--focal-length", "3 kg"], "'3 kg' is not a length"),
        (["--focal-length", "1,200 mm"], "write 1200 mm or 1.200 mm"),
        (["--focal-length", "1 200 mm"], "has a space inside the number"),
        (["--focal-length", "wide"], "cannot read 'wide'"),
        (["--focal-length", "nan"], "cannot read 'nan'"),
        (["--lamp-distance", "0.8"], "behind the mirror; put the lamp near 2.4 m"),
        (["--lamp-distance", "1.2"], "in the focus"),
        (["--object-distance", "3"], "does not stand between"),
        (["--uncut", "1.4"], "--uncut 1.4: must be less than 1"),
        (["--lamp", "oval"], "must be 'slit' or 'round'"),
        (["--lamp", "slit:2 kg"], "'2 kg' is not a length"),
        (["--pixels", "12"], "write it like 1920x1080"),
        (["--flow", "storm"], "no flow is called 'storm'"),
        (["--brightness", "0.5"], "without the exposure"),
        (["--brightness", "2", "--exposure", "1 ms"], "not a brightness"),
        (["--setup", "nowhere"], "give a file or one of: "),
        (["--kind", "three mirrors"], "must be 'one mirror'"),
        (["--sideways"], "unrecognized arguments"),
    ],
)
def test_errors_are_one_line(
    arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["plan", *arguments]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert words in err
    assert err.startswith("liveview: ")
    assert err.count("\n") == 1


def test_file_that_is_no_setup(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text('[rig]\nmirror_diameter = "big"\n', encoding="utf-8")
    assert main(["plan", "--setup", str(bad)]) == 2
    err = capsys.readouterr().err
    assert "bad.toml" in err
    assert "mirror_diameter" in err
    assert err.count("\n") == 1


def test_save_where_nothing_can_be_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    assert main(["plan", "--save", str(tmp_path / "file" / "mine.toml")]) == 4
    assert capsys.readouterr().err.count("\n") == 1


def test_it_says_when_a_flow_is_seen_whole_as_the_plan_page_does(
    capsys: pytest.CaptureFixture[str],
) -> None:
    lines = plan(capsys, "--setup", "small-telescope-mirror").splitlines()
    breath = next(line for line in lines if line.strip().startswith("breath"))
    seen = next(
        seen
        for seen in make_plan(
            load_settings(shipped_folder("configs") / "small-telescope-mirror.toml")
        ).flows
        if seen.flow.name == "breath"
    )
    assert f"whole {breath.split('  ')[-1].strip()}" == whole_words(seen)
    assert "% uncut" in breath
    assert "under its diffraction" in breath

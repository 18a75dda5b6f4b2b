"""Settings: TOML in and out, wrong keys and values named, every shipped set-up valid."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st
from support.fault_table import Fault

from liveview.cli import main
from liveview.errors import BadRequest, OutputFailed
from liveview.settings import SCHEMA, Settings, file_key, load_settings, save_settings, validated
from liveview.shipped import shipped_folder


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "rig.toml"
    path.write_text(text, encoding="utf-8")
    return path


def assert_same(one: Settings, other: Settings) -> None:
    """Equal but for the rounding of a product of number and unit."""
    for (section, values), (name, others) in zip(
        one.to_mapping().items(), other.to_mapping().items(), strict=True
    ):
        assert section == name
        if not isinstance(values, dict):
            assert values == others
            continue
        assert values.keys() == others.keys()
        for key, value in values.items():
            if isinstance(value, float):
                assert value == pytest.approx(others[key], rel=1e-15), key
            else:
                assert value == others[key], key


def leaves(settings: Settings) -> list[tuple[str, str]]:
    """Section and key of everything that may stand in a file."""
    sections = type(settings).model_fields
    return [
        (name, key)
        for name, field in sections.items()
        if name not in ("schema_version", "disc")
        for key in (k.alias or n for n, k in field.default.__class__.model_fields.items())
    ]


def test_an_empty_file_is_the_defaults(tmp_path: Path) -> None:
    assert load_settings(written(tmp_path, "")) == Settings()


def test_units_are_read_and_keys_carry_none(tmp_path: Path) -> None:
    text = (
        '[rig]\nmirror_diameter = "114 mm"\ntemperature = "20 degC"\n[camera]\nexposure = "2 ms"\n'
    )
    settings = load_settings(written(tmp_path, text))
    assert settings.rig.mirror_diameter_m == pytest.approx(0.114)
    assert settings.rig.temperature_k == pytest.approx(293.15)
    assert settings.camera.exposure_s == pytest.approx(0.002)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[rig]\nmirror_diametre = 1", "unknown key 'rig.mirror_diametre'"),
        ("[rigg]\n", "unknown key 'rigg'"),
        ("[rig]\nmirror_diameter = -1", "rig.mirror_diameter"),
        ('[rig]\nmirror_diameter = "2 s"', "'2 s' is not a length"),
        ('[rig]\nfocal_length = "1 200 mm"', "has a space inside the number"),
        ("[rig]\nmirror_diameter = nan", "finite"),
        ('[blade]\nside = "north"', "blade.side"),
        ('[camera]\ntransfer = "log"', "camera.transfer"),
        ('[catch]\non = "always"', "catch.on"),
        ("[store]\nring_mb = 1", "store.ring_mb"),
        ("rig = 3", "rig"),
        ("[rig", "not valid TOML"),
        (f"schema = {SCHEMA + 1}", "newer version"),
        ("schema = 0", "schema"),
    ],
)
def test_what_is_wrong_is_named_in_one_line(text: str, words: str, tmp_path: Path) -> None:
    path = written(tmp_path, text)
    with pytest.raises(BadRequest) as refused:
        load_settings(path)
    assert str(refused.value).startswith(str(path))
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.fault(
    "a settings file of a newer version",
    says="written by a newer version",
    then="refused in one line, exit code 2; the file is not touched",
)
def test_a_file_of_a_newer_version_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], fault: Fault
) -> None:
    path = written(tmp_path, f'schema = {SCHEMA + 1}\n[rig]\nname = "of tomorrow"\n')
    before = path.read_bytes()
    assert main(["plan", "--setup", str(path)]) == 2
    assert capsys.readouterr().err.count("\n") == 1
    with pytest.raises(BadRequest, match=fault.says):
        load_settings(path)
    assert path.read_bytes() == before


def test_missing_folder_and_binary_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(BadRequest, match="cannot read the settings"):
        load_settings(tmp_path / "none.toml")
    with pytest.raises(BadRequest, match="cannot read the settings"):
        load_settings(tmp_path)
    (tmp_path / "b.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(BadRequest, match="UTF-8"):
        load_settings(tmp_path / "b.toml")


@given(st.binary(max_size=200))
def test_any_bytes_are_settings_or_one_line(
    tmp_path_factory: pytest.TempPathFactory, data: bytes
) -> None:
    path = tmp_path_factory.mktemp("fuzz") / "rig.toml"
    path.write_bytes(data)
    try:
        load_settings(path)
    except BadRequest as error:
        assert "\n" not in str(error)


LEAVES = st.sampled_from(sorted(leaves(Settings())))
VALUES = st.recursive(
    st.booleans()
    | st.integers(-(10**30), 10**30)
    | st.floats()
    | st.text(st.characters(codec="utf-8"), max_size=12)
    | st.sampled_from(["1 m", "-1 mm", "1e999 s", "nan m", "3 furlong", "1/0", "../..", "2 m m"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.text(st.characters(codec="utf-8"), max_size=6), inner, max_size=3)
    ),
    max_leaves=4,
)


@pytest.mark.slow
@given(st.dictionaries(LEAVES, VALUES, max_size=4))
def test_any_value_of_any_key_is_taken_or_named_in_one_line(
    tmp_path_factory: pytest.TempPathFactory, changes: dict[tuple[str, str], object]
) -> None:
    data: dict[str, dict[str, object]] = {}
    for (section, key), value in changes.items():
        data.setdefault(section, {})[key] = value
    path = tmp_path_factory.mktemp("fuzz") / "rig.toml"
    try:
        path.write_text(tomli_w.dumps(data), encoding="utf-8")
    except OverflowError:
        return
    try:
        settings = load_settings(path)
    except BadRequest as error:
        assert str(error).startswith(str(path))
        assert "\n" not in str(error)
    else:
        save_settings(settings, path)
        assert_same(load_settings(path), settings)


@pytest.mark.parametrize("tenth", range(10))
def test_a_file_cut_at_every_tenth_is_read_or_named(tenth: int, tmp_path: Path) -> None:
    save_settings(Settings().replaced("disc", cx=1.0, cy=2.0, radius=30.0), tmp_path / "a.toml")
    data = (tmp_path / "a.toml").read_bytes()
    (tmp_path / "a.toml").write_bytes(data[: len(data) * tenth // 10])
    try:
        load_settings(tmp_path / "a.toml")
    except BadRequest as error:
        assert "\n" not in str(error)


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 4000,
        "a = " + "[" * 50_000,
        "[" + "a." * 50_000 + "a]",
        "[" + "a." * 2000 + "a]",
        "a" + ".a" * 2000 + " = 1",
        "# long\n" * 200_000,
    ],
    ids=["arrays", "more", "keys", "fewer", "dots", "lines"],
)
def test_nesting_and_length_without_end_are_refused(text: str, tmp_path: Path) -> None:
    with pytest.raises(BadRequest) as refused:
        load_settings(written(tmp_path, text))
    assert len(str(refused.value)) < 5000
    assert "\n" not in str(refused.value)


def test_saved_settings_come_back(tmp_path: Path) -> None:
    settings = (
        Settings()
        .replaced("rig", mirror_diameter_m=0.2, name='my "rig"')
        .replaced("disc", cx=1.5, cy=2.5, radius=30.0)
        .replaced("camera", exposure_s=1e-3, white=4095)
    )
    save_settings(settings, tmp_path / "deep" / "rig.toml")
    assert load_settings(tmp_path / "deep" / "rig.toml") == settings
    assert [p.name for p in (tmp_path / "deep").iterdir()] == ["rig.toml"]


@pytest.mark.parametrize(
    "path", sorted(shipped_folder("configs").glob("*.toml")), ids=lambda p: p.stem
)
def test_a_set_up_is_saved_as_people_write_it(path: Path, tmp_path: Path) -> None:
    """What the shipped file says, as it says it, and nothing besides."""
    save_settings(load_settings(path), tmp_path / "a.toml")
    saved = tomllib.loads((tmp_path / "a.toml").read_text("utf-8"))
    shipped = tomllib.loads(path.read_text("utf-8"))
    assert saved.keys() == shipped.keys()
    for section, values in shipped.items():
        if isinstance(values, dict):
            assert saved[section].keys() == values.keys()
            for key, value in values.items():
                assert type(saved[section][key]) is type(value), key
    for key in ("sensor_width", "sensor_height", "lens_focal_length", "rate", "f_number"):
        assert saved["camera"][key] == shipped["camera"][key]
    assert load_settings(tmp_path / "a.toml") == load_settings(path)


def test_the_rig_is_saved_also_where_it_is_the_default() -> None:
    written = Settings().to_file()
    assert written["rig"]["mirror_diameter"] == "150 mm"
    assert written["rig"]["object_distance"] == "0 mm"
    assert written["camera"]["transfer"] == "srgb"
    assert written.keys() == {"schema", "rig", "lamp", "blade", "camera", "expect"}
    assert "pressure_pa" not in written["rig"]


def test_saving_where_a_file_is_in_the_way_fails_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(OutputFailed, match="cannot write the settings"):
        save_settings(Settings(), tmp_path / "file" / "rig.toml")


def test_replaced_checks_and_leaves_the_old_one_alone() -> None:
    settings = Settings()
    other = settings.replaced("enhance", average_frames=8)
    assert (settings.enhance.average_frames, other.enhance.average_frames) == (1, 8)
    with pytest.raises(BadRequest, match=r"enhance\.average_frames"):
        settings.replaced("enhance", average_frames=0)
    with pytest.raises(BadRequest, match="unknown key"):
        settings.replaced("enhance", nonsense=1)


def test_a_mapping_round_trips() -> None:
    settings = Settings().replaced("lamp", image_width_m=5e-4)
    assert validated(settings.to_mapping(), "here") == settings


@pytest.mark.parametrize(
    "path", sorted(shipped_folder("configs").glob("*.toml")), ids=lambda p: p.stem
)
def test_every_shipped_set_up_is_valid(path: Path) -> None:
    assert load_settings(path).rig.name != Settings().rig.name


def test_file_keys_lose_their_unit() -> None:
    assert [file_key(n) for n in ("width_m", "rate_hz", "pressure_pa", "side")] == [
        "width",
        "rate",
        "pressure_pa",
        "side",
    ]

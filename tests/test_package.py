"""The wheel and the source package: built, installed elsewhere, and run from there."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

from liveview import __version__

ROOT = Path(__file__).parent.parent
pytestmark = pytest.mark.slow


def run(*command: str, folder: Path, **more: str) -> str:
    """Standard output of a command that must succeed."""
    done = subprocess.run(
        [sys.executable, *command],
        cwd=folder,
        env={**os.environ, **more},
        capture_output=True,
        text=True,
        timeout=100,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Both packages, built from this checkout, by suffix."""
    folder = tmp_path_factory.mktemp("dist")
    run("-m", "hatchling", "build", "-d", str(folder), folder=ROOT)
    return {path.suffix: path for path in folder.iterdir()}


@pytest.fixture(scope="module")
def installed(built: dict[str, Path], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel alone, installed into a folder outside the checkout."""
    site = tmp_path_factory.mktemp("site")
    wheel = str(built[".whl"])
    run("-m", "pip", "install", "-q", "--no-deps", "--target", str(site), wheel, folder=site)
    return site


def test_the_wheel_holds_what_the_program_opens(built: dict[str, Path]) -> None:
    with zipfile.ZipFile(built[".whl"]) as wheel:
        names = set(wheel.namelist())
    for folder in ("assets", "configs"):
        for path in (ROOT / folder).rglob("*"):
            if path.is_file() and "__pycache__" not in path.parts:
                assert f"liveview/_shipped/{path.relative_to(ROOT).as_posix()}" in names
    licences = {name.split("/licenses/")[1] for name in names if "/licenses/" in name}
    assert licences == {"LICENSE", "assets/fonts/OFL.txt"}
    assert not [name for name in names if name.startswith("tests/")]


def test_the_source_package_can_be_tested(built: dict[str, Path]) -> None:
    with tarfile.open(built[".gz"]) as archive:
        names = {name.split("/", 1)[1] for name in archive.getnames() if "/" in name}
    assert {"start", ".ci/run", ".ci/constraints.txt", "README.md", "DEVELOPERS.md"} <= names
    assert {"CHANGELOG.md", "LICENSE", "tests/conftest.py", "liveview/app.py"} <= names


def test_it_runs_away_from_the_checkout(installed: Path, tmp_path: Path) -> None:
    away = {"PYTHONPATH": str(installed)}
    where = run("-c", "import liveview; print(liveview.__file__)", folder=tmp_path, **away)
    assert Path(where.strip()).is_relative_to(installed)
    assert __version__ in run("-m", "liveview", "--version", folder=tmp_path, **away)
    assert "mirror" in run("-m", "liveview", "plan", folder=tmp_path, **away)
    made = ("simulate", "candle", "--out", "made", "--seconds", "0.5", "--size", "160x120")
    run("-m", "liveview", *made, folder=tmp_path, **away)
    recording = next(path for path in (tmp_path / "made").rglob("*.mkv"))
    said = run(
        *("-m", "liveview", "process", str(recording), "--out", "done", "--json"),
        folder=tmp_path,
        **away,
    )
    assert json.loads(said)["recording"]["frames"] > 0

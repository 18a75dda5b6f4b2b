"""``./start``: what it says and does on machines of several kinds, with stand-ins on the path.

The stand-ins are programs that do what the real ones would and note what they were asked for. The
set-up itself (packages, environment, network) is proved on a bare machine, not here.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
pytestmark = pytest.mark.skipif(os.name != "posix", reason="a POSIX shell script")

PYTHON = """#!/bin/sh
echo "python $*" >>"$LOG"
case $1 in
-V) echo "Python 3.11.9" ;;
-c) exit 0 ;;
-m) case $2 in
    venv) mkdir -p "$4/bin" && cp "$0" "$4/bin/python" ;;
    liveview) echo "ran liveview: $*" ;;
    pip) [ "$3" != install ] || [ "${PIP_FAILS:-}" != yes ] ;;
    esac ;;
esac
"""


class Machine:
    """A copy of the script in its checkout, and a path with only what the machine has."""

    def __init__(self, folder: Path) -> None:
        self.checkout = folder / "a checkout"
        self.bin = folder / "bin"
        self.log = folder / "log"
        self.bin.mkdir()
        (self.checkout / ".ci").mkdir(parents=True)
        for name in ("start", ".ci/constraints.txt", "pyproject.toml"):
            shutil.copy(ROOT / name, self.checkout / name)
        for tool in ("sh", "cat", "cmp", "dirname", "rm", "cp", "mkdir", "mktemp", "uname", "tail"):
            (self.bin / tool).symlink_to(shutil.which(tool) or f"/bin/{tool}")
        self.program("id", 'echo "${WHO:-1000}"')
        self.program("python3", PYTHON.removeprefix("#!/bin/sh\n"))

    def program(self, name: str, body: str) -> None:
        path = self.bin / name
        path.write_text(f"#!/bin/sh\n{body}\n", encoding="utf-8")
        path.chmod(0o755)

    def debian(self, installed: str) -> None:
        """Give it Debian's tools, with these packages installed."""
        lines = "".join(f"installed={name} " for name in installed.split())
        self.program("dpkg-query", f'printf "%s" "{lines}"')
        self.program("apt-get", 'echo "apt-get $*" >>"$LOG"')
        self.program("env", 'shift; exec "$@"')
        self.program("sudo", 'echo "sudo $*" >>"$LOG"')

    def start(self, *arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
        env = {"PATH": str(self.bin), "LOG": str(self.log), "HOME": str(self.bin), **environment}
        return subprocess.run(
            ["sh", str(self.checkout / "start"), *arguments],
            env=env,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )

    @property
    def asked(self) -> str:
        return self.log.read_text(encoding="utf-8") if self.log.exists() else ""


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    return Machine(tmp_path)


def test_arguments_are_passed_on_whole(machine: Machine) -> None:
    done = machine.start("plan", "--setup", "my rig.toml")
    assert done.returncode == 0
    assert done.stdout == "ran liveview: -m liveview plan --setup my rig.toml\n"


def test_a_second_start_sets_nothing_up(machine: Machine) -> None:
    assert machine.start("list").returncode == 0
    assert "pip install" in machine.asked
    machine.log.unlink()
    assert machine.start("list").stdout == "ran liveview: -m liveview list\n"
    assert "pip" not in machine.asked
    assert "venv" not in machine.asked


def test_changed_pins_are_a_reason_to_set_up_again(machine: Machine) -> None:
    machine.start("list")
    machine.log.unlink()
    with (machine.checkout / ".ci" / "constraints.txt").open("a", encoding="utf-8") as file:
        file.write("extra==1\n")
    machine.start("list")
    assert "pip install" in machine.asked


def test_a_set_up_that_failed_is_tried_again(machine: Machine) -> None:
    failed = machine.start("list", PIP_FAILS="yes")
    assert failed.returncode != 0
    assert "pip could not install" in failed.stderr
    machine.log.unlink()
    assert machine.start("list").returncode == 0
    assert "pip install" in machine.asked


def test_without_rights_it_says_which_command_to_run(machine: Machine) -> None:
    machine.debian("python3-venv libgl1")
    done = machine.start("list")
    assert done.returncode != 0
    assert "sudo apt-get install" in done.stderr
    assert "libportaudio2" in done.stderr
    assert "libgl1" not in done.stderr.replace("libgl1-", "")
    assert machine.asked == ""


def test_packages_can_be_left_to_somebody_else(machine: Machine) -> None:
    machine.debian("")
    assert machine.start("list", LIVEVIEW_PACKAGES="skip").returncode == 0
    assert "apt-get" not in machine.asked


def test_root_installs_what_is_missing_and_nothing_else(machine: Machine) -> None:
    machine.debian("python3-venv libgl1 libegl1")
    assert machine.start("list", WHO="0").returncode == 0
    (line,) = [line for line in machine.asked.splitlines() if "apt-get install" in line]
    assert "libportaudio2" in line
    assert "libegl1" not in line
    assert "xvfb" not in line


def test_renamed_packages_count(machine: Machine) -> None:
    machine.debian("libglib2.0-0t64")
    machine.start("list", WHO="0")
    assert "libglib2.0-0" not in machine.asked


def test_a_checking_machine_uses_sudo_without_asking(machine: Machine) -> None:
    machine.debian("")
    assert machine.start("list", CI="true").returncode == 0
    assert "sudo -n apt-get update" in machine.asked


def test_no_display_runs_the_command_and_says_where(machine: Machine, tmp_path: Path) -> None:
    done = machine.start(TMPDIR=str(tmp_path))
    assert done.returncode == 0
    assert "no display" in done.stderr
    assert "liveview simulate" in machine.asked
    assert "liveview process" in machine.asked
    folder = next(tmp_path.glob("liveview-*"))
    assert f"{folder}/processed/report.json" in done.stderr


def test_with_a_display_it_is_the_window(machine: Machine) -> None:
    assert machine.start(DISPLAY=":7").stdout == "ran liveview: -m liveview\n"


def test_an_old_python_is_refused(machine: Machine) -> None:
    machine.program("python3", "exit 1")
    done = machine.start("list")
    assert done.returncode != 0
    assert "3.11" in done.stderr


def test_every_test_package_is_asked_for_by_test(machine: Machine) -> None:
    machine.debian("")
    machine.start("test", WHO="0")
    assert "xvfb" in machine.asked
    assert "pulseaudio" in machine.asked
    assert ".[test]" in machine.asked
    for tool in ("ruff format --check", "ruff check", "mypy", "pytest"):
        assert f"python -m {tool}" in machine.asked


@pytest.mark.parametrize("script", ["start", ".ci/run"])
def test_the_scripts_are_clean(script: str) -> None:
    assert os.access(ROOT / script, os.X_OK)
    subprocess.run(["sh", "-n", str(ROOT / script)], check=True)
    checker = shutil.which("shellcheck")
    if checker is not None:
        # Its notes on unreachable code are wrong about functions that are called last.
        subprocess.run([checker, "--exclude=SC2317", str(ROOT / script)], check=True)


def test_pins_hold_names_and_versions_only() -> None:
    lines = (ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8").splitlines()
    assert len(lines) > 40
    for line in lines:
        name, _, version = line.partition("==")
        assert name.replace("-", "").replace("_", "").replace(".", "").isalnum(), line
        assert version and " " not in version and "/" not in version, line


def test_pins_cover_what_the_project_asks_for() -> None:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = project["dependencies"] + project["optional-dependencies"]["test"]
    pinned = {
        line.partition("==")[0].lower().replace("_", "-")
        for line in (ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8").splitlines()
    }
    for requirement in wanted:
        name = requirement.split(">")[0].split("=")[0].split("<")[0].strip()
        assert name.lower().replace("_", "-") in pinned, requirement


@pytest.mark.skipif(
    not sys.executable.startswith(str(ROOT / ".venv")), reason="not the environment of ./start"
)
def test_the_real_one_answers() -> None:
    done = subprocess.run(
        [str(ROOT / "start"), "--version"], capture_output=True, text=True, timeout=60, check=True
    )
    assert done.stdout.startswith("liveview ")

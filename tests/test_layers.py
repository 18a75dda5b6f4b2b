"""Who may import whom: walks the syntax trees and holds them against the table below.

The table is the architecture. A deviation stands in ``EXCEPTIONS`` with its reason, or fails.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "liveview"

BASE = {"errors", "model", "units"}
ABOVE_OPTICS = BASE | {"settings", "worker", "shipped", "toml_text"}

ROOMS: dict[str, set[str]] = {
    "errors": set(),
    "model": {"errors"},
    "units": {"errors"},
    "shipped": set(),
    "worker": {"errors"},
    "toml_text": {"errors"},
    "settings": BASE | {"toml_text"},
    "shows": BASE | {"settings", "shipped", "toml_text"},
    "optics": BASE,
    "imaging": ABOVE_OPTICS | {"optics"},
    "bench": ABOVE_OPTICS | {"optics", "imaging.transfer", "imaging.cv"},
    "sources": ABOVE_OPTICS | {"optics", "imaging", "bench"},
    "trigger": BASE | {"settings", "imaging", "optics.sound"},
    "engine": ABOVE_OPTICS | {"optics", "imaging", "bench", "sources", "trigger"},
    "recorder": ABOVE_OPTICS,
    "review": ABOVE_OPTICS | {"recorder", "imaging", "optics"},
    "gui": ABOVE_OPTICS
    | {"shows", "optics", "imaging", "bench", "trigger", "engine", "review", "recorder.reading"},
    "commands": ABOVE_OPTICS
    | {"optics", "imaging", "bench", "sources", "trigger", "engine", "recorder", "review"},
    "cli": {"*"},
    "app": {"*"},
    "__main__": {"*"},
}
"""Room: the rooms (or single modules of rooms) it may import. Its own modules always."""

EXCEPTIONS: dict[str, tuple[set[str], str]] = {
    "optics.scale": ({"settings"}, "the one step from settings to the formulas' plain numbers"),
    "optics.plan": ({"settings"}, "everything that follows from one set-up, for all who show it"),
    "optics.plan_figures": ({"settings"}, "part of the plan"),
    "optics.plan_cautions": ({"settings"}, "part of the plan"),
    "sources": ({"recorder.reading"}, "an event folder is a source like any other recording"),
    "recorder": ({"imaging.cv"}, "the one place that imports cv2 safely; pictures are PNG"),
    "review": ({"engine.chain"}, "a stored event is enhanced by the chain that showed it live"),
}
"""Room or module: what else it may import, and why."""

QT = {"PyQt6", "pyqtgraph"}
QT_ROOMS = {"gui", "app"}

PURE_ROOMS = {"optics", "imaging", "bench", "trigger"}
NOT_PURE = {"threading", "queue", "socket", "subprocess", "multiprocessing", "asyncio"}

ALLOWED_OUTSIDE: dict[str, set[str]] = {
    "errors": set(),
    "model": {"numpy"},
    "units": {"numpy", "pint"},
    "shipped": set(),
    "worker": set(),
    "settings": {"pydantic", "tomli_w"},
    "shows": set(),
    "optics": {"numpy", "scipy", "abel"},
    "imaging": {"numpy", "scipy", "cv2"},
    "bench": {"numpy", "scipy", "pydantic"},
    "trigger": {"numpy", "scipy"},
}
"""Packages from outside that the lower rooms may use; the upper rooms are free."""


def modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def dotted(path: Path) -> str:
    """``imaging.disc`` for ``liveview/imaging/disc.py``; ``imaging`` for the room itself."""
    parts = list(path.relative_to(PACKAGE).with_suffix("").parts)
    if parts[-1] == "__init__":
        parts.pop()
    return ".".join(parts)


def imports(path: Path) -> Iterator[tuple[int, str]]:
    """Line and full name of everything a module imports, also inside functions."""
    package = ["liveview", *path.relative_to(PACKAGE).parent.parts]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name
        elif isinstance(node, ast.ImportFrom):
            start = package[: len(package) - node.level + 1] if node.level else []
            base = ".".join([*start, *filter(None, [node.module])])
            for alias in node.names:
                yield node.lineno, f"{base}.{alias.name}"


def covers(allowed: set[str], target: str) -> bool:
    return "*" in allowed or any(
        target == name or target.startswith(name + ".") for name in allowed
    )


def breaches(path: Path) -> list[str]:
    module = dotted(path)
    if not module:
        return [f"liveview/__init__.py:{line}: imports {name}" for line, name in imports(path)]
    room = module.split(".")[0]
    allowed = ROOMS[room] | {room}
    for key in (room, module):
        allowed = allowed | EXCEPTIONS.get(key, (set(), ""))[0]
    found = []
    for line, name in imports(path):
        top, _, target = name.partition(".")
        where = f"liveview/{path.relative_to(PACKAGE).as_posix()}:{line}"
        if top == "liveview":
            if target and not target.startswith("__version__") and not covers(allowed, target):
                found.append(f"{where}: {room} may not import liveview.{target}")
        elif top in QT and room not in QT_ROOMS:
            found.append(f"{where}: only {sorted(QT_ROOMS)} may import {top}")
        elif top in NOT_PURE and room in PURE_ROOMS:
            found.append(f"{where}: {room} is pure, it may not import {top}")
        elif top == "cv2" and module != "imaging.cv":
            found.append(f"{where}: write 'from liveview.imaging.cv import cv2'")
        elif top not in sys.stdlib_module_names and top not in ALLOWED_OUTSIDE.get(room, {top}):
            found.append(f"{where}: {room} may not import {top}")
    return found


def test_every_room_is_in_the_table() -> None:
    rooms = {dotted(path).split(".")[0] for path in modules()} - {""}
    assert rooms <= set(ROOMS), "a new room needs a line in the table"


@pytest.mark.parametrize("path", modules(), ids=dotted)
def test_imports_only_go_down(path: Path) -> None:
    found = breaches(path)
    assert not found, "\n".join(found)


def test_exceptions_are_used_and_have_reasons() -> None:
    for key, (allowed, reason) in EXCEPTIONS.items():
        assert reason
        room = key.split(".")[0]
        for name in allowed:
            assert not covers(ROOMS[room], name), f"{key}: {name} needs no exception"


@pytest.mark.parametrize(
    ("room", "code"),
    [
        ("imaging", "from liveview.gui import window"),
        ("imaging", "from ..engine import session"),
        ("optics", "def f():\n    import liveview.settings"),
        ("engine", "from PyQt6.QtCore import QObject"),
        ("trigger", "import threading"),
        ("sources", "import cv2"),
        ("optics", "import matplotlib"),
        ("gui", "from liveview import sources"),
        ("gui", "from liveview.recorder.writer import Writer"),
    ],
)
def test_a_breach_is_found(
    room: str, code: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(globals(), "PACKAGE", tmp_path)
    (tmp_path / room).mkdir()
    module = tmp_path / room / "bad.py"
    module.write_text(code + "\n", encoding="utf-8")
    assert len(breaches(module)) == 1

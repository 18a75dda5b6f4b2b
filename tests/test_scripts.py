"""Scripts that no test runs: what they import must still be there."""

from __future__ import annotations

import ast
import importlib
import importlib.util
from pathlib import Path

import pytest

HERE = Path(__file__).parent
SCRIPTS = sorted([*(HERE / "benchmarks").glob("*.py"), *(HERE / "support").glob("*.py")])


def exists(module: str, name: str) -> bool:
    if hasattr(importlib.import_module(module), name):
        return True
    return importlib.util.find_spec(f"{module}.{name}") is not None


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.name)
def test_what_a_script_takes_from_the_program_is_there(script: Path) -> None:
    taken = [
        (node.module, alias.name)
        for node in ast.walk(ast.parse(script.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("liveview")
        for alias in node.names
    ]
    assert [f"{module}.{name}" for module, name in taken if not exists(module, name)] == []

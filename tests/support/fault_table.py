"""The table of faults in DEVELOPERS.md, made from what the tests declare.

A test of a bad day carries a mark and takes the fixture ``fault``, whose words it must find on
the screen (or on the error line)::

    @pytest.mark.fault("the stream stalls", says="trying again", then="goes on by itself")
    def test_it(fault):
        ... assert fault.says in words

Run as a script it writes the table; a test compares the two.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

TESTS = Path(__file__).parents[1]
BEGIN = "<!-- faults: made by tests/support/fault_table.py -->"
END = "<!-- end of the faults -->"
HEAD = ("what goes wrong", "what is said", "what happens then", "tried in")
SILENT = "(nothing)"
"""For faults that need no words."""


class Fault:
    """What a test of a fault declares. The words must be asked for, else the test fails."""

    def __init__(self, what: str, says: str, then: str) -> None:
        self.what = what
        self.then = then
        self.asked = says == SILENT
        self._says = says

    @property
    def says(self) -> str:
        """The words that must stand on the screen."""
        self.asked = True
        return self._says


@dataclass(frozen=True)
class Row:
    """One line of the table."""

    what: str
    says: str
    then: str
    test: str

    def __str__(self) -> str:
        says = self.says if self.says == SILENT else f"\u201c{self.says}\u201d"
        return f"| {self.what} | {says} | {self.then} | `{self.test}` |"


def declared() -> list[Row]:
    """A row for each mark in the tests, by file and line; marks are literals."""
    return [row for path in sorted(TESTS.rglob("test_*.py")) for row in _rows(path)]


def _rows(path: Path) -> Iterator[Row]:
    text = path.read_text(encoding="utf-8")
    if "mark.fault" not in text:
        return
    for node in ast.walk(ast.parse(text)):
        if not isinstance(node, ast.FunctionDef):
            continue
        for call in reversed(node.decorator_list):
            if isinstance(call, ast.Call) and ast.unparse(call.func) == "pytest.mark.fault":
                what = ast.literal_eval(call.args[0])
                rest = {word.arg: ast.literal_eval(word.value) for word in call.keywords}
                yield Row(what, rest["says"], rest["then"], path.relative_to(TESTS).as_posix())


def table() -> str:
    """The table in Markdown, with its markers."""
    lines = [f"| {' | '.join(HEAD)} |", "| --- | --- | --- | --- |"]
    return "\n".join((BEGIN, *lines, *map(str, declared()), END))


def replaced(text: str) -> str:
    """``text`` with the table between its markers made anew."""
    before, _, rest = text.partition(BEGIN)
    _, _, after = rest.partition(END)
    return before + table() + after


if __name__ == "__main__":
    page = TESTS.parent / "DEVELOPERS.md"
    page.write_text(replaced(page.read_text(encoding="utf-8")), encoding="utf-8")

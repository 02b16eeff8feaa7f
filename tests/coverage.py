"""
Lines and branches of the money and of the authorisation modules that their tests reach: all of them (A60).

    .venv/bin/python -m tests.coverage                      # all
    .venv/bin/python -m tests.coverage quoting/money.py     # one module

The tests are those that the mutants of each module must fail (tests/mutants/rooms.py), run in this process.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import coverage
import pytest
from msgspec import Struct

from tests.mutants.rooms import ROOMS, Room

ROOT = Path(__file__).parents[1]


class Reached(Struct, frozen=True):
    """What was reached of one module."""

    path: str
    branches: int
    missed_branches: tuple[int, ...]
    missed_lines: tuple[int, ...]

    @property
    def row(self) -> str:
        """As a line of the table; branches that were missed by the lines that they leave from."""
        missed = " ".join(f"{name} {found}" for name, found in self._missed if found)
        return f"{self.path:32}{self.branches:10}   {missed}"

    @property
    def is_whole(self) -> bool:
        """Whether nothing was missed."""
        return not self.missed_branches and not self.missed_lines

    @property
    def _missed(self) -> tuple[tuple[str, tuple[int, ...]], ...]:
        return ("lines", self.missed_lines), ("branches from", self.missed_branches)


def reached(room: Room, measured: coverage.Coverage) -> Reached:
    """What was reached of a room, or of the parts of it that count."""
    path = str(ROOT / room.path)
    counted = set(_lines(room))
    _, _, _, missing, _ = measured.analysis2(path)
    branches = {line: found for line, found in measured.branch_stats(path).items() if line in counted}
    return Reached(
        room.path,
        sum(total for total, _ in branches.values()),
        tuple(sorted(line for line, (total, taken) in branches.items() if taken < total)),
        tuple(sorted(counted & set(missing))),
    )


def _lines(room: Room) -> Iterator[int]:
    """The lines of a room that count."""
    text = (ROOT / room.path).read_text(encoding="utf-8")
    if not room.parts:
        yield from range(1, text.count("\n") + 2)
    for name, node in _definitions(ast.parse(text), ""):
        if name.startswith(room.parts or ("\0",)):
            yield from range(node.lineno, (node.end_lineno or 0) + 1)


def _definitions(
    tree: ast.AST, within: str
) -> Iterator[tuple[str, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef]]:
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            yield within + node.name, node
            yield from _definitions(node, f"{within}{node.name}.")


def main() -> None:
    """Run the tests of the rooms that are named, or of all, and tell what they reach."""
    rooms = [room for room in ROOMS if not sys.argv[1:] or room.path in sys.argv[1:]]
    measured = coverage.Coverage(data_file=None, branch=True, include=[str(ROOT / room.path) for room in rooms])
    measured.start()
    code = pytest.main(list(dict.fromkeys(test for room in rooms for test in room.tests)))
    measured.stop()
    found = [reached(room, measured) for room in rooms]
    print(f"{'module':32}{'branches':>10}   missed")
    for one in found:
        print(one.row)
    sys.exit(int(code) or int(not all(one.is_whole for one in found)))


if __name__ == "__main__":
    main()

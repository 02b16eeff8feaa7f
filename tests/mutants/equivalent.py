"""Mutants that no test can tell from the code: the module, the line before and after, and why."""

from __future__ import annotations

EQUIVALENT: dict[tuple[str, str, str], str] = {}

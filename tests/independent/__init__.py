"""
A second costing, written from DEVELOPERS.md alone: nothing of the library is imported here.

A rate card is a folder of TOML, a job is plain data, and the plan of each part is told from outside; all
arithmetic is in Fractions. What comes out is the cost of every operation, the sheets taken from stock and
the total. It knows what most jobs ask for, not all: no case that is short of letters, no fount with set
widths, no die-cutting, no ink that takes two hits, no additive rule.
"""

from tests.independent.card import Card
from tests.independent.costing import Costed, cost_of
from tests.independent.parts import Told

__all__ = ["Card", "Costed", "Told", "cost_of"]

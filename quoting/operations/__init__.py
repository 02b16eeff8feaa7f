"""
The operations that change a piece after printing: the only list of them.

Adding one is a module beside the others and its two names here; job files, rate cards,
schemas, explanations and documents follow.
"""

from __future__ import annotations

from typing import get_args

from quoting.operations.addressing import Addressing, AddressingRates
from quoting.operations.banding import Banding, BandingRates
from quoting.operations.boxing import Boxing, BoxingRates
from quoting.operations.corner_rounding import CornerRounding, CornerRoundingRates
from quoting.operations.die_cutting import DieCutting, DieCuttingRates
from quoting.operations.drilling import Drilling, DrillingRates
from quoting.operations.duplexing import Duplexing, DuplexingRates
from quoting.operations.edge_painting import EdgePainting, EdgePaintingRates
from quoting.operations.envelope_lining import EnvelopeLining, EnvelopeLiningRates
from quoting.operations.foiling import Foiling, FoilingRates
from quoting.operations.folding import Folding, FoldingRates
from quoting.operations.numbering import Numbering, NumberingRates
from quoting.operations.perforating import Perforating, PerforatingRates
from quoting.operations.ribbon_tying import RibbonTying, RibbonTyingRates
from quoting.operations.scoring import Scoring, ScoringRates
from quoting.operations.wax_sealing import WaxSealing, WaxSealingRates

Operation = (
    Scoring
    | Folding
    | Numbering
    | Perforating
    | Drilling
    | CornerRounding
    | DieCutting
    | Duplexing
    | EdgePainting
    | EnvelopeLining
    | Addressing
    | WaxSealing
    | RibbonTying
    | Banding
    | Foiling
    | Boxing
)
OperationRates = (
    ScoringRates
    | FoldingRates
    | NumberingRates
    | PerforatingRates
    | DrillingRates
    | CornerRoundingRates
    | DieCuttingRates
    | DuplexingRates
    | EdgePaintingRates
    | EnvelopeLiningRates
    | AddressingRates
    | WaxSealingRates
    | RibbonTyingRates
    | BandingRates
    | FoilingRates
    | BoxingRates
)
OPERATIONS: tuple[type, ...] = get_args(Operation)
OPERATION_RATES: tuple[type, ...] = get_args(OperationRates)

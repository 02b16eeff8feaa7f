"""Wording: what a hand-set form holds, how large it is, how much of it prints, whether the case has the letters."""

from quoting.wording.copyfitting import Fitted, FittedLine, ems_a_pound, ems_set, fit, spaced, words_held
from quoting.wording.hand_set import (
    MeasuredType,
    inked_mm2,
    line_width_mm,
    measure_type,
    setting_of,
    text_fitted,
)
from quoting.wording.sorts import (
    Short,
    Sorts,
    StandIn,
    added,
    case_of,
    greatest_number_up,
    settings_of,
    short_of,
    shortages,
)
from quoting.wording.spacing import Filled, SpacedLine, covered, spaced_line, spaces_of
from quoting.wording.standing import centred_line, characters_of, in_settings, sorts_kept, standing_sorts
from quoting.wording.widths import FountWidths, control_in, letters_in

__all__ = [
    "Filled",
    "Fitted",
    "FittedLine",
    "FountWidths",
    "MeasuredType",
    "Short",
    "Sorts",
    "SpacedLine",
    "StandIn",
    "added",
    "case_of",
    "centred_line",
    "characters_of",
    "control_in",
    "covered",
    "ems_a_pound",
    "ems_set",
    "fit",
    "greatest_number_up",
    "in_settings",
    "inked_mm2",
    "letters_in",
    "line_width_mm",
    "measure_type",
    "setting_of",
    "settings_of",
    "short_of",
    "shortages",
    "sorts_kept",
    "spaced",
    "spaced_line",
    "spaces_of",
    "standing_sorts",
    "text_fitted",
    "words_held",
]

"""
Estimating and quoting for letterpress printers.

A job and a rate card in; an estimate for the owner and a quotation for the client out::

    card = load_rate_card("rate_cards_demo/marrowby-lane/card")
    job = load_job("rate_cards_demo/marrowby-lane/jobs/coasters.toml")
    estimate = estimate_job(job, card, on=date.today())
    quotation = quotation_for(estimate, card)

Its names are loaded when they are first asked for, so that a process that only renders loads no engine.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from quoting.errors import (
        DocumentError,
        Fault,
        InputError,
        JobError,
        MeasureError,
        NoPlanError,
        NotOfferedError,
        QuotingError,
        RateCardError,
    )
    from quoting.estimate import Estimate, estimate_job, load_job, read_job
    from quoting.job import Job
    from quoting.quotation import Quotation, quotation_for
    from quoting.rate_card import RateCard, load_rate_card
    from quoting.rules import RULES

__all__ = [
    "RULES",
    "DocumentError",
    "Estimate",
    "Fault",
    "InputError",
    "Job",
    "JobError",
    "MeasureError",
    "NoPlanError",
    "NotOfferedError",
    "Quotation",
    "QuotingError",
    "RateCard",
    "RateCardError",
    "estimate_job",
    "load_job",
    "load_rate_card",
    "quotation_for",
    "read_job",
]

_HOMES = {
    "rules": ("RULES",),
    "estimate": ("Estimate", "estimate_job", "load_job", "read_job"),
    "job": ("Job",),
    "quotation": ("Quotation", "quotation_for"),
    "rate_card": ("RateCard", "load_rate_card"),
}

if not TYPE_CHECKING:

    def __getattr__(name: str) -> object:
        if name not in __all__:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        home = next((home for home, names in _HOMES.items() if name in names), "errors")
        return getattr(import_module(f"{__name__}.{home}"), name)

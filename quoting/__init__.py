"""
Estimating and quoting for letterpress printers.

A job and a rate card in; an estimate for the owner and a quotation for the client out::

    card = load_rate_card("rate_cards_demo/marrowby-lane/card")
    job = load_job("rate_cards_demo/marrowby-lane/jobs/coasters.toml")
    estimate = estimate_job(job, card, on=date.today())
    quotation = quotation_for(estimate, card)
"""

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

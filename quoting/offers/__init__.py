"""
Offers to the public: what a visitor may choose of a card's products, and the job that a choice becomes.

Nothing that leaves this room for a visitor holds a cost, a margin, a supplier, a press or a card's hash.
"""

from quoting.offers.checking import check_choice
from quoting.offers.choice import Choice, Contact, named_sides, read_choice
from quoting.offers.jobs import job_from_choice
from quoting.offers.offered import PublicOffer, offer_by_key, public_offer, public_offers
from quoting.offers.prices import Prices, issued_at_once, prices_of, quote_choice, unpriced
from quoting.offers.schema import choice_schema

__all__ = [
    "Choice",
    "Contact",
    "Prices",
    "PublicOffer",
    "check_choice",
    "choice_schema",
    "issued_at_once",
    "job_from_choice",
    "named_sides",
    "offer_by_key",
    "prices_of",
    "public_offer",
    "public_offers",
    "quote_choice",
    "read_choice",
    "unpriced",
]

"""
The quote book: every quotation kept, numbered, revised, accepted, for ever. The only home of SQLAlchemy.

::

    with QuoteBook("quotations/book.sqlite") as book:
        entry = book.draft_and_issue(estimate, card, at=now, by="owner")
        book.accept(entry.number, quantity=100, at=later, by="owner", who="Linnet Ashdown")
"""

from quoting.book.access_keys import AccessKey, NewKey
from quoting.book.address_book import Contact, KnownClient
from quoting.book.artwork_store import KeptArtwork
from quoting.book.asking import RequestKey
from quoting.book.chain import Event
from quoting.book.looking_up import CardVersion
from quoting.book.outbox import Delivery, Told
from quoting.book.papers import Paper
from quoting.book.quote_book import QuoteBook
from quoting.book.search import Listed, Listing, Wanted
from quoting.book.sending import keep_documents
from quoting.book.states import Days, Entry, State, Sums, Terms
from quoting.book.verifying import Anchor, Report

__all__ = [
    "AccessKey",
    "Anchor",
    "CardVersion",
    "Contact",
    "Days",
    "Delivery",
    "Entry",
    "Event",
    "KeptArtwork",
    "KnownClient",
    "Listed",
    "Listing",
    "NewKey",
    "Paper",
    "QuoteBook",
    "Report",
    "RequestKey",
    "State",
    "Sums",
    "Terms",
    "Told",
    "Wanted",
    "keep_documents",
]

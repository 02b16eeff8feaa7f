"""The owner's face: costs, plans, reasons, the quote book. Every operation needs an owner's key."""

from api.owner import (
    access,
    clients,
    comparisons,
    estimates,
    events,
    papers,
    questions,
    quotations,
    rate_cards,
    schemas,
)

ROUTES = tuple(
    route
    for room in (estimates, comparisons, questions, papers, rate_cards, quotations, clients, events, access, schemas)
    for route in room.ROUTES
)

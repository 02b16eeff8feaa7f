"""The owner's face: costs, plans, reasons, the quote book. Every operation needs an owner's key."""

from api.owner import (
    access,
    artwork,
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
    for room in (
        estimates,
        comparisons,
        questions,
        papers,
        rate_cards,
        quotations,
        artwork,
        clients,
        events,
        access,
        schemas,
    )
    for route in room.ROUTES
)

"""The public face, for a shop's website: no type of it has a cost."""

from litestar.handlers import HTTPRouteHandler

from api.public import artwork, offers, prices, quotations, requests

ROUTES: tuple[HTTPRouteHandler, ...] = (
    *offers.ROUTES,
    *prices.ROUTES,
    *artwork.ROUTES,
    *requests.ROUTES,
    *quotations.ROUTES,
)

"""The public face, for a shop's website: no type of it has a cost."""

from litestar.handlers import HTTPRouteHandler

ROUTES: tuple[HTTPRouteHandler, ...] = ()

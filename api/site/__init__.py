"""Pages for people: the order form, the private page of a quotation, the owner's own pages."""

from litestar.handlers import HTTPRouteHandler

from api.site import look, office, order

ROUTES: tuple[HTTPRouteHandler, ...] = (*order.ROUTES, *look.ROUTES, *office.ROUTES)

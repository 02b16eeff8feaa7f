"""The app: routes of both faces behind one gate."""

from __future__ import annotations

from collections.abc import AsyncGenerator, Sequence
from contextlib import asynccontextmanager
from copy import copy

from anyio import create_task_group
from litestar import Litestar
from litestar.datastructures import State
from litestar.handlers import HTTPRouteHandler

from api import docs, health, owner, public, site
from api.desk import Clock, Desk, system_clock
from api.gate import Gate
from api.problems import HANDLERS
from api.settings import Settings, settings_from_environment


def create_app(
    settings: Settings | None = None, *, clock: Clock = system_clock, more: Sequence[HTTPRouteHandler] = ()
) -> Litestar:
    """
    The app of one worker.

    Args:
        settings: As the environment says if left out.
        clock: What time it is.
        more: Operations besides those of both faces.

    Raises:
        InputError: a setting does not fit.
        RateCardError: the card is refused.
    """
    chosen = settings or settings_from_environment()
    desk = Desk(chosen, clock=clock)
    routes = [*owner.ROUTES, *public.ROUTES, *docs.ROUTES, *health.ROUTES, *site.ROUTES, *more]
    desk.operations = tuple(route.opt["operation"] for route in routes)
    app = Litestar(
        route_handlers=[_bounded(route, chosen) for route in routes],
        state=State({"desk": desk}),
        lifespan=[_open],
        request_max_body_size=chosen.most_body_bytes,
        exception_handlers=HANDLERS,
        openapi_config=None,
        logging_config=None,
    )
    app.asgi_handler = Gate(app.asgi_handler, desk)
    return app


def _bounded(route: HTTPRouteHandler, settings: Settings) -> HTTPRouteHandler:
    """A route that takes a file has a limit of its own; its body is put by on disk."""
    if not route.opt["operation"].takes_file:
        return route
    own = copy(route)
    own.request_max_body_size = settings.most_artwork_bytes
    return own


@asynccontextmanager
async def _open(app: Litestar) -> AsyncGenerator[None, None]:
    desk: Desk = app.state.desk
    try:
        await desk.open()
        async with create_task_group() as tasks:
            tasks.start_soon(desk.keep_tidy)
            tasks.start_soon(desk.keep_keys_in_mind)
            yield
            tasks.cancel_scope.cancel()
    finally:
        desk.close()

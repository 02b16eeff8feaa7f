"""The address book: whom the shop quotes for, each once; erased when they ask for it."""

from __future__ import annotations

from msgspec import Struct

from api.calls import Answer, Call, Nothing, in_json
from api.etags import Tag
from api.keys import OWNER, READERS
from api.media_types import JSON
from api.operations import Answers, operation
from api.paging import Cursor, Limit, cursor_after, next_link, read_cursor
from quoting.book import Contact, KnownClient

PATH = "/v1/book/clients"
_EXAMPLE = {"name": "Linnet Ashdown", "email": "linnet@post.example"}
_ONE = (Answers(what="The client.", content={JSON: KnownClient}, headers=("ETag",)),)


class PageAsked(Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """Which page."""

    limit: Limit = 50
    cursor: Cursor = ""


class Clients(Struct, frozen=True, kw_only=True):
    """A page of the address book; ``cursor`` asks for the next one and is empty after the last."""

    clients: tuple[KnownClient, ...]
    cursor: str


class Erased(Struct, frozen=True, kw_only=True):
    """A client who was erased, and the ids of the quotations whose papers went with them."""

    client: str
    quotations: tuple[str, ...]


def _told(client: KnownClient, *, status: int = 200, **headers: str) -> Answer:
    return in_json(client, status=status, ETag=Tag(client.id, client.version).written, **headers)


@operation(
    method="POST",
    path=PATH,
    id="keep-client",
    summary="Put a client into the address book; one known by that e-mail, or name and company, gets a new version.",
    face="owner",
    may=OWNER,
    body=Contact,
    example=_EXAMPLE,
    answers=(Answers(status=201, what="The client.", content={JSON: KnownClient}, headers=("ETag", "Location")),),
    problems=("conflict",),
    once=True,
)
async def keep(call: Call[Contact, Nothing]) -> Answer:
    """Keep a client."""
    asked = call.request_key()
    client = await call.desk.in_book(
        lambda book: book.keep_client(call.body, at=call.desk.now(), by=call.credential.by, key=asked)
    )
    return _told(client, status=201, Location=f"{call.desk.settings.base_url}{PATH}/{client.id}")


@operation(
    method="GET",
    path=PATH,
    id="list-clients",
    summary="The address book, by id.",
    face="owner",
    may=READERS,
    query=PageAsked,
    answers=(Answers(what="A page of it.", content={JSON: Clients}, headers=("Link",)),),
    problems=("invalid-cursor",),
)
async def list_clients(call: Call[Nothing, PageAsked]) -> Answer:
    """List clients."""
    most, after = call.query.limit, read_cursor("clients", call.query.cursor)
    found = await call.desk.in_book(lambda book: book.clients(after=after, most=most + 1))
    page = found[:most]
    cursor = cursor_after("clients", page[-1].id) if len(found) > most else ""
    link = next_link(call.desk.settings.base_url, PATH, {"limit": most}, cursor)
    return in_json(Clients(clients=page, cursor=cursor), Link=link)


@operation(
    method="GET",
    path=PATH + "/{client}",
    id="get-client",
    summary="A client; without what is personal once they are erased.",
    face="owner",
    may=READERS,
    answers=_ONE,
    problems=("not-found",),
    tagged=True,
)
async def get(call: Call[Nothing, Nothing]) -> Answer:
    """Look at a client."""
    return _told(await call.desk.in_book(lambda book: book.client(call.path["client"])))


@operation(
    method="PUT",
    path=PATH + "/{client}",
    id="change-client",
    summary="Put what is known of a client now in place of what was.",
    face="owner",
    may=OWNER,
    body=Contact,
    example=_EXAMPLE,
    answers=_ONE,
    problems=("not-found", "conflict"),
    once=True,
    guarded="must",
)
async def change(call: Call[Contact, Nothing]) -> Answer:
    """Change a client."""
    asked, id = call.request_key(), call.path["client"]
    version = call.tag.version_of(id) if call.tag else 0
    return _told(
        await call.desk.in_book(
            lambda book: book.keep_client(
                call.body, at=call.desk.now(), by=call.credential.by, id=id, version=version, key=asked
            )
        )
    )


@operation(
    method="DELETE",
    path=PATH + "/{client}",
    id="erase-client",
    summary="Take everything personal of a client out of the book; numbers and sums stay. Backups still hold it.",
    face="owner",
    may=OWNER,
    answers=(Answers(what="Who was erased, and which quotations lost their papers.", content={JSON: Erased}),),
    problems=("not-found",),
)
async def erase(call: Call[Nothing, Nothing]) -> Answer:
    """Erase a client."""
    id = call.path["client"]
    gone = await call.desk.in_book(lambda book: book.erase_client(id, at=call.desk.now(), by=call.credential.by))
    return in_json(Erased(client=id, quotations=gone))


ROUTES = (keep, list_clients, get, change, erase)

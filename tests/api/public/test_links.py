"""Private links: look, download, accept or decline (A6, A19, A45, A56)."""

from __future__ import annotations

import datetime
import secrets
from pathlib import Path

import pytest
from litestar.testing import TestClient

from api.app import create_app
from api.desk import system_clock
from quoting.book import QuoteBook
from quoting.documents.names import content_disposition
from tests.api.conftest import HERE, SECRET
from tests.api.public.conftest import Shop
from tests.api.public.visiting import ACCEPT, CONTACT, STATIONERY, Visitor


def test_a_link_tells_the_quotation_as_it_was_issued(shop: Shop) -> None:
    told = shop.stranger().get(shop.visitor().link()).json()

    quotation = told["quotation"]
    assert (told["state"], told["revision"], told["accepted"]) == ("open", 1, None)
    assert (quotation["number"], quotation["client"]["name"]) == ("Q-00001", "Wilmot Dace")
    assert [one["quantity"] for one in quotation["options"]] == [100, 200]


@pytest.mark.parametrize(
    ("accept", "status", "kind"),
    [
        ("application/pdf", 200, "application/pdf"),
        ("application/xml", 200, "application/xml"),
        ("*/*", 200, "application/json"),
        ("application/json;q=0, application/xml", 200, "application/xml"),
        ("text/csv", 406, "application/problem+json"),
    ],
)
def test_it_is_given_as_the_type_that_is_wanted(shop: Shop, accept: str, status: int, kind: str, pango: None) -> None:
    answer = shop.stranger().get(shop.visitor().link(), Accept=accept)

    assert (answer.status_code, answer.headers["content-type"]) == (status, kind)
    if status == 406:
        assert answer.json()["offered"] == ["application/json", "application/pdf", "application/xml"]


def test_a_download_has_a_name_of_one_line_without_folders(shop: Shop) -> None:
    title = '../../x"; filename="x.exe" Set-Cookie: a=b € Ünï'
    answer = shop.stranger().get(shop.visitor().link(title=title), Accept="application/xml")

    named = answer.headers["content-disposition"]
    assert named == content_disposition(f"quotation Q-00001 {title}", "xml")
    assert named.startswith('attachment; filename="quotation-Q-00001-x-filename-x-exe-Set-Cookie-a-b-Uni.xml"')
    assert "filename*=UTF-8''" in named
    assert not set("/\\\r\n") & set(named)


def test_head_is_get_without_a_body(shop: Shop) -> None:
    path = shop.visitor().link()
    got = shop.stranger().get(path)
    head = shop.client.head(path, headers=shop.stranger().headers)

    different = {"request-id", "ratelimit", "date"}
    assert head.content == b""
    assert {**got.headers, **dict.fromkeys(different)} == {**head.headers, **dict.fromkeys(different)}


def test_what_waits_for_the_shop_is_no_document_yet(shop: Shop) -> None:
    path = shop.visitor().link(STATIONERY)
    answer = shop.stranger().get(path, Accept="application/pdf")
    accepted = shop.stranger().post(f"{path}/acceptance", {"revision": 1, "quantity": 100})

    assert (answer.status_code, answer.json()["type"]) == (409, "urn:quoting:problem:quote-draft")
    assert (accepted.status_code, accepted.json()["state"]) == (409, "replaced")


def test_an_option_is_accepted_once(shop: Shop) -> None:
    path, visitor = shop.visitor().link(), shop.stranger()
    first = visitor.post(f"{path}/acceptance", ACCEPT, key="accepted-with-this-key")
    again = visitor.post(f"{path}/acceptance", ACCEPT, key="accepted-with-this-key")
    other = visitor.post(f"{path}/decline", {"revision": 1})

    assert (first.status_code, first.json()["state"], first.json()["accepted"]) == (200, "accepted", 200)
    assert again.content == first.content
    assert (other.status_code, other.json()["type"]) == (409, "urn:quoting:problem:quote-accepted")
    assert other.json()["state"] == "accepted"


def test_a_quantity_that_is_not_quoted_is_refused(shop: Shop) -> None:
    path = shop.visitor().link()
    answer = shop.stranger().post(f"{path}/acceptance", {**ACCEPT, "quantity": 150})

    assert (answer.status_code, answer.json()["invalid"][0]["pointer"]) == (422, "/quantity")


def test_a_revision_that_was_replaced_is_not_accepted(shop: Shop) -> None:
    path = shop.visitor().link()
    answer = shop.stranger().post(f"{path}/acceptance", {**ACCEPT, "revision": 2})

    assert (answer.status_code, answer.json()["type"]) == (409, "urn:quoting:problem:quote-replaced")
    assert "Q-00001" not in answer.text


class Clock:
    """A clock that is set."""

    def __init__(self) -> None:
        self.at = system_clock()

    def __call__(self) -> datetime.datetime:
        """What it says."""
        return self.at


def test_a_quotation_is_accepted_until_its_last_day_is_over_where_the_shop_is(shop: Shop, tmp_path: Path) -> None:
    clock = Clock()
    clock.at = datetime.datetime(2027, 3, 1, 10, tzinfo=datetime.UTC)  # 30 days on is after clocks change in Britain
    with TestClient(create_app(shop.settings, clock=clock), base_url=HERE) as client:
        visitor = Visitor(client, shop.form_key)
        links = [visitor.link(), visitor.link()]
        with QuoteBook(shop.settings.book, secret=SECRET.encode()) as book:
            days = book.get("Q-00001").days
        assert days is not None
        clock.at = days.lapses_at - datetime.timedelta(milliseconds=1)
        in_time = visitor.post(f"{links[0]}/acceptance", ACCEPT)
        clock.at = days.lapses_at
        late = visitor.post(f"{links[1]}/acceptance", ACCEPT)
        looked = visitor.get(links[1]).json()

    assert days.lapses_at == datetime.datetime(2027, 3, 31, 23, tzinfo=datetime.UTC)
    assert in_time.status_code == 200
    assert (late.status_code, late.json()["type"]) == (409, "urn:quoting:problem:quote-expired")
    assert looked["state"] == "expired"


def test_whatever_is_no_link_of_ours_is_the_same_not_found(shop: Shop) -> None:
    path = shop.visitor().link()
    with shop.book() as book:
        entry = book.get("Q-00001")
    token = path.rpartition("/")[2]
    guesses = [
        "Q-00001",
        entry.id,
        entry.link.hash if entry.link else "",
        token[:-1] + ("A" if token[-1] != "A" else "B"),
        f"qv_{secrets.token_hex(8)}_{secrets.token_urlsafe(32)}",
        "x",
        "%00",
        "qv_" + "é" * 20,
    ]
    answers = [shop.stranger().get(f"/v1/public/quotations/{guess}") for guess in guesses]

    assert {answer.status_code for answer in answers} == {404}
    told = [{**answer.json(), "instance": ""} for answer in answers]
    assert all(one == told[0] for one in told)
    sent = [dict(answer.headers.items()) for answer in answers]
    assert len({str({**one, "request-id": "", "content-length": ""}) for one in sent}) == 1


def test_a_link_is_128_bits_of_chance_and_more_and_stands_nowhere_in_the_book(shop: Shop) -> None:
    path = shop.visitor().link()
    token = path.rpartition("/")[2]
    with shop.book():
        pass
    kept = Path(shop.settings.book).read_bytes()

    assert len(token.split("_", 2)[2]) * 6 >= 256
    assert token.encode() not in kept
    assert token.split("_", 2)[2].encode() not in kept


def test_what_is_erased_is_told_as_erased(shop: Shop) -> None:
    path = shop.visitor().link(contact=CONTACT)
    with shop.book() as book:
        book.erase_client(book.get("Q-00001").client, at=system_clock(), by="owner")

    assert shop.stranger().get(path).status_code == 404

"""The owner's pages: who gets in, what holds a form together, and that each thing on them works."""

from __future__ import annotations

from html import unescape

import pytest
from msgspec.structs import replace

from api.site.job_text import job_text
from api.site.sessions import LASTS, new_cookie, session_of
from quoting import Job, read_job
from quoting.artwork import measure_artwork
from quoting.offers import job_from_choice, read_choice
from quoting.reader import toml_data
from tests.artwork.drawn import pdf_of, rule
from tests.book.shop import NOW, card, priced
from tests.site.conftest import SECRET, Page, Shop

EEL = pdf_of("0 g " + rule(100, 100, 60, 45), size=(269, 269))
PAGES = ("/office", "/office/requests", "/office/price")


def sign_in(shop: Shop, role: str = "owner") -> None:
    """Begin a session; the cookie is sent back as a browser would, over http."""
    answer = shop.client.post("/office/sign-in", data={"key": shop.key(role)}, follow_redirects=False)
    assert answer.status_code == 303
    shop.client.headers["Cookie"] = answer.headers["set-cookie"].partition(";")[0]


def drafted(shop: Shop) -> str:
    """The id of a draft."""
    with shop.book() as book:
        book.publish_card(card(), at=NOW, by="owner")
        return book.draft(priced("coasters"), card(), at=NOW, by="owner").id


def fields_of(shop: Shop, path: str) -> dict[str, str]:
    """The last value of every field of a page."""
    return {name: values[-1] for name, values in Page(shop.client.get(path).text).fields.items()}


@pytest.mark.parametrize("path", PAGES)
def test_nobody_gets_in_without_a_session(shop: Shop, path: str) -> None:
    answer = shop.client.get(path, follow_redirects=False)

    assert (answer.status_code, answer.headers["location"]) == (303, "/office/sign-in")


@pytest.mark.parametrize("key", ["", "qk_wrong", "form"])
def test_a_key_that_is_no_owners_opens_nothing(shop: Shop, key: str) -> None:
    answer = shop.client.post("/office/sign-in", data={"key": shop.key("form") if key == "form" else key})

    assert "opens nothing" in answer.text
    assert "set-cookie" not in answer.headers


def test_the_cookie_is_guarded_and_holds_no_key(shop: Shop) -> None:
    secret = shop.key("owner")
    answer = shop.client.post("/office/sign-in", data={"key": secret}, follow_redirects=False)
    cookie = answer.headers["set-cookie"]

    assert {"HttpOnly", "SameSite=Strict", "Path=/office"} <= {part.strip() for part in cookie.split(";")}
    assert secret not in cookie
    assert "Secure" in new_cookie(SECRET, "key", NOW, is_secure=True)


def test_a_session_ends_with_the_day_and_with_its_key(shop: Shop) -> None:
    sign_in(shop)
    assert shop.client.get("/office").status_code == 200

    with shop.book() as book:
        [key] = [one for one in book.keys.list() if "owner" in one.scopes]
        book.keys.end(key.id, at=shop.clock(), by="owner")
    assert shop.client.get("/office", follow_redirects=False).status_code == 303

    cookie = new_cookie(SECRET, "key", NOW, is_secure=False).partition(";")[0]
    assert session_of(cookie, SECRET, NOW) is not None
    assert session_of(cookie, SECRET, NOW + LASTS) is None
    assert session_of(cookie.replace("key", "other"), SECRET, NOW) is None


@pytest.mark.parametrize("path", ["/office/price", "/office/sign-out"])
def test_a_form_of_another_page_is_refused(shop: Shop, path: str) -> None:
    sign_in(shop)
    for csrf in ("", "made-up"):
        assert shop.client.post(path, data={"csrf": csrf, "job": "", "do": "draft"}).status_code == 403
    assert shop.count() == 0


def test_a_key_that_only_reads_changes_nothing(shop: Shop) -> None:
    which = drafted(shop)
    sign_in(shop, "owner-ro")
    fields = fields_of(shop, f"/office/quotes/{which}")
    answer = shop.client.post(f"/office/quotes/{which}/issue", data=fields)

    assert answer.status_code == 403
    keeps = fields_of(shop, "/office/price") | {"job": job_text(priced("coasters").job), "do": "draft"}
    assert shop.client.post("/office/price", data=keeps).status_code == 403
    assert shop.count() == 1


def test_a_job_is_priced_compared_kept_and_issued(shop: Shop) -> None:
    sign_in(shop)
    fields = fields_of(shop, "/office/price")
    fields["job"] = job_text(priced("coasters").job)
    priced_page = shop.client.post("/office/price", data=fields | {"do": "price"}).text
    compared = shop.client.post(
        "/office/price", data=fields | {"do": "compare", "quantities": "50, 100", "sizes": ""}
    ).text
    kept = shop.client.post("/office/price", data=fields | {"do": "issue"})
    again = shop.client.post("/office/price", data=fields | {"do": "issue"})

    assert f"£{priced('coasters').options[0].price.total:,}" in priced_page
    assert compared.count("data:image/svg+xml;base64,") >= 2
    assert "Q-00001" in kept.text
    assert str(kept.url) == str(again.url)
    assert shop.count() == 1


def test_the_job_to_begin_from_has_a_price(shop: Shop) -> None:
    sign_in(shop)
    fields = Page(shop.client.get("/office/price").text)
    sample = (
        shop.client.get("/office/price").text.partition("<textarea")[2].partition(">")[2].partition("</textarea>")[0]
    )
    told = {name: values[-1] for name, values in fields.fields.items()}
    answer = shop.client.post("/office/price", data=told | {"job": unescape(sample), "do": "price"})

    assert "A press hour earns" in answer.text


def test_a_job_that_does_not_fit_is_told_and_kept_in_the_page(shop: Shop) -> None:
    sign_in(shop)
    fields = fields_of(shop, "/office/price") | {"job": 'format = 1\ntitle = "Half"', "do": "price"}
    answer = shop.client.post("/office/price", data=fields)

    assert "This does not fit" in answer.text
    assert "title = &#34;Half&#34;" in answer.text


def test_a_draft_goes_all_the_way(shop: Shop) -> None:
    which = drafted(shop)
    sign_in(shop)
    path = f"/office/quotes/{which}"
    for move, told, state in (
        ("issue", {}, "open"),
        ("accept", {"quantity": "100", "who": "by telephone"}, "accepted"),
        ("pay", {"amount": "10.00"}, "accepted"),
    ):
        answer = shop.client.post(f"{path}/{move}", data=fields_of(shop, path) | told)
        assert answer.status_code == 200, answer.text
        assert f">{state}" in answer.text
    with shop.book() as book:
        assert book.get(which).paid_minor == 1000


def test_a_revision_is_written_as_text(shop: Shop) -> None:
    which = drafted(shop)
    sign_in(shop)
    path = f"/office/quotes/{which}"
    shop.client.post(f"{path}/issue", data=fields_of(shop, path))
    longer = job_text(replace(priced("coasters").job, title="Coasters, longer"))
    answer = shop.client.post(f"{path}/revise", data=fields_of(shop, path) | {"job": longer})

    assert "revision 2" in answer.text
    assert "Coasters, longer" in answer.text


def test_a_page_that_was_overtaken_says_so_and_changes_nothing(shop: Shop) -> None:
    which = drafted(shop)
    sign_in(shop)
    path = f"/office/quotes/{which}"
    stale = fields_of(shop, path)
    shop.client.post(f"{path}/issue", data=stale)
    answer = shop.client.post(f"{path}/withdraw", data=stale | {"token": fields_of(shop, path)["token"]})

    assert 'role="alert"' in answer.text
    with shop.book() as book:
        assert book.get(which).state == "open"


def test_quotation_and_docket_are_printed(shop: Shop, pango: None) -> None:
    which = drafted(shop)
    sign_in(shop)
    path = f"/office/quotes/{which}"
    shop.client.post(f"{path}/issue", data=fields_of(shop, path))
    for name in ("quotation.pdf", "docket.pdf"):
        answer = shop.client.get(f"{path}/{name}")
        assert answer.content.startswith(b"%PDF-")
        assert answer.headers["content-disposition"].startswith("attachment")


def test_kept_artwork_is_listed_and_is_a_download_for_who_is_signed_in(shop: Shop) -> None:
    artwork = measure_artwork(EEL, "eel.pdf")
    which = drafted(shop)
    with shop.book() as book:
        book.keep_artwork(which, EEL, artwork)
    place = f"/office/quotes/{which}/artwork/{artwork.content_hash}"
    nobody = shop.client.get(place, follow_redirects=False)
    sign_in(shop)

    answer = shop.client.get(place)

    assert (nobody.status_code, nobody.headers["location"]) == (303, "/office/sign-in")
    assert place in Page(shop.client.get(f"/office/quotes/{which}").text).links
    assert answer.content == EEL
    assert answer.headers["content-disposition"].startswith("attachment")
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert shop.client.get(f"{place[:-64]}{'0' * 64}").status_code == 404


def test_a_job_as_text_reads_back_as_the_same_job(jobs: dict[tuple[str, str], Job]) -> None:
    for job in jobs.values():
        assert read_job(toml_data(job_text(job))) == job


def test_a_job_as_text_has_no_picture_of_its_artwork() -> None:
    artwork = measure_artwork(EEL, "eel.pdf")
    choice = read_choice(
        {
            "product": "coasters",
            "quantities": [100],
            "front": {"printed_from": "finished artwork", "artwork_file": "x"},
        }
    )
    text = job_text(job_from_choice(choice, card(), on=NOW.date(), artwork={"x": artwork}))

    assert artwork.content_hash in text
    assert artwork.forms[0].picture
    assert artwork.forms[0].picture not in text
    read_job(toml_data(text))

"""The pages in a real browser, from a real server."""

from __future__ import annotations

import random
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import httpx
import pytest
from playwright.sync_api import Browser, Page, Route, expect

from api.settings import Settings
from quoting.book import QuoteBook
from tests.api.asking import CARD
from tests.api.serving import Served, free_url
from tests.artwork.drawn import pdf_of, rule
from tests.book.shop import NOW
from tests.site.browser import Visit, started
from tests.site.conftest import MANY, SECRET

WORDS = "THE LANTERN & EEL\nQuay Street"
EEL = pdf_of("0 g " + rule(100, 100, 60, 45), size=(269, 269))
ROW = "[data-price-box] tbody tr[data-total]"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with started() as found:
        yield found


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("served")
    settings = Settings(
        card=CARD,
        book=str(folder / "book.sqlite"),
        base_url=free_url(),
        secret=SECRET,
        most_looks_a_minute=MANY,
        most_prices_a_minute=MANY,
        most_requests_an_hour=MANY,
        most_requests_an_email_a_day=MANY,
    )
    with Served(settings, folder / "server.log") as running:
        yield running


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("demo")
    settings = Settings(
        card=CARD, book=str(folder / "book.sqlite"), base_url=free_url(), demo=True, most_prices_a_minute=MANY
    )
    with Served(settings, folder / "server.log") as running:
        yield running


@pytest.fixture
def visit(browser: Browser, served: Served) -> Iterator[Visit]:
    visit = Visit(browser, served.url)
    yield visit
    visit.close()


def made_key(served: Served, role: str) -> str:
    with QuoteBook(served.settings.book, secret=SECRET.encode()) as book:
        return book.keys.make(f"browser, {role}", scopes=(role,), at=NOW, by="owner").secret


def count(served: Served) -> int:
    with QuoteBook(served.settings.book, secret=SECRET.encode()) as book:
        return len(book.list(at=NOW, most=200).quotations)


def fill(page: Page) -> None:
    """What a visitor must say."""
    page.fill('textarea[name="front.lines"]', WORDS)
    page.fill('input[name="contact.name"]', "Isaura Penhale")
    page.fill('input[name="contact.email"]', "isaura@client.example")
    expect(page.locator(ROW).first).to_be_visible()
    page.wait_for_timeout(3100)  # a person takes as long; sooner it would be taken for a machine


def test_the_price_shown_is_the_apis_for_fifty_random_choices(visit: Visit, served: Served) -> None:
    headers = {"Authorization": f"Bearer {made_key(served, 'form')}"}
    page = visit.open("/order/coasters")
    rng = random.Random(11)
    with httpx.Client(base_url=served.url, headers=headers) as api:
        for _ in range(50):
            quantity, inks = (
                rng.randrange(50, 1001),
                rng.sample(["black", "harbour-blue", "ochre"], rng.randint(1, 2)),
            )
            lines, back = [f"LINE {place}" for place in range(rng.randint(2, 4))], rng.random() < 0.4
            page.locator("input[name=quantities]").first.fill(str(quantity))
            for place in range(2):
                ink = inks[place] if place < len(inks) else ""
                page.locator('select[name="front.inks"]').nth(place).select_option(ink)
            page.fill('textarea[name="front.lines"]', "\n".join(lines))
            page.set_checked("input[name=back]", back)
            if back:
                page.fill('textarea[name="back.lines"]', "BEHIND")
            set_lines = [{"text": line} for line in lines]
            set_lines[-1] |= {"ink": inks[-1]}
            side = {"inks": inks, "lines": set_lines}
            choice = {"product": "coasters", "quantities": [quantity], "front": side}
            choice |= {"back": {"lines": [{"text": "BEHIND"}]}} if back else {}
            [option] = api.post("/v1/public/prices", json={"choice": choice}).json()["options"]
            row = page.locator(f'{ROW}[data-quantity="{quantity}"][data-total="{option["total"]}"]')

            expect(row).to_be_visible()
            expect(page.locator("[data-price-box]")).not_to_have_attribute("aria-busy", "true")


def test_the_form_is_filled_and_sent_by_keyboard_alone(visit: Visit, served: Served) -> None:
    page = visit.open("/order/coasters")
    before = count(served)
    said = {
        "quantities": "150",
        "front.lines": "BY HAND",
        "contact.name": "Isaura Penhale",
        "contact.email": "isaura@client.example",
    }
    page.locator("input[name=quantities]").first.focus()
    written: set[str] = set()
    for _ in range(60):
        name = page.evaluate("document.activeElement.name") or ""
        if name in said and name not in written:
            page.keyboard.press("Control+A")
            page.keyboard.type(said[name])
            written.add(name)
        if page.evaluate("document.activeElement.value") == "send":
            break
        page.keyboard.press("Tab")
    assert written == set(said)
    expect(page.locator(ROW).first).to_have_attribute("data-quantity", "150")
    page.wait_for_timeout(3100)
    page.keyboard.press("Enter")

    expect(page.locator(".of-sent h1")).to_be_visible()
    assert count(served) == before + 1


def test_a_refusal_is_shown_at_its_field_and_mended(visit: Visit) -> None:
    page = visit.open("/order/coasters")
    page.fill('textarea[name="front.lines"]', WORDS)
    quantity = page.locator("input[name=quantities]").first
    quantity.fill("5")

    field = page.locator('[data-field="quantities"].of-field')
    expect(field.locator(".of-fault")).to_contain_text("50")
    expect(quantity).to_have_attribute("aria-invalid", "true")
    quantity.fill("60")
    expect(page.locator(ROW).first).to_be_visible()
    expect(field.locator(".of-fault")).to_have_count(0)


def test_a_double_click_sends_once(visit: Visit, served: Served) -> None:
    page, before = visit.open("/order/coasters"), count(served)
    fill(page)
    page.dblclick("button[value=send]")

    expect(page.locator(".of-sent h1")).to_be_visible()
    assert count(served) == before + 1


def test_a_dropped_connection_is_tried_again_and_sends_once(browser: Browser, served: Served) -> None:
    visit = Visit(browser, served.url)
    page, before = visit.open("/order/coasters"), count(served)
    dropped: list[str] = []

    def drop_the_answer(route: Route) -> None:
        if len(dropped) < 2:
            route.fetch()  # it reaches the server, its answer does not reach the page
            dropped.append(route.request.url)
            route.abort("connectionreset")
        else:
            route.continue_()

    page.route("**/send*", drop_the_answer)
    fill(page)
    page.click("button[value=send]")

    expect(page.locator(".of-sent h1")).to_be_visible(timeout=15_000)
    assert len(dropped) == 2
    assert count(served) == before + 1
    visit.context.close()
    assert all("ERR_CONNECTION_RESET" in said for said in visit.wrong)


def test_it_works_with_scripts_off(browser: Browser, served: Served) -> None:
    visit, before = Visit(browser, served.url, scripts=False), count(served)
    page = visit.open("/order/coasters")
    page.fill('textarea[name="front.lines"]', WORDS)
    page.fill('input[name="contact.name"]', "Isaura Penhale")
    page.fill('input[name="contact.email"]', "isaura@client.example")
    page.click("button[value=price]")
    expect(page.locator(ROW).first).to_be_visible()
    page.wait_for_timeout(3100)
    page.click("button[value=send]")

    expect(page.locator(".of-sent h1")).to_be_visible()
    assert count(served) == before + 1
    page.click(".of-sent a.of-private")
    page.check("input[name=quantity]")
    page.fill("#accept-name", "Isaura Penhale")
    page.click('form[action$="/accept"] button')
    expect(page.locator(".of-state")).to_contain_text("accepted")
    visit.close()


PAGES = ("/order", "/order/coasters", "/order/cards", "/order/wedding-and-party-stationery")


@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("path", PAGES)
def test_visitors_pages_fit_and_have_nothing_that_axe_finds(
    browser: Browser, served: Served, path: str, width: int
) -> None:
    visit = Visit(browser, served.url, width=width)
    page = visit.open(path)
    for box in page.locator(".of-tick input").all():
        if box.is_visible():
            box.check()
    page.wait_for_timeout(500)

    assert visit.overflow_px() <= 0
    assert visit.violations() == []
    visit.close()


@pytest.mark.parametrize("width", [360, 1280])
def test_the_private_page_fits_and_has_nothing_that_axe_finds(browser: Browser, served: Served, width: int) -> None:
    visit = Visit(browser, served.url, width=width)
    page = visit.open("/order/coasters")
    fill(page)
    page.click("button[value=send]")
    expect(page.locator(".of-sent h1")).to_be_visible()
    assert visit.violations() == []
    page.click(".of-sent a.of-private")
    expect(page.locator(".of-quotation")).to_be_visible()

    assert visit.overflow_px() <= 0
    assert visit.violations() == []
    visit.close()


@pytest.mark.parametrize("width", [360, 1280])
def test_the_owners_pages_fit_and_have_nothing_that_axe_finds(browser: Browser, served: Served, width: int) -> None:
    visit = Visit(browser, served.url, width=width)
    page = visit.open("/office")
    assert visit.violations() == []
    page.fill("#key", made_key(served, "owner"))
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Quotations")).to_be_visible()
    for path in ("/office", "/office/requests", "/office/price"):
        visit.open(path)
        assert visit.overflow_px() <= 0
        assert visit.violations() == []
    page.fill("#quantities", "50, 100, 250")
    page.click("button[value=compare]")
    expect(page.locator("figure img").first).to_be_visible()
    assert page.evaluate("[...document.images].every((one) => one.naturalWidth > 0)")
    assert visit.violations() == []
    page.click("button[value=draft]")
    expect(page.locator(".state")).to_contain_text("draft")
    assert visit.violations() == []
    page.get_by_role("button", name="Issue it").click()
    expect(page.locator(".state")).to_contain_text("open")

    assert visit.overflow_px() <= 0
    assert visit.violations() == []
    visit.close()


def test_the_form_stands_in_another_page_by_one_tag(browser: Browser, demo: Served) -> None:
    visit = Visit(browser, demo.url)
    page = visit.open("/")
    fill(page)
    assert visit.violations() == []
    page.click("button[value=send]")

    expect(page.locator(".of-sent h1")).to_be_visible()
    visit.close()


def test_the_form_stands_in_a_page_of_another_origin(browser: Browser, served: Served) -> None:
    with a_page_of_its_own() as (elsewhere, pages):
        with QuoteBook(served.settings.book, secret=SECRET.encode()) as book:
            key = book.keys.make("a site", scopes=("form",), origins=(elsewhere,), at=NOW, by="owner").secret
        told = f'src="{served.url}/order/files/order.js" data-key="{key}" data-product="coasters"'
        body = f"<main><script {told} defer></script></main>"
        pages.append(f'<!doctype html><html lang="fr"><title>Imprimerie</title><body>{body}</body></html>')
        visit = Visit(browser, served.url)
        page = visit.page
        page.goto(f"{elsewhere}/")
        expect(page.get_by_label("Votre texte").first).to_be_visible()
        fill(page)
        page.click("button[value=send]")

        expect(page.locator(".of-sent h1")).to_have_text("Merci")
        visit.context.close()
        assert visit.wrong == []
        assert [url for url in visit.elsewhere if not url.startswith(elsewhere)] == []


@contextmanager
def a_page_of_its_own() -> Iterator[tuple[str, list[str]]]:
    """A site of somebody else's, on another port: where it is, and what it shows."""
    pages: list[str] = []

    class Site(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            found = self.path == "/"
            body = pages[-1].encode() if found else b""
            self.send_response(200 if found else 204)
            self.send_header("Content-Type", "text/html; charset=utf-8")
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Site)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_port}", pages
    finally:
        server.shutdown()
        server.server_close()


def test_artwork_is_measured_beside_its_field_and_goes_with_the_request(visit: Visit, served: Served) -> None:
    """With the keyboard's own way to a file; what is shown is what the API measures, and the price follows."""
    headers = {"Authorization": f"Bearer {made_key(served, 'form')}", "Content-Type": "application/pdf"}
    page = visit.open("/order/coasters?locale=de-DE")
    page.check('input[name="front.printed_from"][value="finished artwork"]')
    field, told = page.locator('[id="coasters.front.artwork_file"]'), page.locator("[data-measured]").first
    expect(page.locator(ROW).first).to_be_visible()
    before = page.locator(ROW).first.get_attribute("data-total")

    field.set_input_files({"name": "eel.png", "mimeType": "image/png", "buffer": b"no picture"})
    expect(told).to_contain_text("Diese Datei ist nicht zu verwenden")
    expect(field).to_have_attribute("aria-invalid", "true")
    expect(page.locator('select[name="front.coverage"]')).to_be_visible()
    field.set_input_files({"name": "eel.pdf", "mimeType": "application/pdf", "buffer": EEL})
    expect(told.locator("li")).to_have_count(1)

    form = httpx.post(
        f"{served.url}/v1/public/artwork", params={"name": "eel.pdf"}, content=EEL, headers=headers
    ).json()["forms"][0]
    wide, high = form["size"].removesuffix(" mm").replace(".", ",").split(" x ")
    expect(told).to_contain_text(wide)
    expect(told).to_contain_text(high)
    expect(field).not_to_have_attribute("aria-invalid", "true")
    expect(page.locator('select[name="front.coverage"]')).to_be_hidden()
    expect(page.locator(ROW).first).not_to_have_attribute("data-total", before or "")
    assert visit.violations() == []

    page.fill('input[name="contact.name"]', "Isaura Penhale")
    page.fill('input[name="contact.email"]', "isaura@client.example")
    page.wait_for_timeout(3100)
    page.click("button[value=send]")
    expect(page.locator(".of-sent")).to_be_visible()
    with QuoteBook(served.settings.book, secret=SECRET.encode()) as book:
        every = [book.artwork.kept(one.id) for one in book.list(at=NOW, most=200).quotations]
    [kept] = [files for files in every if files]
    assert [one.name for one in kept] == ["eel.pdf"]


def test_with_scripts_off_artwork_is_told_to_come_later(browser: Browser, served: Served) -> None:
    visit = Visit(browser, served.url, scripts=False)
    page = visit.open("/order/coasters")

    expect(page.locator(".of-note").filter(has_text="may be sent later").first).to_be_visible()
    expect(page.locator('input[type="file"]').first).to_be_hidden()
    visit.close()

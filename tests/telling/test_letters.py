"""Letters by e-mail: both parts say the same, in the client's language, and nothing breaks out of a header."""

from __future__ import annotations

import datetime
import email
import email.policy
from email.message import EmailMessage
from html.parser import HTMLParser

import pytest
from msgspec.structs import replace

from api.telling.letters import SAYS, TO_THE_SHOP, Happened, client_letter, html, message_of, plain_text, shop_letter
from quoting import Job, Quotation, RateCard, estimate_job, quotation_for
from tests.conftest import DAY

AT = datetime.datetime(2026, 11, 25, 10, tzinfo=datetime.UTC)
LOCALES = ("en-GB", "en-US", "fr-FR", "de-DE", "es-ES", "it-IT", "ja-JP")
HOSTILE = (
    "Ann\r\nBcc: everyone@example.org",
    "<script>alert(1)</script>",
    "{{ 7*7 }} {% raw %} ${7*7} {0.__class__} %s",
    "=?utf-8?q?Ann=0D=0ABcc:_x?=",
    "\u202egnp.exe",
    "a" * 300,
    "Ünï € 田中",
    '"Ann" <ann@example.org>, bob@example.org',
)


class _Text(HTMLParser):
    """The words of a page, and whether anything in it runs or loads."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.tags: set[str] = set()
        self.links: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.links += [value or "" for name, value in attrs if name in {"href", "src"}]

    def handle_data(self, data: str) -> None:
        self.words.append(data)


@pytest.fixture
def quotation(cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job]) -> Quotation:
    card = cards["marrowby-lane"]
    return quotation_for(estimate_job(jobs["marrowby-lane", "cards"], card, on=DAY), card, number="Q-00012")


def _about(quotation: Quotation, kind: str) -> Happened:
    return Happened(kind=kind, quotation=quotation, accepted=quotation.options[0], paid="£10.00", balance="£90.00")


def _message(quotation: Quotation, *, name: str = "Isaura Penhale", pdf: bytes | None = b"%PDF-1.7") -> EmailMessage:
    letter = client_letter(_about(quotation, "issued"), link="https://shop.example/look/abc")
    return message_of(
        letter,
        sender=("Marrowby Lane Press", "quotations@shop.example"),
        recipient=(name, "isaura@client.example"),
        reply_to="hello@shop.example",
        identity="evt-7.client",
        at=AT,
        attached=pdf,
        attached_name=f"quotation {quotation.number}",
    )


@pytest.mark.parametrize("locale", LOCALES)
@pytest.mark.parametrize("kind", sorted(SAYS))
def test_both_parts_say_the_same(
    cards: dict[str, RateCard], jobs: dict[tuple[str, str], Job], locale: str, kind: str
) -> None:
    card = cards["marrowby-lane"]
    estimate = estimate_job(jobs["marrowby-lane", "coasters"], card, on=DAY)
    about = _about(quotation_for(estimate, card, locale=locale, number="Q-00012"), kind)
    letters = [client_letter(about, link="https://shop.example/look/abc")]
    letters += [shop_letter(about, locale=locale, link="https://shop.example/desk")] if kind in TO_THE_SHOP else []
    for letter in letters:
        page = _Text()
        page.feed(html(letter).partition("</head>")[2])

        assert "".join(plain_text(letter).split()) == "".join("".join(page.words).split())
        assert "{" not in plain_text(letter)
        assert page.links == ([letter.link] if letter.link else [])


def test_what_is_quoted_is_in_the_letter(quotation: Quotation) -> None:
    said = plain_text(client_letter(_about(quotation, "issued"), link="https://shop.example/look/abc"))

    for option in quotation.options:
        assert f"£{option.total:,}" in said
    assert "https://shop.example/look/abc" in said


def test_the_pdf_is_attached_and_the_message_reads_back(quotation: Quotation) -> None:
    sent = email.message_from_bytes(_message(quotation).as_bytes(), policy=email.policy.default)
    [attached] = sent.iter_attachments()

    assert sent["to"] == "Isaura Penhale <isaura@client.example>"
    assert sent["message-id"] == "<evt-7.client@shop.example>"
    assert (attached.get_content_type(), attached.get_filename()) == ("application/pdf", "quotation-Q-00012.pdf")
    assert attached.get_content() == b"%PDF-1.7"


@pytest.mark.parametrize("hostile", HOSTILE)
def test_a_hostile_name_or_title_stays_text(quotation: Quotation, hostile: str) -> None:
    client = replace(quotation.client, name=hostile)
    sent = _message(replace(quotation, client=client, title=hostile), name=hostile).as_bytes()
    read = email.message_from_bytes(sent, policy=email.policy.default)
    body = read.get_body(("html",))

    assert read.keys() == _headers()
    assert [one.addr_spec for one in read["to"].addresses] == ["isaura@client.example"]
    assert body is not None
    page = _Text()
    page.feed(body.get_content())
    assert page.tags <= {"html", "head", "meta", "title", "body", "div", "p", "br", "a", "table", "thead", "tbody",
                         "tr", "th", "td"}  # fmt: skip
    assert "49" not in "".join(page.words).replace("£49", "")
    assert max(len(line) for line in sent.split(b"\r\n")) <= 998  # RFC 5322, 2.1.1


@pytest.mark.parametrize("address", ["", "nobody", "a@b\r\nBcc: c@d", "a b@c.example", "<a@b.example>"])
def test_what_is_no_address_is_refused(quotation: Quotation, address: str) -> None:
    letter = client_letter(_about(quotation, "declined"))

    with pytest.raises(ValueError, match="expected an e-mail address"):
        message_of(
            letter,
            sender=("Shop", "a@shop.example"),
            recipient=("Ann", address),
            reply_to="a@shop.example",
            identity="e",
            at=AT,
        )


def _headers() -> list[str]:
    return [
        "From", "To", "Reply-To", "Subject", "Date", "Message-ID", "Auto-Submitted",
        "MIME-Version", "Content-Type",
    ]  # fmt: skip

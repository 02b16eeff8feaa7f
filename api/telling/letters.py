"""Letters by e-mail: what the client and the shop read when something happens to a quotation."""

from __future__ import annotations

from collections.abc import Callable
from email.errors import HeaderParseError
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from functools import lru_cache
from typing import TYPE_CHECKING

from msgspec import Struct

from quoting.documents.formats import Formats
from quoting.documents.names import file_name
from quoting.languages import Language, language
from quoting.quotation import Quotation, QuotedOption

if TYPE_CHECKING:
    import datetime

    from jinja2 import Template

PDF = ("application", "pdf")
_LONGEST_LINE = 150


class Letter(Struct, frozen=True, kw_only=True):
    """A letter in its own language; ``rows`` are a table of two columns, ``link`` stands under its words."""

    locale: str
    subject: str
    greeting: str
    paragraphs: tuple[str, ...]
    rows: tuple[tuple[str, str], ...] = ()
    link_words: str = ""
    link: str = ""
    closing: tuple[str, ...] = ()


class Happened(Struct, frozen=True, kw_only=True):
    """
    What a letter is about.

    ``kind`` is the event's; ``accepted`` the option chosen; ``paid`` and ``balance`` are written already.
    """

    kind: str
    quotation: Quotation
    accepted: QuotedOption | None = None
    paid: str = ""
    balance: str = ""


def _requested(about: Happened, words: Language) -> tuple[str, list[str]]:
    subject = words.say("Your request: {title}", title=about.quotation.title)
    return subject, [
        words.say("Thank you for asking us. We have your request, and you will have our quotation by e-mail.")
    ]


def _issued(about: Happened, words: Language) -> tuple[str, list[str]]:
    return _quoted(about, words, words.say("Thank you for asking us. Our quotation is attached."))


def _revised(about: Happened, words: Language) -> tuple[str, list[str]]:
    said = words.say("Our quotation has changed. The new one is attached and takes the place of the one before.")
    return _quoted(about, words, said)


def _quoted(about: Happened, words: Language, said: str) -> tuple[str, list[str]]:
    quotation = about.quotation
    day = Formats(words.locale, quotation.currency).day(quotation.valid_until)
    subject = words.say("Quotation {number}: {title}", number=quotation.number, title=quotation.title)
    return subject, [said, words.say("It holds until {day}.", day=day)]


def _accepted(about: Happened, words: Language) -> tuple[str, list[str]]:
    quotation, option = about.quotation, about.accepted
    subject = words.say("Accepted: {number}, {title}", number=quotation.number, title=quotation.title)
    said = [words.say("Thank you for accepting our quotation. We shall begin as agreed.")]
    if option is not None:
        formats = Formats(words.locale, quotation.currency)
        said.append(
            words.say(
                "Accepted were {quantity} for {total}.",
                quantity=formats.count(option.quantity),
                total=formats.money(option.total),
            )
        )
        if option.deposit:
            said.append(
                words.say("Before we begin we ask for a deposit of {deposit}.", deposit=formats.money(option.deposit))
            )
    return subject, said


def _declined(about: Happened, words: Language) -> tuple[str, list[str]]:
    quotation = about.quotation
    subject = words.say("Declined: {number}, {title}", number=quotation.number, title=quotation.title)
    return subject, [words.say("You have declined our quotation. Thank you for letting us know.")]


def _withdrawn(about: Happened, words: Language) -> tuple[str, list[str]]:
    quotation = about.quotation
    subject = words.say("Withdrawn: {number}, {title}", number=quotation.number, title=quotation.title)
    return subject, [words.say("We have withdrawn our quotation. Please ask us again if you still need the work.")]


def _paid(about: Happened, words: Language) -> tuple[str, list[str]]:
    quotation = about.quotation
    subject = words.say("Received: {number}, {title}", number=quotation.number, title=quotation.title)
    said = words.say(
        "Thank you. In all we have received {paid}; {balance} is still to be paid.",
        paid=about.paid,
        balance=about.balance,
    )
    return subject, [said]


SAYS: dict[str, Callable[[Happened, Language], tuple[str, list[str]]]] = {
    "requested": _requested,
    "issued": _issued,
    "revised": _revised,
    "accepted": _accepted,
    "declined": _declined,
    "withdrawn": _withdrawn,
    "paid": _paid,
}
ATTACHED = frozenset({"issued", "revised"})
TO_THE_SHOP = frozenset({"requested", "accepted", "declined"})


def client_letter(about: Happened, *, link: str = "") -> Letter:
    """
    What the client reads, in the language of the quotation.

    Args:
        link: The private link, where there is one.
    """
    quotation = about.quotation
    words = language(quotation.locale)
    subject, paragraphs = SAYS[about.kind](about, words)
    shop = quotation.shop
    return Letter(
        locale=quotation.locale,
        subject=_line(subject),
        greeting=words.say("Dear {name},", name=_line(quotation.client.name)),
        paragraphs=tuple(paragraphs),
        rows=_rows(quotation, words) if about.kind in ATTACHED else (),
        link_words=words.say("Look at it, accept it or decline it:") if link and about.kind in ATTACHED else "",
        link=link if about.kind in ATTACHED else "",
        closing=(words.say("With kind regards"), shop.name, *(one for one in (shop.telephone, shop.website) if one)),
    )


def shop_letter(about: Happened, *, locale: str, link: str = "") -> Letter:
    """
    What the shop reads, in its own language.

    Args:
        link: Where the owner sees it.
    """
    quotation, words = about.quotation, language(locale)
    names = {"name": _line(quotation.client.name), "title": _line(quotation.title), "number": quotation.number}
    if about.kind == "requested":
        subject = words.say("A request: {title}", title=names["title"])
        said = [words.say("{name} asks for {title}.", **names)]
        if quotation.number:
            said.append(words.say("It was answered at once by quotation {number}.", number=quotation.number))
        else:
            said.append(words.say("It waits for you."))
    elif about.kind == "accepted":
        subject = words.say("Accepted: {number}, {title}", number=names["number"], title=names["title"])
        said = [words.say("{name} has accepted quotation {number}.", name=names["name"], number=names["number"])]
        if about.accepted is not None:
            formats = Formats(words.locale, quotation.currency)
            quantity, total = formats.count(about.accepted.quantity), formats.money(about.accepted.total)
            said.append(words.say("Accepted were {quantity} for {total}.", quantity=quantity, total=total))
    else:
        subject = words.say("Declined: {number}, {title}", number=names["number"], title=names["title"])
        said = [words.say("{name} has declined quotation {number}.", name=names["name"], number=names["number"])]
    return Letter(
        locale=locale,
        subject=_line(subject),
        greeting="",
        paragraphs=tuple(said),
        rows=_rows(quotation, words) if about.kind == "requested" else (),
        link_words=words.say("See it:") if link else "",
        link=link,
    )


def _rows(quotation: Quotation, words: Language) -> tuple[tuple[str, str], ...]:
    """Each quantity and what it comes to with tax."""
    formats = Formats(words.locale, quotation.currency)
    head = (words.say("Quantity"), words.say("Total with tax"))
    return (head, *((formats.count(one.quantity), formats.money(one.total)) for one in quotation.options))


def message_of(
    letter: Letter,
    *,
    sender: tuple[str, str],
    recipient: tuple[str, str],
    reply_to: str,
    identity: str,
    at: datetime.datetime,
    attached: bytes | None = None,
    attached_name: str = "quotation",
) -> EmailMessage:
    """
    A letter as a message with a plain and an HTML part.

    Args:
        sender, recipient: Name and address.
        identity: The left of its Message-ID: the same each time it is sent, so that a second copy is known.
        attached: A PDF.

    Raises:
        ValueError: an address is none.
    """
    mail = EmailMessage(policy=SMTP)
    mail["From"] = _address(sender)
    mail["To"] = _address(recipient)
    mail["Reply-To"] = _address(("", reply_to))
    mail["Subject"] = letter.subject
    mail["Date"] = format_datetime(at)
    mail["Message-ID"] = f"<{identity}@{_address(sender).domain}>"
    mail["Auto-Submitted"] = "auto-generated"  # RFC 3834, 5: so that no machine answers
    mail.set_content(plain_text(letter))
    mail.add_alternative(html(letter), subtype="html")
    for part in mail.iter_parts():
        part["Content-Language"] = letter.locale
    if attached is not None:
        name = file_name(attached_name, "pdf")
        mail.add_attachment(attached, maintype=PDF[0], subtype=PDF[1], filename=name)
    return mail


def plain_text(letter: Letter) -> str:
    """The plain part."""
    blocks = [letter.greeting, *letter.paragraphs]
    if letter.rows:
        width = max(len(left) for left, _ in letter.rows)
        blocks.append("\n".join(f"{left:>{width}}  {right}" for left, right in letter.rows))
    if letter.link:
        blocks.append(f"{letter.link_words}\n{letter.link}")
    blocks.append("\n".join(letter.closing))
    return "\n\n".join(block for block in blocks if block) + "\n"


def html(letter: Letter) -> str:
    """The HTML part: what is said stays text, whatever is in it."""
    return _template().render(letter=letter)


@lru_cache(maxsize=1)
def _template() -> Template:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    pages = Environment(
        loader=PackageLoader("api.telling", "pages"), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )
    return pages.get_template("letter.html")


def _line(text: str) -> str:
    """A text for one line of a header: no breaks or controls, nothing that reads as encoded, no endless length."""
    clean = " ".join("".join(letter if letter.isprintable() else " " for letter in text).replace("=?", "= ?").split())
    return clean if len(clean) <= _LONGEST_LINE else clean[: _LONGEST_LINE - 1] + "…"


def _address(named: tuple[str, str]) -> Address:
    name, written = named
    try:
        return Address(display_name=_line(name), addr_spec=written)
    except (ValueError, IndexError, HeaderParseError) as error:
        raise ValueError("expected an e-mail address; found none") from error

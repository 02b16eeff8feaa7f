"""
The sender: takes what the outbox holds and tells it, at least once, through each channel by itself.

What the book wrote with a change is handed out to channels (the client, the shop, each webhook); what is due
is tried; what fails is tried again later, up to ``MOST_TRIES`` times. A sender may be killed at any point.
"""

from __future__ import annotations

import datetime
import hashlib
import smtplib
import threading
from collections import deque
from collections.abc import Callable, Sequence
from decimal import Decimal
from logging import getLogger

import httpcore
from msgspec import Struct, json

from api.telling import mail, webhooks
from api.telling.letters import ATTACHED, SAYS, TO_THE_SHOP, Happened, client_letter, message_of, shop_letter
from api.telling.mail import RefusedForGoodError, Relay
from api.telling.targets import Network, TargetRefusedError
from api.telling.webhooks import Endpoint, wait_s
from quoting.book import Delivery, Entry, QuoteBook, Sums, Told, keep_documents
from quoting.documents.formats import Formats
from quoting.errors import QuotingError, StorageError
from quoting.money import minor_units
from quoting.quotation import Quotation
from quoting.reader import from_json

CLIENT, SHOP, WEBHOOK = "client", "shop", "webhook "
LEASE = datetime.timedelta(minutes=2)
SHOP_MAILS_AN_HOUR = 10
HOUR = datetime.timedelta(hours=1)
GONE = 410
Clock = Callable[[], datetime.datetime]
_log = getLogger("quoting.telling")


class Telling(Struct, frozen=True, kw_only=True):
    """
    Who is told and how.

    ``shop_address`` hears of requests, acceptances and refusals; ``shop_locale`` is what it reads.
    ``look`` makes the address of a private link out of what opens it, ``desk`` the owner's out of an id.
    """

    relay: Relay | None
    sender: tuple[str, str]
    shop_address: str
    shop_locale: str
    endpoints: tuple[Endpoint, ...]
    networks: tuple[Network, ...]
    look: Callable[[str], str]
    desk: Callable[[str], str]


class Sender:
    """One sender at one book; what it took and said nothing of is another's to try when ``lease`` is over."""

    def __init__(self, book: QuoteBook, telling: Telling, clock: Clock, *, lease: datetime.timedelta = LEASE) -> None:
        self._book, self._telling, self._clock, self._lease = book, telling, clock, lease
        self._endpoints = {channel_of(one.url): one for one in telling.endpoints}
        self._shop_mails: deque[datetime.datetime] = deque()

    def run(self, stop: threading.Event, *, idle_s: float = 1.0) -> None:
        """Tell what there is to tell until told to stop; a book that cannot be read is tried again."""
        while not stop.is_set():
            try:
                told = self.step()
            except StorageError:
                _log.warning("the quote book cannot be reached; trying again")
                told = 0
            if not told:
                stop.wait(idle_s)

    def step(self) -> int:
        """
        Hand out what is new, then try what is due, once each.

        Raises:
            StorageError: the book cannot be read or written now.
        """
        for told in self._book.outbox.waiting():
            self._book.outbox.hand_out(told.position, self._channels(told), at=self._clock())
        now = self._clock()
        claimed = self._book.outbox.claim(at=now, until=now + self._lease)
        for delivery in claimed:
            self._try(delivery)
        return len(claimed)

    def _channels(self, told: Told) -> tuple[str, ...]:
        """
        Who hears of a change: every webhook of all of them; by mail, of what was asked for from outside, the
        client, and the shop of what somebody else did. A request that was answered at once is one letter.
        """
        entry = self._book.get(told.id)
        mails = []
        if self._telling.relay and entry.offer and told.kind in SAYS and not entry.erased:
            answered = told.kind == "requested" and entry.number
            mails += [] if answered else [CLIENT]
            mails += [SHOP] if self._telling.shop_address and told.kind in TO_THE_SHOP else []
        return (*mails, *self._endpoints)

    def _try(self, delivery: Delivery) -> None:
        outbox, channel = self._book.outbox, delivery.channel
        free_at = self._shop_free_at() if channel == SHOP else None
        if free_at is not None:
            outbox.failed(delivery, f"{SHOP_MAILS_AN_HOUR} an hour already", next_at=free_at)
            return
        try:
            (self._post if channel.startswith(WEBHOOK) else self._mail)(delivery)
        except (RefusedForGoodError, TargetRefusedError, ValueError) as error:
            outbox.failed(delivery, str(error), next_at=None)
        except (OSError, smtplib.SMTPException, httpcore.NetworkError, httpcore.TimeoutException,
                httpcore.ProtocolError, _NotTakenError, QuotingError) as error:  # fmt: skip
            if isinstance(error, StorageError):
                raise
            seconds = wait_s(delivery.attempts)
            later = None if seconds is None else self._clock() + datetime.timedelta(seconds=seconds)
            outbox.failed(
                delivery, str(error) if isinstance(error, _NotTakenError) else type(error).__name__, next_at=later
            )
        else:
            outbox.delivered(delivery, at=self._clock())
        _log.info(
            "told", extra={"position": delivery.told.position, "channel": channel, "attempt": delivery.attempts}
        )

    # Mail

    def _mail(self, delivery: Delivery) -> None:
        entry = self._book.get(delivery.told.id)
        relay = self._telling.relay
        if entry.erased or relay is None:  # nobody is left to be told
            return
        about = self._happened(delivery.told, entry)
        shop = about.quotation.shop
        if delivery.channel == SHOP:
            letter = shop_letter(about, locale=self._telling.shop_locale, link=self._telling.desk(entry.id))
            recipient = (shop.name, self._telling.shop_address)
        else:
            link = self._telling.look(self._book.link_token(entry)) if entry.link else ""
            letter = client_letter(about, link=link)
            recipient = (about.quotation.client.name, about.quotation.client.email)
        wants_pdf = delivery.channel == CLIENT and delivery.told.kind in ATTACHED
        message = message_of(
            letter,
            sender=self._telling.sender,
            recipient=recipient,
            reply_to=shop.email if delivery.channel == CLIENT else about.quotation.client.email or shop.email,
            identity=f"{identity_of(delivery.told)}.{delivery.channel}",
            at=self._clock(),
            attached=self._pdf(entry) if wants_pdf else None,
            attached_name=f"{shop.name} {about.quotation.number}",
        )
        mail.send(message, relay)
        if delivery.channel == SHOP:
            self._shop_mails.append(self._clock())

    def _happened(self, told: Told, entry: Entry) -> Happened:
        quotation = from_json(self._book.paper(entry.id, "quotation").content, Quotation)
        accepted = None if entry.accepted is None else quotation.options[entry.accepted]
        places = minor_units(quotation.currency)
        formats = Formats(quotation.locale, quotation.currency)
        return Happened(
            kind=told.kind,
            quotation=quotation,
            accepted=accepted,
            paid=formats.money(Decimal(entry.paid_minor).scaleb(-places)),
            balance=formats.money(Decimal(entry.balance_minor).scaleb(-places)),
        )

    def _pdf(self, entry: Entry) -> bytes:
        keep_documents(self._book, entry.id, at=self._clock(), by="sender")
        return self._book.paper(entry.id, "pdf").content

    def _shop_free_at(self) -> datetime.datetime | None:
        """When the shop may be sent another mail; None for now."""
        while self._shop_mails and self._shop_mails[0] <= self._clock() - HOUR:
            self._shop_mails.popleft()
        return self._shop_mails[0] + HOUR if len(self._shop_mails) >= SHOP_MAILS_AN_HOUR else None

    # Webhooks

    def _post(self, delivery: Delivery) -> None:
        endpoint = self._endpoints.get(delivery.channel)
        if endpoint is None:
            raise RefusedForGoodError("this webhook is not set any more")
        if self._is_gone(delivery.channel):
            raise RefusedForGoodError(f"{GONE}: the receiver wants no more")
        body = payload(delivery.told, self._book.get(delivery.told.id))
        answer = webhooks.send(
            endpoint,
            identity=identity_of(delivery.told),
            at=self._clock(),
            body=body,
            also=self._telling.networks,
        )
        if answer.status == GONE:
            raise RefusedForGoodError(f"{GONE}: the receiver wants no more")
        if not 200 <= answer.status < 300:
            raise _NotTakenError(f"answered {answer.status}")

    def _is_gone(self, channel: str) -> bool:
        """Whether a receiver said 410; trying that delivery again asks it once more."""
        after = 0
        while given_up := self._book.outbox.undeliverable(after=after):
            if any(one.channel == channel and one.refused.startswith(str(GONE)) for one in given_up):
                return True
            after = given_up[-1].told.position
        return False


class _NotTakenError(Exception):
    """A receiver answered that it did not take it."""


class _Option(Struct, frozen=True):
    quantity: int
    net: str
    tax: str
    total: str
    deposit: str


class _Data(Struct, frozen=True, omit_defaults=True):
    id: str
    state: str
    currency: str
    options: tuple[_Option, ...]
    number: str = ""
    revision: int = 0
    valid_until: datetime.date | None = None
    accepted: int | None = None


class _Payload(Struct, frozen=True):
    type: str
    timestamp: datetime.datetime
    data: _Data


def payload(told: Told, entry: Entry) -> bytes:
    """
    What a webhook carries: no cost, nothing personal; ``accepted`` is a quantity, amounts are text.

    The quotation is told as it stands when this is sent, the event as it was.
    """
    options = tuple(_option(one, entry.terms.currency) for one in entry.terms.options)
    data = _Data(
        id=entry.id,
        number=entry.number,
        revision=entry.revision,
        state=entry.state,
        currency=entry.terms.currency,
        options=options,
        valid_until=entry.days.valid_until if entry.days else None,
        accepted=None if entry.accepted is None else options[entry.accepted].quantity,
    )
    return json.encode(_Payload(f"quotation.{told.kind.replace(' ', '_')}", told.made_at, data))


def _option(sums: Sums, currency: str) -> _Option:
    places = minor_units(currency)

    def written(minor: int) -> str:
        return f"{Decimal(minor).scaleb(-places):f}"

    return _Option(
        sums.quantity,
        written(sums.net_minor),
        written(sums.tax_minor),
        written(sums.total_minor),
        written(sums.deposit_minor),
    )


def identity_of(told: Told) -> str:
    """An event's name outside: the same however often it is sent, and no other shop's."""
    return f"evt_{told.id}_{told.position}"


def channel_of(url: str) -> str:
    """A webhook's name in the book: it does not give its address away."""
    return WEBHOOK + hashlib.sha256(url.encode()).hexdigest()[:16]


def endpoints_from(urls: Sequence[str], secrets: Sequence[str]) -> tuple[Endpoint, ...]:
    """
    Endpoints that share their secrets.

    Raises:
        ValueError: no secret, or one that is none.
    """
    if urls and not secrets:
        raise ValueError("expected a secret for the webhooks; found none")
    for secret in secrets:
        webhooks.secret_bytes(secret)
    return tuple(Endpoint(url=url, secrets=tuple(secrets)) for url in urls)

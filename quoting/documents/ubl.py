"""
The quotation for machines: an OASIS UBL 2.1 Quotation.

One line: the first option, the others as its alternatives; each option's items and delivery are its
sub-lines, and sum to it. Amounts of lines are without tax; where prices hold tax, it is backed out and
shared over the sub-lines by largest remainder. A deposit is a condition of the option, never a prepaid
amount, since nothing is paid yet.
"""

from __future__ import annotations

import hashlib
import unicodedata
from collections.abc import Iterator
from decimal import Decimal
from xml.sax.saxutils import escape, quoteattr

from quoting.errors import UnfitTextError
from quoting.money import spread
from quoting.numbers import in_engine_context, plain
from quoting.quotation import Quotation, QuotedOption
from quoting.reader import to_json

_NAMESPACES = (
    ' xmlns="urn:oasis:names:specification:ubl:schema:xsd:Quotation-2"'
    ' xmlns:cac="urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2"'
    ' xmlns:cbc="urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2"'
)
# UN/ECE Recommendation 20: C62 is one piece, SET a set.
_UNITS = {"sets": "SET", "pieces": "C62", "pieces of each design": "C62"}

Node = tuple[str, "str | list[Node]", dict[str, str]]


@in_engine_context
def quotation_xml(quotation: Quotation) -> bytes:
    """
    A quotation as UBL 2.1.

    Raises:
        UnfitTextError: a text with characters that XML does not take.
    """
    try:
        root: Node = ("Quotation", list(_document(quotation)), {})
    except UnicodeEncodeError as error:
        raise UnfitTextError(f"expected text that XML takes; found U+{ord(error.object[error.start]):04X}") from error
    text = "\n".join(['<?xml version="1.0" encoding="UTF-8"?>', *_written(root, 0, _NAMESPACES)])
    unfit = next((character for character in text if not _fits_xml(character)), None)
    if unfit is not None:
        raise UnfitTextError(f"expected text that XML takes; found U+{ord(unfit):04X}")
    return text.encode()


def quotation_id(quotation: Quotation) -> str:
    """Its number; until it has one, a digest of its content, so that two alike are told as one."""
    return quotation.number or "unnumbered-" + hashlib.sha256(to_json(quotation)).hexdigest()[:16]


def _document(quotation: Quotation) -> Iterator[Node]:
    first = quotation.options[0]
    yield _basic("UBLVersionID", "2.1")
    yield _basic("ID", quotation_id(quotation))
    yield _basic("IssueDate", quotation.dated.isoformat())
    yield from (_basic("Note", text, languageID=quotation.locale) for text in _notes(quotation))
    yield _basic("PricingCurrencyCode", quotation.currency)
    yield _basic("LineCountNumeric", "1")
    yield _group("ValidityPeriod", [_basic("EndDate", quotation.valid_until.isoformat())])
    yield _group("SellerSupplierParty", [_group("Party", list(_seller(quotation)))])
    yield _group("BuyerCustomerParty", [_group("Party", list(_buyer(quotation)))])
    yield from _delivery(quotation)
    yield from _terms(quotation)
    yield _tax_total(first, quotation)
    yield _group(
        "QuotedMonetaryTotal",
        [
            _amount("LineExtensionAmount", first.net, quotation),
            _amount("TaxExclusiveAmount", first.net, quotation),
            _amount("TaxInclusiveAmount", first.total - first.rounding, quotation),
            *([_amount("PayableRoundingAmount", first.rounding, quotation)] if first.rounding else []),
            _amount("PayableAmount", first.total, quotation),
        ],
    )
    yield _group("QuotationLine", list(_line(quotation)))


def _notes(quotation: Quotation) -> Iterator[str]:
    yield quotation.title
    yield from quotation.included
    yield from quotation.assumed
    yield from quotation.please_send
    if quotation.notes:
        yield quotation.notes


def _seller(quotation: Quotation) -> Iterator[Node]:
    shop = quotation.shop
    if shop.website:
        yield _basic("WebsiteURI", shop.website)
    yield _group("PartyName", [_basic("Name", shop.name)])
    yield _address(shop.address)
    if shop.tax_number:
        tax = _group("TaxScheme", [_basic("Name", quotation.tax_name)])
        yield _group("PartyTaxScheme", [_basic("CompanyID", shop.tax_number), tax])
    contact = [("Telephone", shop.telephone), ("ElectronicMail", shop.email)]
    yield _group("Contact", [_basic(name, told) for name, told in contact if told])


def _buyer(quotation: Quotation) -> Iterator[Node]:
    client = quotation.client
    yield _group("PartyName", [_basic("Name", client.company or client.name)])
    if client.address:
        yield _address(client.address)
    contact = [("Name", client.name), ("ElectronicMail", client.email)]
    yield _group("Contact", [_basic(name, told) for name, told in contact if told])


def _address(lines: tuple[str, ...]) -> Node:
    return _group("PostalAddress", [_group("AddressLine", [_basic("Line", line)]) for line in lines])


def _delivery(quotation: Quotation) -> Iterator[Node]:
    if quotation.needed_by:
        period = _group("RequestedDeliveryPeriod", [_basic("EndDate", quotation.needed_by.isoformat())])
        yield _group("Delivery", [period])
    yield _group("DeliveryTerms", [_basic("SpecialTerms", quotation.delivery, languageID=quotation.locale)])


def _terms(quotation: Quotation) -> Iterator[Node]:
    if quotation.terms:
        yield _group("TransactionConditions", [_basic("Description", term) for term in quotation.terms])


def _line(quotation: Quotation) -> Iterator[Node]:
    first, *others = quotation.options
    yield _basic("ID", "1")
    yield _basic("Quantity", str(first.quantity), unitCode=_UNITS[quotation.sold_by])
    yield _amount("LineExtensionAmount", first.net, quotation)
    yield _amount("TotalTaxAmount", _tax_of(first), quotation)
    yield _group("LineItem", list(_option(first, 1, quotation)))
    for place, option in enumerate(others, start=2):
        yield _group("AlternativeLineItem", list(_option(option, place, quotation)))


def _option(option: QuotedOption, place: int, quotation: Quotation) -> Iterator[Node]:
    yield _basic("ID", str(place))
    yield _basic("Quantity", str(option.quantity), unitCode=_UNITS[quotation.sold_by])
    yield _amount("LineExtensionAmount", option.net, quotation)
    yield _amount("TotalTaxAmount", _tax_of(option), quotation)
    yield _group("Delivery", [_group("EstimatedDeliveryPeriod", [_basic("EndDate", option.ready_on.isoformat())])])
    yield _group("Item", list(_option_as_item(option, quotation)))
    yield from _sub_lines(option, place, quotation)
    yield _tax_total(option, quotation)


def _option_as_item(option: QuotedOption, quotation: Quotation) -> Iterator[Node]:
    yield _basic("Name", quotation.title)
    if quotation.deposit_share:
        for name, amount in (("deposit", option.deposit), ("balance", option.balance)):
            told = [_basic("ID", name), _basic("Description", f"{plain_amount(amount)} {quotation.currency}")]
            yield _group("TransactionConditions", told)


def _sub_lines(option: QuotedOption, place: int, quotation: Quotation) -> Iterator[Node]:
    prices = [price.price for price in option.prices]
    nets = spread(option.net, [*prices, option.delivery], quotation.currency)
    for number, (price, item, net) in enumerate(zip(option.prices, quotation.items, nets[:-1], strict=True), start=1):
        yield _group(
            "SubLineItem",
            [
                _basic("ID", f"{place}.{number}"),
                _basic("Quantity", str(price.pieces), unitCode="C62"),
                _amount("LineExtensionAmount", net, quotation),
                _group(
                    "Price",
                    [
                        _amount("PriceAmount", net, quotation),
                        _basic("BaseQuantity", str(price.pieces), unitCode="C62"),
                    ],
                ),
                _group("Item", [*(_basic("Description", line) for line in item.lines), _basic("Name", item.name)]),
            ],
        )
    if option.delivery:
        yield _group(
            "SubLineItem",
            [
                _basic("ID", f"{place}.{len(prices) + 1}"),
                _basic("Quantity", "1", unitCode="C62"),
                _amount("LineExtensionAmount", nets[-1], quotation),
                _group("Item", [_basic("Name", quotation.delivery)]),
            ],
        )


def _tax_of(option: QuotedOption) -> Decimal:
    return sum((tax.tax for tax in option.taxes), Decimal(0))


def _tax_total(option: QuotedOption, quotation: Quotation) -> Node:
    children = [_amount("TaxAmount", _tax_of(option), quotation)]
    for tax in option.taxes:
        scheme = _group("TaxScheme", [_basic("Name", quotation.tax_name)])
        category = [_basic("ID", tax.code), _basic("Percent", plain(tax.rate * 100))]
        category += [_basic("TaxExemptionReason", tax.reason)] if tax.reason else []
        category.append(scheme)
        subtotal = [
            _amount("TaxableAmount", tax.base, quotation),
            _amount("TaxAmount", tax.tax, quotation),
            _group("TaxCategory", category),
        ]
        children.append(_group("TaxSubtotal", subtotal))
    return _group("TaxTotal", children)


def _basic(name: str, text: str, **attributes: str) -> Node:
    return (f"cbc:{name}", text, attributes)


def _group(name: str, children: list[Node]) -> Node:
    return (f"cac:{name}", children, {})


def _amount(name: str, amount: Decimal, quotation: Quotation) -> Node:
    return _basic(name, plain_amount(amount), currencyID=quotation.currency)


def plain_amount(amount: Decimal) -> str:
    """An amount at the places it was rounded to, never minus nothing."""
    return f"{amount + 0:f}"


def _written(node: Node, depth: int, more: str = "") -> Iterator[str]:
    name, inside, attributes = node
    indent = "  " * depth
    told = more + "".join(f" {key}={quoteattr(value)}" for key, value in attributes.items())
    if isinstance(inside, str):
        yield f"{indent}<{name}{told}>{escape(inside)}</{name}>"
        return
    yield f"{indent}<{name}{told}>"
    for child in inside:
        yield from _written(child, depth + 1)
    yield f"{indent}</{name}>"


def _fits_xml(character: str) -> bool:
    """XML 1.0, 2.2: no controls but tab and line ends, no surrogates, no noncharacters at the end of the plane."""
    return character in "\t\n\r" or not (
        unicodedata.category(character) == "Cs" or ord(character) < 0x20 or ord(character) in (0xFFFE, 0xFFFF)
    )

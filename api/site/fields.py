"""
The order form's fields: what each is called, and the choice that they come to.

A field is named after its place in the choice: ``front.inks``. What does not apply is left out, so that a form
that shows everything (scripts off) says the same as one that hides what does not matter.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from quoting.offers import PublicOffer
from quoting.offers.offered import SizeOffered

Fields = Mapping[str, Sequence[str]]
Data = dict[str, Any]

YES = "yes"
OWN_SIZE = "own size"
HONEYPOT = "website"


def choice_data(fields: Fields, offer: PublicOffer, *, with_contact: bool = True, locale: str = "") -> Data:
    """
    A form as the plain data of a choice; it is held to its type and to the offer after this.

    Args:
        with_contact: False where only a price is asked, while the rest may still be half written.
        locale: What the visitor reads.
    """
    choice: Data = {"product": offer.key, "quantities": _quantities(fields)}
    size = _one(fields, "size") or (offer.sizes[0].name if offer.sizes else OWN_SIZE)
    offered = next((one for one in offer.sizes if one.name == size), None)
    if size == OWN_SIZE:
        choice["own_size"] = _one(fields, "own_size")
    else:
        choice["size"] = size
    for name in ("stock", "impression", "folded", "corners", "edges"):
        _put(choice, name, _one(fields, name))
    if offered is not None:
        _fit(choice, offered)
    choice["front"] = _side(fields, "front", offer)
    if _one(fields, "back") == YES:
        choice["back"] = _side(fields, "back", offer)
    _put(choice, "extras", _some(fields, "extras"))
    pieces = _some(fields, "pieces")
    _put(choice, "pieces", [{"piece": one, "front": _side(fields, f"pieces.{one}", offer)} for one in pieces])
    envelope = _envelope(fields, offer)
    if envelope and (offered is None or offered.envelopes):
        choice["envelope"] = envelope
    _put(choice, "needed_by", _one(fields, "needed_by"))
    if _one(fields, "rush") == YES and offer.rush:
        choice["rush"] = True
    delivery = _one(fields, "delivery")
    if delivery and delivery != "collect":
        choice["delivery"] = {"method": delivery, "to": _one(fields, "delivery.to") or ("" if with_contact else "-")}
    if with_contact:
        choice["contact"] = _contact(fields, locale)
        _put(choice, "notes", _one(fields, "notes"))
        _put(choice, "reference", _one(fields, "reference"))
    return choice


def _fit(choice: Data, size: SizeOffered) -> None:
    """Leave out what a size leaves no choice of: a form without scripts shows it all the same."""
    if len(size.stocks) == 1:
        choice.pop("stock", None)
    if not size.folds or choice.get("folded") not in size.folds:
        choice.pop("folded", None)
    if size.shape != "rectangular":
        choice.pop("corners", None)


def field_of(path: str) -> str:
    """The name of the field that a path of a choice points at: ``$.front.inks[0]`` is ``front.inks``."""
    steps = path.removeprefix("$").strip(".").split(".")
    names = [step.partition("[")[0] for step in steps if step]
    if names[:1] == ["quantities"]:
        return "quantities"
    if names[:1] == ["delivery"]:
        return "delivery.to" if names[1:] == ["to"] else "delivery"
    if names[:1] == ["contact"]:
        return ".".join(names[:2])
    if names[:2] == ["envelope", "stock"]:
        return "envelope"
    known = next((place for place, name in enumerate(names) if name in {"inks", "lines", "plate"}), None)
    return ".".join(names if known is None else names[: known + (2 if names[known] == "plate" else 1)])


def _quantities(fields: Fields) -> list[Any]:
    """Each quantity once; what is no whole number stays as it was written, and is refused with that."""
    told = [one.replace(" ", "").replace("\u202f", "") for one in _some(fields, "quantities")]
    return list(dict.fromkeys(_whole(one) for one in told))


def _side(fields: Fields, at: str, offer: PublicOffer) -> Data:
    """One side; a side that nothing was said of is as the offer usually has it."""
    way = _one(fields, f"{at}.printed_from") or (offer.printed_from[0] if offer.printed_from else "")
    side: Data = {}
    _put(side, "printed_from", way)
    _put(side, "inks", _inks(fields, at))
    if way == "words to set":
        side["lines"] = _lines(fields, at, side.get("inks", []))
        return side
    _put(side, "coverage", _one(fields, f"{at}.coverage"))
    if way == "finished artwork":
        _put(side, "artwork", _one(fields, f"{at}.artwork"))
        _put(side, "artwork_file", _one(fields, f"{at}.artwork_file"))
    if way == "own plate":
        side["plate"] = {name: _one(fields, f"{at}.plate.{name}") for name in ("size", "thickness")}
        side["inks"] = side.get("inks", [])[:1]
    return side


def _inks(fields: Fields, at: str) -> list[str]:
    """The inks of a side; a first one that is left open beside others is the front's."""
    told = [one.strip() for one in fields.get(f"{at}.inks", ())]
    if told and not told[0] and any(told) and at != "front":
        told[0] = next(iter(_some(fields, "front.inks")), "")
    return list(dict.fromkeys(one for one in told if one))


def _lines(fields: Fields, at: str, inks: Sequence[str]) -> list[Data]:
    """The lines to set; of those in a further colour the last where nothing is said."""
    fount = _one(fields, f"{at}.fount")
    lines: list[Data] = [{"text": line.strip()} for line in _one(fields, f"{at}.lines").splitlines() if line.strip()]
    for line in lines:
        _put(line, "fount", fount)
    for place, ink in enumerate(inks[1:], start=1):
        told = re.findall(r"[0-9]{1,3}", _one(fields, f"{at}.lines_in.{place}"))
        for number in [int(one) for one in told] or [len(lines) + 1 - place]:
            if 1 <= number <= len(lines):
                lines[number - 1]["ink"] = ink
    return lines


def _envelope(fields: Fields, offer: PublicOffer) -> Data:
    """The envelope of the size that is chosen, where it has one."""
    stock = _one(fields, "envelope")
    if not stock:
        return {}
    envelope: Data = {"stock": stock}
    if offer.lining and _one(fields, "envelope.lined") == YES:
        envelope["lined"] = True
    if offer.addressing and _one(fields, "envelope.addressed") == YES:
        envelope["addressed"] = True
    spare = _one(fields, "envelope.spare")
    if spare:
        envelope["spare"] = _whole(spare)
    if _one(fields, "envelope.front") == YES:
        envelope["front"] = _side(fields, "envelope.front", offer)
    return envelope


def _contact(fields: Fields, locale: str) -> Data:
    contact: Data = {
        "name": _one(fields, "contact.name"),
        "email": _one(fields, "contact.email"),
        "is_business": _one(fields, "contact.is_business") == YES,
    }
    if contact["is_business"]:
        _put(contact, "company", _one(fields, "contact.company"))
    address = [line.strip() for line in _one(fields, "contact.address").splitlines() if line.strip()]
    _put(contact, "address", address)
    _put(contact, "locale", locale)
    return contact


def _one(fields: Fields, name: str) -> str:
    """The last value of a field, without the white space about it."""
    told = fields.get(name) or ("",)
    return told[-1].strip()


def _whole(written: str) -> int | str:
    return int(written) if written.isascii() and written.isdecimal() and len(written) < 10 else written


def _some(fields: Fields, name: str) -> list[str]:
    """Every value of a field that says something."""
    return [one.strip() for one in fields.get(name, ()) if one.strip()]


def _put(data: Data, name: str, told: Any) -> None:
    """Put what was told; what was left out stays as the offer usually has it."""
    if told:
        data[name] = told

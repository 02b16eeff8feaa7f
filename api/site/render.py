"""Pages out of templates: what is said stays text, whatever is in it; words are in the visitor's language."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from quoting.documents.formats import Formats
from quoting.languages import Language, is_known, language

if TYPE_CHECKING:
    from jinja2 import Environment


@lru_cache(maxsize=1)
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader("api.site", "pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def page(name: str, locale: str, currency: str, **told: Any) -> bytes:
    """
    A page of ``api/site/pages``.

    Args:
        locale: What it is written in; formats follow its region.
    """
    words, formats = language(locale), Formats(locale, currency)
    said: Mapping[str, Callable[..., str]] = {
        "say": words.say,
        "number": formats.count,
        "money": formats.money,
        "unit_money": formats.unit_money,
        "day": formats.day,
        "share": formats.rounded_share,
    }
    return _environment().get_template(name).render(locale=locale, words=words, **said, **told).encode()


def locale_for(asked: str, accepted: str, own: str) -> str:
    """
    The locale of a page: the one asked for, else the first that the browser wants, else the shop's own.

    A browser tells a language; how the shop's own language is written where the shop is is the shop's to say.

    Args:
        asked: What the address says, such as ``fr-FR``, or a bare language.
        accepted: Accept-Language (RFC 9110, 12.5.4).
        own: The shop's.
    """
    for wanted in (asked, *(one if _tongue(one) != _tongue(own) else own for one in _by_weight(accepted))):
        found = _completed(wanted, own)
        if found:
            return found
    return own


def _tongue(locale: str) -> str:
    return locale.partition("-")[0].lower()


_HOME = {"en": "en-GB", "fr": "fr-FR", "de": "de-DE", "es": "es-ES", "it": "it-IT", "ja": "ja-JP"}


def _completed(wanted: str, own: str) -> str:
    """A wanted language with a region; of the shop's own language its region where none is told."""
    tongue, _, region = wanted.replace("_", "-").partition("-")
    tongue, region = tongue.lower(), region.upper()
    if not (len(tongue) == 2 and tongue.isalpha() and tongue.isascii()) or not is_known(tongue):
        return ""
    if len(region) == 2 and region.isalpha() and region.isascii() and _is_locale(tongue, region):
        return f"{tongue}-{region}"
    return own if own.startswith(f"{tongue}-") else _HOME[tongue]


def _is_locale(tongue: str, region: str) -> bool:
    from babel.core import Locale, UnknownLocaleError

    try:
        Locale.parse(f"{tongue}_{region}")
    except (UnknownLocaleError, ValueError):
        return False
    return True


def _by_weight(accepted: str) -> list[str]:
    weighed: list[tuple[float, str]] = []
    for part in accepted.split(",")[:20]:
        name, _, weight = part.strip().partition(";")
        try:
            weighed.append((float(weight.strip().removeprefix("q=") or 1), name.strip()))
        except ValueError:
            continue
    return [name for weight, name in sorted(weighed, key=lambda one: -one[0]) if weight > 0]


Option = tuple[str, str, str]


def worded(words: Language, keys: Iterable[str], known: Mapping[str, str]) -> list[Option]:
    """Options whose names are ours."""
    return [(key, words.say(known.get(key, key)), "") for key in keys]


def named(things: Iterable[Any]) -> list[Option]:
    """Options whose names are the card's."""
    return [(thing.key, thing.name, "") for thing in things]


def plain(names: Iterable[str]) -> list[Option]:
    """Options that are their own names."""
    return [(name, name, "") for name in names]


def last_of(fields: Mapping[str, Sequence[str]]) -> Callable[[str], str]:
    """The last value of a field, empty where it was not told."""
    return lambda name: (fields.get(name) or ("",))[-1]

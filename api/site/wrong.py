"""What a person sees where there is nothing to see."""

from __future__ import annotations

from api.site.render import locale_for, page
from quoting.languages import message

_SAID = {
    "not-found": message("There is nothing here. The address may be incomplete, or what was here is kept no longer."),
    "quota-exceeded": message("That was a little too much at once. Please wait a minute and try again."),
    "quote-draft": message("It is not issued yet. You will hear from us."),
}
_ELSE = message("That did not work. Please go back and try again.")


def wrong_page(problem: str, accepted: str) -> bytes:
    """
    A page for a problem.

    Args:
        problem: The name of its type.
        accepted: Accept-Language.
    """
    locale = locale_for("", accepted, "en-GB")
    return page("wrong.html", locale, "GBP", files="/order/files", said=_SAID.get(problem, _ELSE))

"""Holds what an answer says that its file is to be saved as (A56; RFC 6266)."""

from __future__ import annotations

import re
from urllib.parse import unquote

import httpx


def hold_name(answer: httpx.Response) -> None:
    """
    Hold that a file is named in one line, in ASCII and as it is, with no way out of a folder.

    Raises:
        AssertionError: it is named otherwise.
    """
    told = answer.headers["content-disposition"]
    plain = re.search(r'filename="([^"]*)"', told)
    extended = re.search(r"filename\*=UTF-8''(\S+)", told)
    assert len(answer.headers.get_list("content-disposition")) == 1
    assert "set-cookie" not in answer.headers
    assert plain is not None
    assert plain[1].isascii()
    for name in (plain[1], unquote(extended[1]) if extended else ""):
        assert not set(name) & set('/\\"\r\n')
        assert len(name) <= 200

"""ETags: strong, made of what they stand for; If-Match and If-None-Match as RFC 9110 has them."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping

from msgspec import Struct

from api.problems import ProblemError

_TAG = re.compile(r'(?P<weak>W/)?"(?P<opaque>[\x21\x23-\x7e\x80-\xff]*)"')
_VERSION = re.compile(r"(?P<id>[^.]*)\.(?P<version>[1-9][0-9]{0,8})(\.[a-z0-9]+)*")


class Tag(Struct, frozen=True):
    """What a strong tag of something that counts its versions stands for."""

    id: str
    version: int

    @property
    def written(self) -> str:
        """As ETag tells it."""
        return self.of()

    def of(self, *variants: str) -> str:
        """As ETag tells it of one form of the same version: a media type, a state that comes by itself."""
        return '"' + ".".join([self.id, str(self.version), *filter(None, variants)]) + '"'

    def version_of(self, id: str) -> int:
        """The version that is meant of a thing; 0, which nothing has, where another thing is meant."""
        return self.version if self.id == id else 0


def tag_of_content(content: bytes) -> str:
    """The tag of bytes that follow from nothing but themselves."""
    return f'"{hashlib.sha256(content).hexdigest()[:32]}"'


def tag_asked(headers: Mapping[str, str]) -> Tag:
    """
    What If-Match names.

    Raises:
        ProblemError: no If-Match, or one that names no version of ours.
    """
    told = headers.get("if-match")
    if told is None:
        raise ProblemError("version-needed")
    found = _TAG.fullmatch(told.strip())
    named = _VERSION.fullmatch(found["opaque"]) if found and not found["weak"] else None
    if named is None:
        raise ProblemError("version-changed", "expected one strong tag, as ETag told it; found another")
    return Tag(named["id"], int(named["version"]))


def matches(headers: Mapping[str, str], tag: str) -> bool:
    """Whether If-None-Match names what is there: the weak comparison (RFC 9110, 13.1.2)."""
    told = headers.get("if-none-match", "")
    return bool(tag) and (told.strip() == "*" or any(f'"{found["opaque"]}"' == tag for found in _TAG.finditer(told)))

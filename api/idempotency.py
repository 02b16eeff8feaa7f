"""
Idempotency-Key: a creating request is safe to send twice (the IETF draft's rules, and some of ours).

The key belongs to who sent it and to the operation; what it was sent with is held by a fingerprint of the
decoded body, so that spelling does not count. Key and answer are kept in the transaction of what is created;
what was refused or failed is not kept.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping

from api.problems import ProblemError
from quoting.reader import canonical_json

HEADER = "Idempotency-Key"
_KEY = re.compile(r"[\x21\x23-\x5b\x5d-\x7e]{16,255}")
_QUOTED = re.compile(r'"([\x21\x23-\x5b\x5d-\x7e]{16,255})"')


def key_asked(headers: Mapping[str, str]) -> str:
    """
    The key of a request, quoted or bare.

    Raises:
        ProblemError: none, or one that cannot be used.
    """
    told = headers.get("idempotency-key")
    if told is None:
        raise ProblemError("idempotency-key-missing")
    quoted = _QUOTED.fullmatch(told.strip())
    key = quoted[1] if quoted else told.strip()
    if not _KEY.fullmatch(key):
        raise ProblemError("idempotency-key-invalid")
    return key


def fingerprint(*told: object) -> str:
    """What tells a request from another of the same key: its decoded data, in one order."""
    return hashlib.sha256(canonical_json(told)).hexdigest()

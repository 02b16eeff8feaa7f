"""A job as text that a person edits: TOML of what it says, without what is as it usually is."""

from __future__ import annotations

import datetime
from typing import Any

import msgspec
from msgspec import NODEFAULT, Struct
from msgspec.structs import fields

from quoting import Job
from quoting.artwork import FormArtwork
from quoting.reader import to_json


def job_text(job: Job) -> str:
    """
    A job as TOML; reading it gives the same job.

    Dates are dates, measures as they were written; the small pictures of artwork are left out.
    """
    import tomli_w

    return tomli_w.dumps(_said(job, msgspec.json.decode(to_json(job))))


def _said(told: Any, plain: Any) -> Any:
    """What is said of a value: of a struct, the fields that are not as usual."""
    if isinstance(told, Struct):
        config = told.__struct_config__
        kept = {config.tag_field: plain[config.tag_field]} if config.tag_field in plain else {}
        left_out = ("picture",) if isinstance(told, FormArtwork) else ()
        for field in fields(told):
            value = getattr(told, field.name)
            if value is not None and value != _usual(field) and field.name not in left_out:
                kept[field.encode_name] = _said(value, plain[field.encode_name])
        return kept
    if isinstance(told, list | tuple):
        return [_said(one, one_plain) for one, one_plain in zip(told, plain, strict=True)]
    if isinstance(told, datetime.date):
        return told
    return plain


def _usual(field: Any) -> Any:
    if field.default is not NODEFAULT:
        return field.default
    return field.default_factory() if field.default_factory is not NODEFAULT else NODEFAULT

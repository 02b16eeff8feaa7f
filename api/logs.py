"""Structured logs: one line of JSON for each event, without anything of a client's."""

from __future__ import annotations

import datetime
import logging
import traceback
from typing import Any

from msgspec import json


class JsonLines(logging.Formatter):
    """A record as one line of JSON: when, how grave, who says it, what; of a failure the places, not the words."""

    def format(self, record: logging.LogRecord) -> str:
        """Write one line."""
        at = datetime.datetime.fromtimestamp(record.created, datetime.UTC)
        line: dict[str, Any] = {
            "at": at.isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "from": record.name,
            "what": record.getMessage(),
            **getattr(record, "told", {}),
        }
        if record.exc_info and record.exc_info[1]:
            line["failure"] = failure_of(record.exc_info[1])
        return json.encode(line).decode()


def failure_of(error: BaseException) -> dict[str, Any]:
    """
    A failure by its kind and its places.

    Its words may quote what was sent, so they are left out.
    """
    frames = traceback.extract_tb(error.__traceback__)
    places = [f"{frame.name} in {frame.filename.rpartition('/')[2]}, line {frame.lineno}" for frame in frames[-12:]]
    cause = error.__cause__ or error.__context__
    return {"kind": type(error).__name__, "places": places} | ({"cause": failure_of(cause)} if cause else {})


def configuration() -> dict[str, Any]:
    """What ``logging`` is told in every process of a server."""
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"lines": {"()": JsonLines}},
        "handlers": {"out": {"class": "logging.StreamHandler", "formatter": "lines", "stream": "ext://sys.stdout"}},
        "root": {"level": "WARNING", "handlers": ["out"]},
        "loggers": {"uvicorn": {"level": "INFO"}, "api": {"level": "INFO"}},
    }

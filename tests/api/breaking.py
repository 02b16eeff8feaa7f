"""
What in a newer OpenAPI document would break somebody who relies on an older one.

``python -m tests.api.breaking`` keeps the documents of a release, in short, for the next one to be held to.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

Told = dict[str, Any]
KEPT = Path(__file__).parent / "kept_documents"


def in_short(document: Told) -> Told:
    """What somebody relies on in a document: operations, parameters, media types, fields and which are needed."""
    operations = {
        f"{method.upper()} {path}": {
            "parameters": {f"{one['in']} {one['name']}": one["required"] for one in told["parameters"]},
            "takes": sorted(told.get("requestBody", {}).get("content", ())),
            "answers": sorted(
                f"{status} {kind}"
                for status, answer in told["responses"].items()
                if status < "400"
                for kind in answer.get("content", ("",))
            ),
        }
        for path, methods in document["paths"].items()
        for method, told in methods.items()
    }
    sent = _sent(document)
    schemas = {
        name: {field: name in sent and field in schema.get("required", ()) for field in schema.get("properties", ())}
        for name, schema in document["components"]["schemas"].items()
    }
    return {"operations": operations, "schemas": schemas}


def _sent(document: Told) -> set[str]:
    """The schemas of what is sent to us: a new field that is needed breaks there alone."""
    schemas = document["components"]["schemas"]
    bodies = [told.get("requestBody", {}) for methods in document["paths"].values() for told in methods.values()]
    found: set[str] = set()
    waiting = set(_named(bodies))
    while waiting:
        name = waiting.pop()
        found.add(name)
        waiting |= set(_named(schemas[name])) - found
    return found


def _named(told: Any) -> list[str]:
    return re.findall(r'"#/components/schemas/(\w+)"', json.dumps(told))


def breaks(before: Told, now: Told) -> list[str]:
    """Everything that was there and is not, and everything that is needed and was not; both in short."""
    return [*_operations(before["operations"], now["operations"]), *_schemas(before["schemas"], now["schemas"])]


def _operations(before: Told, now: Told) -> Iterator[str]:
    for named, old in before.items():
        if named not in now:
            yield f"{named}: gone"
            continue
        new = now[named]
        yield from _fields(named, old["parameters"], new["parameters"])
        for what in ("takes", "answers"):
            yield from (f"{named}: {what} {one}: gone" for one in sorted(set(old[what]) - set(new[what])))


def _schemas(before: Told, now: Told) -> Iterator[str]:
    for name, old in before.items():
        if name in now:
            yield from _fields(name, old, now[name])
        else:
            yield f"{name}: gone"


def _fields(named: str, old: Told, new: Told) -> Iterator[str]:
    yield from (f"{named}: {field}: gone" for field in old.keys() - new.keys())
    yield from (f"{named}: {field}: needed" for field, needed in new.items() if needed and not old.get(field))


def _keep() -> None:
    from api.app import create_app
    from api.openapi import document
    from api.settings import Settings
    from tests.conftest import demo_card_path

    desk = create_app(Settings(card=demo_card_path("marrowby-lane"))).state.desk
    KEPT.mkdir(exist_ok=True)
    for face in ("public", "owner"):
        told = in_short(document(face, desk.operations, desk.settings))
        (KEPT / f"{face}.json").write_text(json.dumps(told, indent=1, sort_keys=True) + "\n")


if __name__ == "__main__":
    _keep()

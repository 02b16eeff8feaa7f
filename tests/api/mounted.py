"""
The server that ``quoting serve`` starts, and what the tests mount in it: a clock that they set, an operation that
fails, one that would tell the shop's inside, one that something newer stands in the place of, chance that repeats.

``python -m tests.api.mounted --port N`` runs it; settings come from the environment, as ever.
"""

from __future__ import annotations

import datetime
import hashlib
import itertools
import os
import sys
from pathlib import Path

from litestar import Litestar

import api.app
import api.documents
import api.serving
from api.calls import Answer, Call, Nothing, in_json
from api.examples import JOB
from api.health import Alive
from api.keys import ANYBODY
from api.media_types import JSON
from api.operations import Answers, Superseded, operation
from api.public.types import ChoicePrices, told
from api.settings import settings_from_environment
from quoting import read_job
from quoting.book import QuoteBook

CLOCK = "MOUNTED_CLOCK"
REPEATING = "MOUNTED_REPEATING"
RENDER_SECONDS = "MOUNTED_RENDER_SECONDS"
INSIDE = "/tmp/of-nobody.sqlite: SELECT secret FROM till"
SINCE = datetime.datetime(2026, 11, 1, tzinfo=datetime.UTC)
UNTIL = SINCE + datetime.timedelta(days=200)
TOLD_AT = "https://shop.example/docs"


class SetClock:
    """The time that a file says, in ISO 8601; that of the system while it says nothing."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def __call__(self) -> datetime.datetime:
        """What it says."""
        told = self.path.read_text()
        return datetime.datetime.fromisoformat(told) if told else datetime.datetime.now(datetime.UTC)

    def set(self, at: datetime.datetime | None) -> None:
        """Let it stand at a time; without one it runs with the system's."""
        new = self.path.with_suffix(".new")
        new.write_text(at.isoformat() if at else "")
        new.replace(self.path)  # nobody reads half of it


class Repeating:
    """Chance that is the same in every process that begins with it."""

    def __init__(self) -> None:
        self._draws = itertools.count()

    def __call__(self, size: int) -> bytes:
        """So many bytes."""
        drawn = b"".join(hashlib.sha256(f"{next(self._draws)}".encode()).digest() for _ in range(size // 32 + 1))
        return drawn[:size]


@operation(
    method="GET",
    path="/v1/breaks",
    id="breaks",
    summary="Fails.",
    face="public",
    may=ANYBODY,
    answers=(Answers(what="Never.", content={JSON: Alive}),),
)
async def fails(_: Call[Nothing, Nothing]) -> Answer:
    raise RuntimeError(INSIDE)


@operation(
    method="GET",
    path="/v1/older",
    id="older",
    summary="What something newer stands in the place of.",
    face="public",
    may=ANYBODY,
    answers=(Answers(what="It answers as ever.", content={JSON: Alive}),),
    superseded=Superseded(since=SINCE, until=UNTIL, told_at=TOLD_AT),
)
async def older(_: Call[Nothing, Nothing]) -> Answer:
    return in_json(Alive())


@operation(
    method="GET",
    path="/v1/inside",
    id="inside",
    summary="Would tell an estimate where prices are due.",
    face="public",
    may=ANYBODY,
    answers=(Answers(what="Never.", content={JSON: ChoicePrices}),),
)
async def tells_inside(call: Call[Nothing, Nothing]) -> Answer:
    return told(ChoicePrices, await call.desk.estimate(read_job(JOB), call.card))


MORE = (fails, older, tells_inside)


def create_app() -> Litestar:
    """The app of one worker."""
    settings = settings_from_environment()
    app = api.app.create_app(settings, clock=SetClock(Path(os.environ[CLOCK])), more=MORE)
    if REPEATING in os.environ:
        app.state.desk._book = QuoteBook(settings.book, secret=settings.secret.encode(), chance=Repeating())
    if told := os.environ.get(RENDER_SECONDS):
        api.documents.RENDER_SECONDS = float(told)  # type: ignore[assignment]  # a shorter one than ours
    return app


if __name__ == "__main__":
    api.serving.APP = "tests.api.mounted:create_app"
    api.serving.serve(host="127.0.0.1", port=int(sys.argv[2]))

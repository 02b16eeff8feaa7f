"""JSON Schemas of what is read."""

from __future__ import annotations

from typing import Any

from api.calls import Answer, Call, Nothing, in_json
from api.keys import ANYBODY
from api.media_types import JSON
from api.operations import Answers, operation
from quoting.reference import schema_of


@operation(
    method="GET",
    path="/v1/schemas/job",
    id="job-schema",
    summary="The JSON Schema of a job.",
    face="public",
    may=ANYBODY,
    answers=(Answers(what="The schema.", content={JSON: dict[str, Any]}),),
)
async def job_schema(_: Call[Nothing, Nothing]) -> Answer:
    """What a job is made of."""
    return in_json(schema_of("job"))


ROUTES = (job_schema,)

"""The owner's face: costs, plans, reasons, the quote book. Every operation needs an owner's key."""

from api.owner.comparisons import compare
from api.owner.estimates import price, quote
from api.owner.schemas import job_schema

ROUTES = (price, quote, compare, job_schema)

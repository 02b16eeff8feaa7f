"""
The golden corpus: jobs whose prices may not change by a byte under the rules that priced them.

A folder a set of engine rules; in it, for each job, the card and the job as JSON and the price
that was worked out. ``python -m tests.golden`` writes what is missing for the rules of today and
overwrites nothing: a rule that must change is a new number, and the old one stays beside it.
"""

from __future__ import annotations

import datetime
import gzip
import json
from pathlib import Path

from quoting import RULES, estimate_job, load_job, load_rate_card
from quoting.estimate import Estimate
from quoting.job import Job
from quoting.rate_card import RateCard
from quoting.reader import from_json, to_json

HERE = Path(__file__).parent
DAY = datetime.date(2026, 11, 25)


def price_json(estimate: Estimate) -> bytes:
    """The part of an estimate that may not change: prices, lines, counts and plans of every option."""
    return to_json(estimate.options, indent=1)


def without_refusals(price: bytes) -> bytes:
    """What was kept less the words on plans that cannot be: they are no part of a price."""
    options = json.loads(price)
    for option in options:
        del option["refusals"]
    return json.dumps(options, indent=1, ensure_ascii=False).encode()


def corpus(rules: int) -> list[Path]:
    """Every job kept for one set of rules."""
    return sorted(path for path in (HERE / f"rules-{rules}").glob("*") if path.is_dir())


def read(folder: Path, name: str) -> bytes:
    """One file of a kept job."""
    return gzip.decompress((folder / f"{name}.json.gz").read_bytes())


def priced_again(folder: Path) -> bytes:
    """A kept job priced anew from its own kept card."""
    card = from_json(read(folder, "card"), RateCard)
    job = from_json(read(folder, "job"), Job)
    return price_json(estimate_job(job, card, on=DAY))


def write_missing(shops: Path) -> list[Path]:
    """Keep every demo job that today's rules do not hold yet."""
    written = []
    for path in sorted(shops.glob("*/jobs/*.toml")):
        folder = HERE / f"rules-{RULES}" / f"{path.parents[1].name}-{path.stem}"
        if folder.exists():
            continue
        card, job = load_rate_card(path.parents[1] / "card"), load_job(path)
        folder.mkdir(parents=True)
        kept = {
            "card": to_json(card),
            "job": to_json(job),
            "price": price_json(estimate_job(job, card, on=DAY)),
        }
        for name, text in kept.items():
            (folder / f"{name}.json.gz").write_bytes(gzip.compress(text, mtime=0))
        written.append(folder)
    return written

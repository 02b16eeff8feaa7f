"""Prepress: artwork made ready for plates, design where asked for, proofs."""

from __future__ import annotations

from decimal import Decimal

from msgspec import Struct

from quoting.formulas import Do, formula
from quoting.requirements import Labour
from quoting.units import Duration


class PrepressRates(Struct, frozen=True, forbid_unknown_fields=True):
    """Minutes a form from artwork to plate-ready, a design, a round of screen proofs, beside a press proof."""

    artwork: Duration
    design: Duration
    screen_proof: Duration
    press_proof: Duration


@formula(unit="min", sentence="{forms} forms × {artwork} min + {designs} designs × {design} min")
def prepress_minutes(*, forms: int, artwork: Decimal, designs: int, design: Decimal) -> Decimal:
    """Minutes from a client's artwork, or from an idea, to plate-ready. [min]"""
    return forms * artwork + designs * design


@formula(unit="min", sentence="{rounds} rounds × {screen_proof} min")
def screen_proof_minutes(*, rounds: int, screen_proof: Decimal) -> Decimal:
    """Minutes of proofs sent on screen. [min]"""
    return rounds * screen_proof


def prepress_labour(
    do: Do, rates: PrepressRates, *, item: int, label: str, forms: int, designs: int, person: str
) -> Labour:
    """Prepress of one part: its forms and its designs."""
    minutes = do(
        prepress_minutes,
        forms=forms,
        artwork=rates.artwork.in_base_unit,
        designs=designs,
        design=rates.design.in_base_unit,
    )
    return Labour(
        operation="Prepress",
        what=label,
        item=item,
        driver=Decimal(forms + designs),
        driver_unit="forms and designs",
        person=person,
        minutes=minutes,
        steps=do.taken(),
    )


def proof_labour(do: Do, rates: PrepressRates, *, rounds: int, person: str) -> tuple[Labour, ...]:
    """Screen proofs of the whole job, all its items in one round."""
    if not rounds:
        return ()
    minutes = do(screen_proof_minutes, rounds=rounds, screen_proof=rates.screen_proof.in_base_unit)
    return (
        Labour(
            operation="Screen proofs",
            what="Proofs on screen",
            item=None,
            driver=Decimal(rounds),
            driver_unit="rounds",
            person=person,
            minutes=minutes,
            steps=do.taken(),
        ),
    )

"""Prepress: artwork made ready for plates, design where asked for, proofs."""

from __future__ import annotations

from decimal import Decimal

from msgspec import Struct

from quoting.formulas import Do, formula
from quoting.requirements import Labour
from quoting.units import Duration


class PrepressRates(Struct, frozen=True, forbid_unknown_fields=True):
    """Minutes a form from artwork to plate-ready, a design, a screen proof round, beside a press proof."""

    artwork: Duration
    design: Duration
    screen_proof: Duration
    press_proof: Duration


@formula(
    unit="min",
    sentence="{forms} forms × {artwork} min + {designs} designs × {design} min + {rounds} rounds × {screen_proof} min",
)
def prepress_minutes(
    *, forms: int, artwork: Decimal, designs: int, design: Decimal, rounds: int, screen_proof: Decimal
) -> Decimal:
    """Minutes before anything is set or made. [min]"""
    return forms * artwork + designs * design + rounds * screen_proof


def prepress_labour(
    do: Do, rates: PrepressRates, *, item: int, label: str, forms: int, designs: int, rounds: int, person: str
) -> Labour:
    """Prepress of one item: its forms, its designs, its screen proof rounds."""
    minutes = do(
        prepress_minutes,
        forms=forms,
        artwork=rates.artwork.in_base_unit,
        designs=designs,
        design=rates.design.in_base_unit,
        rounds=rounds,
        screen_proof=rates.screen_proof.in_base_unit,
    )
    return Labour(
        operation="Prepress",
        what=f"{label}: artwork and screen proofs",
        item=item,
        driver=Decimal(forms + designs + rounds),
        driver_unit="forms, designs and proof rounds",
        person=person,
        minutes=minutes,
        steps=do.taken(),
    )

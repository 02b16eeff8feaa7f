"""Minutes at the benches."""

from __future__ import annotations

from fractions import Fraction

from tests.independent.card import CLEAN, Card, Table
from tests.independent.counts import Counted, Fed
from tests.independent.ledger import Ledger
from tests.independent.measures import length, measure, size, up
from tests.independent.parts import Form, PlannedPart, Printing, fount_changes, is_low, letters


def screen_minutes(card: Card, job: Table) -> Fraction:
    """Rounds of screen proofs, one where the job does not say."""
    rounds: int = job.get("proofs", {}).get("screen_rounds", 1)
    return rounds * card.number("prepress", "screen_proof")


def part_minutes(part: PlannedPart, count: Counted, ledger: Ledger) -> None:
    """Everything that a part takes at the benches and the press, finishing apart."""
    card, item, press = part.card, part.item_place, part.told.press
    ledger.labour("Prepress", item, card.who("prepress"), _prepress(part))
    for printing in part.passes:
        for form in printing.forms:
            if form.asked["kind"] == "hand-set":
                ledger.labour("Composing", item, card.who("composing"), _composing(printing, form))
        ledger.labour("Lock-up", item, card.who("stone"), lock_up(printing) + _relocks(printing))
        if printing.kind != "plate":
            ledger.labour("Form washing", item, card.who("stone"), card.number("stone", "form_washing"))
    person = card.who("presswork")
    for one in count.passes:
        ledger.labour("Pins and packing", item, person, _pins(one.printing), press)
        ledger.labour("Make-ready", item, person, make_ready(one.printing), press)
        ledger.labour("Running", item, person, _running(one), press)
        ledger.labour("Re-inking", item, person, _reinking(one), press)
        if one.printing.ink and one.printing.share > card.number("packing", "interleave_over"):
            minutes = Fraction(one.good, 100) * card.number("packing", "interleave_100")
            ledger.labour("Interleaving", item, person, minutes)
    _cutting(part, count, ledger)


def minutes_at_press(one: Fed) -> Fraction:
    """How long a pass keeps its press busy, inking and washing apart."""
    return _pins(one.printing) + make_ready(one.printing) + _running(one) + _reinking(one)


def press_proof_minutes(part: PlannedPart) -> Fraction:
    """Every form's lock-up, make-ready and wash to clean once more, and what stands beside them."""
    washes = sum((part.card.washes[one.ink, CLEAN] for one in part.passes if one.ink), Fraction(0))
    forms = sum((lock_up(one) + make_ready(one) for one in part.passes), Fraction(0))
    return forms + washes + part.card.number("prepress", "press_proof")


def _prepress(part: PlannedPart) -> Fraction:
    card = part.card
    total = Fraction(0)
    for printing in part.passes:
        versions = part.versions if printing.colour.get("version_lines") else 1
        for form in printing.forms:
            if form.asked["kind"] != "plate":
                continue
            wanted = form.asked.get("artwork", "to be made ready")
            if wanted == "to be made ready":
                total += versions * card.number("prepress", "artwork")
            elif wanted == "to be designed":
                total += versions * card.number("prepress", "design")
    return total


def _composing(printing: Printing, form: Form) -> Fraction:
    part, asked = printing.part, form.asked
    rates = {name: measure(written) for name, written in part.card["composing"].items() if isinstance(written, str)}
    lines = asked.get("lines", [])
    founts = part.card["founts"]
    in_metal = sum(letters(line) for line in lines if founts[line["fount"]]["material"] == "metal")
    in_wood = sum(letters(line) for line in lines) - in_metal
    first = rates["colour_break"] if asked.get("broken_out") else rates["form"]
    display = len(lines) * rates["line"] + in_metal * rates["letter"] + fount_changes(lines) * rates["fount_change"]
    display += sum(bool(line.get("letterspaced")) for line in lines) * rates["letterspaced_line"]
    display += asked.get("borders", 0) * rates["border"]
    wood = in_wood * (rates["wood_letter"] + rates["wood_underlay"])
    text = Fraction(0)
    if "text" in asked:
        text += asked["text"]["ems"] / measure(founts[asked["text"]["fount"]]["ems_an_hour"]) * 60
    further = Fraction(0)
    if printing.versions > 1:
        share = Fraction(printing.colour["version_lines"], max(1, len(lines)))
        further = (display + wood + text) * share * (printing.versions - 1)
    settings: Fraction = first + display + wood + text + further
    return settings * part.copies * (1 + rates["correcting"] + rates["distributing"])


def lock_up(printing: Printing) -> Fraction:
    """The first lock-up of a form."""
    if printing.kind == "plate":
        return printing.part.card.number("stone", "plate")
    several = printing.kind == "wood type" or printing.part.copies > 1
    return printing.part.card.number("stone", "wood_or_several" if several else "hand_set")


def _relocks(printing: Printing) -> Fraction:
    rates = printing.part.card["stone"]
    relocks = printing.versions - 1
    if printing.kind != "plate":
        relocks += rates["relocks_a_hand_set_form"]
    return relocks * measure(rates["relock"])


def _pins(printing: Printing) -> Fraction:
    card, minutes = printing.part.card, printing.part.card.number("make_ready", "pins")
    if printing.place == 0:
        minutes += card.number("make_ready", "packing")
        if length(printing.part.stock["caliper"]) > length(card["make_ready"]["thick_board_over"]):
            minutes += card.number("make_ready", "thick_board")
    return minutes + (card.number("make_ready", "underlay") if is_low(printing) else 0)


def make_ready(printing: Printing) -> Fraction:
    """Of one pass, and anew for each version of it."""
    part, card = printing.part, printing.part.card
    rates = card["make_ready"]
    scarce = any(form.is_scarce for form in printing.forms)
    base = {"plate": "plate", "metal type": "metal_type"}.get(printing.kind, "scarce_or_wood")
    minutes = measure(rates["scarce_or_wood" if scarce else base])
    if printing.is_second_side:
        minutes *= measure(rates["second_side_factor"])
    if printing.register != "none":
        minutes += measure(rates[f"{printing.register}_register"])
    if printing.share > measure(rates["solid_over"]):
        minutes += measure(rates["solid"])
    side = "front" if printing.side == "both" else printing.side
    if part.part[side].get("impression", "visible") == "deep" and part.stock_class.get("deep_make_ready"):
        minutes += measure(rates["deep"])
    width, height = size(card["presses"][part.told.press]["chase"])
    if printing.area > measure(rates["large_form_over"]) * width * height:
        minutes += measure(rates["large_form"])
    return minutes * (1 + (printing.versions - 1) * measure(rates["version_share"]))


def _running(one: Fed) -> Fraction:
    printing, part = one.printing, one.printing.part
    press = part.card["presses"][part.told.press]
    speed = measure(press["speeds"][part.stock["stock_class"]]) * measure(press["treadle_factor"])
    if printing.register == "close":
        speed *= measure(press["close_register_factor"])
    if printing.colour.get("double_rolled"):
        speed *= measure(press["double_rolled_factor"])
    is_round = part.is_ready_cut and part.part.get("shape") == "round"
    if is_round and (printing.place or printing.is_second_side):
        speed *= measure(press["round_blank_factor"])
    usual: int = min(one.fed, press["long_run_over"])
    return (usual + (one.fed - usual) / measure(press["long_run_factor"])) / speed * 60


def _reinking(one: Fed) -> Fraction:
    printing, part = one.printing, one.printing.part
    if printing.ink is None:
        return Fraction(0)
    card, press = part.card, part.card["presses"][part.told.press]
    film = measure(card["inking"]["reference_film"]) * measure(part.stock_class["film_factor"])
    film *= measure(card["inks"][printing.ink]["film_factor"])
    a_pull = printing.area / 1_000_000 * printing.share * film
    carried = measure(press["ink_carried"]) * measure(press["usable_ink"])
    return one.pulls * a_pull / carried * card.number("running", "reinking_stop")


def _cutting(part: PlannedPart, count: Counted, ledger: Ledger) -> None:
    card, told = part.card, part.told
    last = count.passes[-1].good if count.passes else count.sheets
    piles = [(count.from_stock, told.cuts_to_size, told.settings_to_size), (last, *part.cuts_to_pieces())]
    for sheets, cuts, settings in piles:
        if not cuts:
            continue
        lifts = up(sheets * length(part.stock["caliper"]) / measure(part.stock_class["lift"]))
        each = settings * card.number("cutting", "setting") + cuts * card.number("cutting", "cut")
        minutes = card.number("cutting", "set_up") + each * lifts
        ledger.labour("Cutting", part.item_place, card.who("cutting"), minutes, card["cutting"]["cutter"])

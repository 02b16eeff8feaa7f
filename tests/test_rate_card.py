"""A card is read whole or refused whole: with every fault of it, each by its file and its key."""

from __future__ import annotations

import copy
import re
import shutil
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from quoting import RateCard, RateCardError, load_rate_card
from quoting.bench.washing_up import CLEAN, WashingUpRates, wash_table
from quoting.errors import Fault
from quoting.rate_card import rate_card_from
from quoting.reader import json_data, to_json
from quoting.shop import Ink
from quoting.units import Amount, Duration, Factor, Mass, Share
from tests.conftest import SHOPS, demo_card_path

# In each file of a demo card a text that stands there, what is written for it, and the faults that follow.
PLANTED = {
    "bench.toml": ('cutter = "lever-cutter"', "cutter = 7", ["cutting.cutter"]),
    "delivery.toml": ('{ up_to = "2 lb", price = "8.50" }', '{ up_to = "2 m" }', ["delivery.ground.bands[0].price"]),
    "finishing.toml": ('kind = "scoring"', 'kind = "gilding"', ["finishing[0].kind"]),
    "inks.toml": ('reference_film = "3.4 g/m2"', "reference_film = 3.4", ["inking.reference_film"]),
    "people.toml": ('wage = "38400.00"', 'wage = "0"', ["people.owner"]),
    "presses.toml": ('chase = "12 x 8 in"', 'chase = "0 x 8 in"', ["presses.platen-8x12.chase"]),
    "pricing.toml": ('way = "up"', 'way = "sideways"', ["pricing.rounding.way"]),
    "shop.toml": ('currency = "USD"', 'currency = "dollars"', ["region.currency"]),
    "stocks.toml": ('grain = "long"', 'grain = "long"\nhue = "white"', ["stocks.cotton-110.hue"]),
    "type_and_plates.toml": ("working_days = 4", "working_days = -4", ["plate_suppliers.ridgeway.working_days"]),
}
MORE_FAULTS = {"delivery.ground.bands[0].up_to"}


def copied(shop: str, folder: Path) -> Path:
    """A demo card in a folder of its own."""
    return Path(shutil.copytree(demo_card_path(shop), folder / "card"))


def rewrite(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def data_of(shop: str) -> dict[str, Any]:
    """A demo card as plain data."""
    data: dict[str, Any] = json_data(to_json(load_rate_card(demo_card_path(shop))))
    return data


def faults_of(data: dict[str, Any]) -> tuple[Fault, ...]:
    with pytest.raises(RateCardError) as raised:
        rate_card_from(data)
    return raised.value.faults


def faults_at(path: Path) -> tuple[Fault, ...]:
    with pytest.raises(RateCardError) as raised:
        load_rate_card(path)
    return raised.value.faults


@pytest.fixture
def data() -> dict[str, Any]:
    return data_of("pellam-hollow")


@pytest.mark.parametrize(
    ("shop", "name", "currency"),
    [
        ("marrowby-lane", "Marrowby Lane Press", "GBP"),
        ("pellam-hollow", "Pellam Hollow Letterpress", "USD"),
    ],
)
def test_both_demo_cards_are_read(shop: str, name: str, currency: str) -> None:
    card = load_rate_card(demo_card_path(shop))

    assert (name, currency) == (card.letterhead.name, card.region.currency)
    assert min(len(card.presses), len(card.stocks), len(card.inks), len(card.finishing)) >= 3


# Hours and rates


def rounding_of_a_year(card: RateCard) -> Decimal:
    """What rounding every hour rate to 0.0001 may make of a year."""
    hours = sum((person.chargeable_hours for person in card.people.values()), Decimal(0))
    machines = (*card.presses, *card.machines)
    hours += sum((card.machine_year(name).hours for name in machines), Decimal(0))
    return hours * Decimal("0.00005")


@pytest.mark.parametrize("shop", SHOPS)
def test_hours_at_their_rates_are_the_years_cost_but_for_rounding(shop: str, cards: dict[str, RateCard]) -> None:
    sold, spent = cards[shop].year_reconciled()

    assert spent > 0
    assert abs(sold - spent) <= rounding_of_a_year(cards[shop])


@pytest.mark.parametrize("shop", SHOPS)
@given(wage=st.integers(1, 10_000_000), chargeable=st.integers(1, 100), general=st.integers(0, 10_000_000))
def test_they_are_so_whatever_the_wage(
    shop: str, wage: int, chargeable: int, general: int, cards: dict[str, RateCard]
) -> None:
    card = cards[shop]
    owner = replace(card.people["owner"], wage=Amount(f"{wage / 100:.2f}"), chargeable=Share(f"{chargeable} %"))
    card = replace(card, people={**card.people, "owner": owner}, general_expense=Amount(f"{general / 100:.2f}"))

    sold, spent = card.year_reconciled()

    assert abs(sold - spent) <= rounding_of_a_year(card)


# The comment at the head of people.toml.
def test_an_hour_of_the_owner_and_of_the_hand_cost_what_the_card_says_in_its_comments(
    cards: dict[str, RateCard],
) -> None:
    card = cards["pellam-hollow"]

    assert [Decimal(54), Decimal(36)] == [card.person_rate("owner"), card.person_rate("hand")]
    assert [Decimal(4), Decimal(8), Decimal(0)] == [
        card.machine_rate("lever-cutter"),
        card.machine_rate("platen-10x15"),
        card.machine_rate(None),
    ]


def test_a_wage_of_0_needs_a_reason(data: dict[str, Any]) -> None:
    data["people"]["owner"]["wage"] = "0"

    (fault,) = faults_of(data)

    assert fault.where == "people.owner"
    assert "unpaid_because" in fault.expected


def test_with_a_reason_a_wage_of_0_is_read(data: dict[str, Any]) -> None:
    data["people"]["owner"] |= {"wage": "0", "unpaid_because": "a friend on Saturdays"}

    assert rate_card_from(data).people["owner"].wage == 0


# One of two


@pytest.mark.parametrize(
    "handling",
    [
        {"charged": "in the hour rate", "orders": {"plain": "45 min"}},
        {"charged": "by the job", "orders": {}},
        {"charged": "by the job"},
    ],
    ids=repr,
)
def test_handling_is_charged_by_the_job_or_in_the_rate_and_never_both(
    handling: dict[str, Any], data: dict[str, Any]
) -> None:
    data["handling"] = handling

    (fault,) = faults_of(data)

    assert fault.where == "handling"
    assert fault.expected.startswith("minutes in orders where handling is charged by the job, and none where")


MARK_UPS = {"labour": "35 %", "materials": "25 %", "bought_in": "20 %"}


@pytest.mark.parametrize("ruling", [{}, {"mark_ups": MARK_UPS, "target_margin": "30 %"}], ids=["neither", "both"])
def test_mark_ups_or_a_target_margin_rule_a_card_and_never_both(ruling: dict[str, Any], data: dict[str, Any]) -> None:
    data["pricing"].pop("mark_ups", None)
    data["pricing"].pop("target_margin", None)
    data["pricing"] |= ruling

    (fault,) = faults_of(data)

    assert fault.where == "pricing"
    assert fault.expected.startswith("exactly one of mark_ups")


WEEK = [f"{day}day" for day in ("mon", "tues", "wednes", "thurs", "fri", "satur", "sun")]


@pytest.mark.parametrize(
    ("table", "key", "value", "where"),
    [
        ("tax", "delivery", "with the goods", "tax"),
        ("tax", "standing", "not registered", "tax"),
        ("working_days", "press_hours", "8 h", "working_days"),
        ("working_days", "closed", WEEK, "working_days"),
        ("region", "time_zone", "Europe/Atlantis", "region"),
        ("pricing", "target_margin", "95 %", "pricing"),
        ("pricing", "commission", "60 %", "pricing"),
        ("spoilage", "register_colour", "10 %", "spoilage"),
        ("packing", "parcel_mass", "0 g", "packing"),
    ],
)
def test_a_table_that_contradicts_itself_is_refused(
    table: str, key: str, value: Any, where: str, data: dict[str, Any]
) -> None:
    data[table][key] = value

    assert [where] == [fault.where for fault in faults_of(data)]


@pytest.mark.parametrize(
    ("stock_class", "bands"),
    [("card", [{"above": 5, "rate": "2 %"}]), ("text", [{"above": 0, "rate": "2 %"}, {"above": 0, "rate": "1 %"}])],
)
def test_spoilage_bands_rise_from_nothing(
    stock_class: str, bands: list[dict[str, Any]], data: dict[str, Any]
) -> None:
    data["stock_classes"][stock_class]["running_spoilage"] = bands

    assert [f"stock_classes.{stock_class}"] == [fault.where for fault in faults_of(data)]


@pytest.mark.parametrize("marks", [[2], [1, 500, 250], [1, 1]])
def test_price_bands_rise_from_one(marks: list[int], data: dict[str, Any]) -> None:
    data["stocks"]["cotton-110"]["prices"] = [{"at_least": mark, "price": "1.00"} for mark in marks]

    assert [fault.where for fault in faults_of(data)] == ["stocks.cotton-110"]


# Names across tables


def test_unknown_names_in_every_table_are_told_at_once(data: dict[str, Any]) -> None:
    data["worked_by"]["stone"] = "apprentice"
    data["worked_by"]["packing"] = "cat"
    data["cutting"]["cutter"] = "scissors"
    data["machines"]["platen-8x12"] = data["machines"]["scoring-table"]
    data["stocks"]["cotton-110"]["stock_class"] = "silk"
    data["presses"]["flat-bed"]["speeds"]["vellum"] = "50 an hour"
    data["inks"]["black"]["mixing"] = "by moonlight"
    del data["washing_up"]["minutes"]["dark"]["white"]
    del data["washing_up"]["minutes"]["light"]["clean"]
    data["finishing"][0]["machine"] = "mangle"
    data["finishing"].append(copy.deepcopy(data["finishing"][1]))
    data["offers"][0]["stocks"].append("papyrus")
    data["offers"][0]["inks"].append("sepia")
    last = len(data["finishing"]) - 1

    faults = faults_of(data)

    assert {
        "worked_by.stone": "'apprentice'",
        "worked_by.packing": "'cat'",
        "cutting.cutter": "'scissors'",
        "machines.platen-8x12": "'platen-8x12'",
        "stocks.cotton-110.stock_class": "'silk'",
        "presses.flat-bed.speeds.vellum": "'vellum'",
        "inks.black.mixing": "'by moonlight'",
        "washing_up.minutes.dark.white": "nothing",
        "washing_up.minutes.light.clean": "nothing",
        "finishing[0].machine": "'mangle'",
        f"finishing[{last}].kind": "'folding'",
        "offers[0].stocks": "'papyrus'",
        "offers[0].inks": "'sepia'",
    } == {fault.where: fault.found for fault in faults}


def test_an_unknown_name_is_told_with_the_known_ones(data: dict[str, Any]) -> None:
    data["worked_by"]["stone"] = "apprentice"

    assert [Fault("worked_by.stone", "one of owner, hand", "'apprentice'")] == list(faults_of(data))


def test_a_stock_priced_by_the_pack_says_how_many_are_in_it(data: dict[str, Any]) -> None:
    data["stocks"]["cotton-110"] |= {"price_unit": "pack", "pack": 1}

    assert [fault.where for fault in faults_of(data)] == ["stocks.cotton-110.pack"]


# Files


def test_a_key_in_two_files_is_told_with_both(tmp_path: Path) -> None:
    folder = copied("pellam-hollow", tmp_path)
    rewrite(folder / "pricing.toml", "risk_common_factor", 'general_expense = "1.00"\nrisk_common_factor')

    (fault,) = faults_at(folder)

    assert fault.where == "general_expense"
    assert {"people.toml", "pricing.toml"} == set(re.findall(r"\w+\.toml", str(fault)))


@pytest.mark.parametrize(
    ("written", "found"),
    [("", "nothing"), ("format = 2", "2"), ('format = "1"', "'1'"), ("format = 1.5", "Decimal('1.5')")],
)
def test_a_card_of_another_format_is_refused_before_anything_else_of_it(
    written: str, found: str, tmp_path: Path
) -> None:
    folder = copied("pellam-hollow", tmp_path)
    rewrite(folder / "shop.toml", "format = 1", written)
    rewrite(folder / "pricing.toml", 'way = "up"', 'way = "sideways"')

    (fault,) = faults_at(folder)

    assert (fault.where, fault.expected) == ("format", "format = 1")
    assert found in fault.found


@pytest.mark.parametrize("written", ["true", "1.0", "0x1_0", "[1]"])
def test_a_format_that_only_looks_like_1_is_refused(written: str, tmp_path: Path) -> None:
    folder = copied("pellam-hollow", tmp_path)
    rewrite(folder / "shop.toml", "format = 1", f"format = {written}")

    assert [fault.where for fault in faults_at(folder)] == ["format"]


def test_a_broken_card_lists_every_planted_fault_with_its_file_and_key(tmp_path: Path) -> None:
    folder = copied("pellam-hollow", tmp_path)
    for name, (old, new, _) in PLANTED.items():
        rewrite(folder / name, old, new)

    faults = faults_at(folder)

    planted = {(name, where) for name, (_, _, places) in PLANTED.items() for where in places}
    planted |= {("delivery.toml", where) for where in MORE_FAULTS}
    assert planted == {(fault.file, fault.where) for fault in faults}
    assert len(planted) == len(faults)


def test_unknown_names_are_told_with_the_file_that_holds_them(tmp_path: Path) -> None:
    folder = copied("pellam-hollow", tmp_path)
    rewrite(folder / "people.toml", 'stone = "hand"', 'stone = "apprentice"')
    rewrite(folder / "stocks.toml", 'stock_class = "cotton"', 'stock_class = "silk"')

    assert {("people.toml", "worked_by.stone"), ("stocks.toml", "stocks.cotton-110.stock_class")} == {
        (fault.file, fault.where) for fault in faults_at(folder)
    }


def test_files_that_are_no_toml_are_all_told(tmp_path: Path) -> None:
    folder = copied("pellam-hollow", tmp_path)
    rewrite(folder / "shop.toml", "format = 1", "format = ")
    rewrite(folder / "inks.toml", "[inking]", "[inking")
    (folder / "stocks.toml").write_bytes(b'name = "\xff"')

    assert {"shop.toml", "inks.toml", "stocks.toml"} == {fault.file for fault in faults_at(folder)}


def test_a_folder_without_files_and_a_path_that_is_nowhere_are_refused(tmp_path: Path) -> None:
    assert [fault.expected for fault in faults_at(tmp_path)] == ["TOML files in the folder"]
    assert [fault.expected for fault in faults_at(tmp_path / "card.toml")] == ["a readable TOML file"]


def test_a_table_left_out_is_told(tmp_path: Path) -> None:
    folder = copied("pellam-hollow", tmp_path)
    (folder / "presses.toml").unlink()
    (folder / "delivery.toml").unlink()

    assert {("presses", "nothing"), ("delivery", "nothing")} == {
        (fault.where, fault.found) for fault in faults_at(folder)
    }


# The content hash


def in_one_file(folder: Path) -> str:
    """A folder's card as one text: what stands before the first table of each file comes first."""
    heads, tables = [], []
    for path in sorted(folder.glob("*.toml")):
        text = path.read_text(encoding="utf-8")
        first_table = re.search(r"^\[", text, re.MULTILINE)
        end = first_table.start() if first_table else len(text)
        heads.append(text[:end])
        tables.append(text[end:])
    return "\n".join([*heads, *tables])


def without_comments(text: str) -> Iterator[str]:
    """The lines of a TOML text without comments: a mark of one that stands in no quotes begins it."""
    for line in text.splitlines():
        kept = re.match(r"""(?:[^"'#]|"(?:\\.|[^"\\])*"|'[^']*')*""", line)
        if kept and kept[0].strip():
            yield kept[0].rstrip()


@pytest.mark.parametrize("shop", SHOPS)
def test_the_hash_leaves_out_comments_and_layout(shop: str, cards: dict[str, RateCard], tmp_path: Path) -> None:
    path = tmp_path / "card.toml"
    path.write_text("\n\n".join(without_comments(in_one_file(demo_card_path(shop)))), encoding="utf-8")

    card = load_rate_card(path)

    assert "#" not in re.sub(r'"[^"]*"', "", path.read_text(encoding="utf-8"))
    assert cards[shop] == card
    assert cards[shop].content_hash == card.content_hash


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("people.toml", "38400.00", "38400.01"),
        ("stocks.toml", '"Quarry cover, charcoal, 80 lb cover"', '"Quarry cover, charcoal"'),
        ("inks.toml", "pale = true", "pale = false"),
        ("bench.toml", "20 (10-60) min", "20 (10-61) min"),
        ("shop.toml", "2026-12-24, ", ""),
        ("pricing.toml", '"good cause"', '"a good cause"'),
    ],
)
def test_the_hash_changes_with_the_content(
    name: str, old: str, new: str, cards: dict[str, RateCard], tmp_path: Path
) -> None:
    folder = copied("pellam-hollow", tmp_path)
    rewrite(folder / name, old, new)

    assert cards["pellam-hollow"].content_hash != load_rate_card(folder).content_hash


def test_tables_in_another_order_are_the_same_card(cards: dict[str, RateCard], data: dict[str, Any]) -> None:
    card = cards["pellam-hollow"]
    for table in ("people", "machines", "presses", "stocks", "inks", "founts"):
        data[table] = dict(reversed(data[table].items()))

    again = rate_card_from(dict(reversed(data.items())))

    assert card == again
    assert card.content_hash == again.content_hash


# Washes


def is_closed(table: dict[tuple[str, str], Decimal], inks: list[str]) -> bool:
    """Whether no wash is dearer than one through a third ink, or than washing clean."""
    by_a_third = all(
        table[before, after] <= table[before, through] + table[through, after]
        for before in inks
        for through in inks
        for after in [*inks, CLEAN]
    )
    return by_a_third and all(table[before, after] <= table[before, CLEAN] for before in inks for after in inks)


@pytest.mark.parametrize("shop", SHOPS)
def test_the_wash_table_of_a_demo_card_is_closed(shop: str, cards: dict[str, RateCard]) -> None:
    card = cards[shop]
    table = wash_table(card.washing_up, card.inks)

    assert {(before, after) for before in card.inks for after in [*card.inks, CLEAN]} == set(table)
    assert is_closed(table, list(card.inks))
    assert {Decimal(0)} == {table[ink, ink] for ink in card.inks}


SHADES = ("light", "dark", "metallic", "white")


def ink_of(shade: str) -> Ink:
    return Ink(
        name=shade,
        shade=shade,
        price=Amount("10"),
        price_mass=Mass("500 g"),
        mixing="from the tin",
        least_charge=Amount("1"),
        film_factor=Factor("1"),
    )


@given(minutes=st.lists(st.integers(0, 60), min_size=20, max_size=20))
def test_any_wash_table_is_closed_and_no_wash_is_dearer_than_the_card_says(minutes: list[int]) -> None:
    said = iter(minutes)
    rates = WashingUpRates(
        {before: {after: Duration(f"{next(said)} min") for after in (*SHADES, CLEAN)} for before in SHADES}
    )

    table = wash_table(rates, {shade: ink_of(shade) for shade in SHADES})

    assert is_closed(table, list(SHADES))
    assert all(table[before, after] <= rates.minutes[before][after] for before, after in table)

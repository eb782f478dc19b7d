"""What a lot cost: the form of the sum, filled in from the lot's page."""

from __future__ import annotations

import html
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

import pytest

from swatchvault.web.costs import LINES, cost_form

pytestmark = pytest.mark.anyio


def told(form: str | None) -> dict[str, str]:
    return {k: v[0] for k, v in parse_qs(form or "").items()}


def test_what_is_known_is_filled_in_and_the_rest_is_left() -> None:
    skeins = [{"base": "Lumme", "grams_in": 100.0, "grams_out": 99.0}] * 2
    form = told(
        cost_form([("Ember", 0.6), ("Tarn", None), ("Ember", 0.25)], {"Lumme": 58.0}, 200, skeins)
    )
    assert (form["kind1"], form["name1"], form["amount1"]) == ("powder", "Ember", "0.85 g")
    assert form["name2"] == "Tarn" and "amount2" not in form and "price1" not in form
    assert (form["kind3"], form["amount3"], form["price3"]) == ("base", "200 g", "58")
    assert (form["skein1"], form["skein2"]) == ("99 g", "99 g")


def test_a_skein_that_is_not_told_of_is_not_left_out() -> None:
    skeins = [{"base": "Lumme", "grams_in": 100.0, "grams_out": None}]
    assert told(cost_form([], {"Lumme": 58.0}, 200, skeins))["amount1"] == "200 g"


def test_of_a_broken_skein_the_pieces_are_weighed() -> None:
    of = {"lot": "L", "base": "Lumme"}
    skeins = [
        {**of, "skein": "a", "grams_in": 100.0, "grams_out": None},
        {**of, "skein": "b", "grams_in": None, "grams_out": 60.0, "was_lot": "L", "was_skein": "a"},
        {**of, "skein": "c", "grams_in": None, "grams_out": 38.0, "was_lot": "L", "was_skein": "a"},
    ]
    form = told(cost_form([], {"Lumme": 58.0, "Orrin": None}, None, skeins))
    assert (form["skein1"], form["skein2"], form["amount1"]) == ("60 g", "38 g", "100 g")
    assert "skein3" not in form


def test_of_two_bases_only_what_was_weighed_is_told() -> None:
    skeins = [{"base": "Lumme", "grams_in": 100.0, "grams_out": None}]
    form = told(cost_form([], {"Lumme": None, "Orrin": None}, 200, skeins))
    assert form["amount1"] == "100 g" and "amount2" not in form


def test_auxiliaries_are_told_as_the_log_has_them_where_there_is_room() -> None:
    steps = [
        ("acid in", None, 40.0),
        ("salt in", 5.0, None),
        ("acid in", None, 10.0),
        ("acid in", 2.0, None),
        ("other auxiliary in", None, None),
    ]
    form = told(cost_form([("Ember", 0.6)], {"Lumme": 58.0}, 200, [], steps))
    lines = [[form.get(f"{key}{n}") for key in ("kind", "name", "amount")] for n in range(3, 7)]
    assert lines == [
        ["auxiliary", "acid", "50 mL"],
        ["auxiliary", "salt", "5 g"],
        ["auxiliary", "acid", "2 g"],
        [None, None, None],
    ]
    dyes = [(f"dye {n}", 1.0) for n in range(LINES)]
    assert "auxiliary" not in told(cost_form(dyes, {}, None, [], steps)).values()


def test_nothing_known_or_more_than_the_form_holds_is_no_form() -> None:
    assert cost_form([], {}, None, []) is None
    assert cost_form([(f"dye {n}", 1.0) for n in range(LINES + 1)], {}, None, []) is None


async def test_the_lots_page_leads_to_it_and_prices_are_all_that_is_missing(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE base SET price_per_kg = 58")
        (lot,) = conn.execute("SELECT id FROM lot WHERE code = 'NF-1'").fetchone()
    dyer = visitor("dyer")
    page = (await dyer.get(f"/lot/{lot}")).text
    (address,) = re.findall(r'href="(/sums\?fill=cost[^"]*)#cost"', page)
    assert "/sums?fill=cost" not in (await visitor("stranger").get(f"/lot/{lot}")).text
    form = await dyer.get(html.unescape(address))
    assert form.status_code == 200 and '<details id="cost" open>' in form.text
    fields = told(urlsplit(html.unescape(address)).query)
    assert fields["price3"] == "58" and fields["kind1"] == "powder"
    assert (fields["kind4"], fields["name4"]) == ("auxiliary", "acid")
    for value in (fields["name1"], fields["amount1"], fields["amount4"]):
        assert f'value="{value}"' in form.text
    del fields["fill"]
    prices = {"price1": "90", "price2": "90", "price4": "10"}  # of a kilogram, and of a litre
    answer = await dyer.get("/sums?" + urlencode({"sum": "cost", **fields, **prices}))
    assert answer.status_code == 200
    grams = sum(float(fields[f"amount{n}"].split()[0]) for n in (1, 2))
    yarn = float(fields["amount3"].split()[0])
    assert f"the lot {(yarn * 58 + grams * 90 + 40 * 10) / 1000:.2f}" in answer.text

"""On a pot's page: from which stock a dye came, put right; and a volume of powder, asked about."""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive import (
    DyePack,
    PlannedDye,
    PlannedStep,
    Recipe,
    RecipePart,
    add_dye_pack,
    add_recipe,
    open_archive,
)
from tests.web.test_pots import rows, start, step, token

pytestmark = pytest.mark.anyio

WENT_IN = "SELECT amount, stock_id, dye_g FROM lot_dye WHERE lot_id = ? ORDER BY position"


def pellow(studio: Path) -> tuple[int, int]:
    sql = "SELECT dye.id, stock.id FROM stock JOIN dye ON dye.id = dye_id WHERE name = 'Pellow red'"
    return rows(studio, sql)[0]  # type: ignore[return-value]


async def correction(client: Any, path: str, number: int) -> dict[str, str]:
    """The fields of the form that corrects a step, as it first comes."""
    page = (await client.get(f"{path}?edit={number}")).text
    form = page.split('id="correct"')[1].split("</section>")[0]
    fields = dict(re.findall(r'name="(was|at|dye\d|amount\d)" value="([^"]*)"', form))
    for name, options in re.findall(r'<select name="(source\d)">(.*?)</select>', form):
        chosen = re.search(r'value="([^"]*)" selected', options)
        assert chosen is not None
        fields[name] = chosen[1]
    return {**fields, "do": "edit", "number": str(number), "kind": "dye in"}


async def test_a_volume_of_powder_is_asked_about(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    dye, stock = pellow(studio)
    told = {"kind": "dye in", "dye1": f"{dye}:powder", "amount1": "20 mL"}
    refused = await dyer.post(path, step("powder", **told))
    page = html.unescape(refused.text)
    assert refused.status_code == 400 and 'name="really"' in page
    assert "Pellow red: 20 mL without a stock does not say how much dye that is" in page
    lot = int(path.rsplit("/", 1)[1])
    assert rows(studio, WENT_IN, lot) == []
    assert (await dyer.post(path, step("sure", **told, really="yes"))).status_code == 303
    assert rows(studio, WENT_IN, lot) == [("20 mL", None, None)]
    edit = await correction(dyer, path, 1)
    assert edit["source1"] == f"{dye}:powder"
    edit = {**edit, "source1": f"{dye}:{stock}", "once": token("e")}
    answer = await dyer.post(path, edit)
    assert answer.status_code == 303, answer.text
    assert rows(studio, WENT_IN, lot) == [("20 mL", stock, pytest.approx(0.2))]
    edit = await correction(dyer, path, 1)
    edit = {**edit, "source1": f"{dye}:powder", "once": token("e2")}
    refused = await dyer.post(path, edit)
    assert refused.status_code == 400 and "without a stock" in refused.text
    assert f'value="{dye}:powder" selected' in refused.text
    assert rows(studio, WENT_IN, lot) == [("20 mL", stock, pytest.approx(0.2))]


async def test_the_pack_of_powder_can_be_told_and_corrected(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    lot = int(path.rsplit("/", 1)[1])
    dye, _ = pellow(studio)
    with open_archive(studio) as archive:
        add_dye_pack(archive.conn, DyePack("Pellow red", "PEL-2"))
    packs = "SELECT amount, dye_pack.code, stock_id, dye_g FROM lot_dye "
    packs += "LEFT JOIN dye_pack ON dye_pack.id = dye_pack_id WHERE lot_id = ?"
    told = {"kind": "dye in", "dye1": f"{dye}:pack PEL-2", "amount1": "0.6 g"}
    page = html.unescape((await dyer.get(path)).text)
    assert f'value="{told["dye1"]}">Pellow red, powder of pack PEL-2<' in page
    assert (await dyer.post(path, step("pack", **told))).status_code == 303
    assert rows(studio, packs, lot) == [("0.6 g", "PEL-2", None, 0.6)]
    edit = await correction(dyer, path, 1)
    assert edit["source1"] == told["dye1"]
    for source, code in (("pack PEL-1", "PEL-1"), ("powder", None), ("pack PEL-2", "PEL-2")):
        sent = {**edit, "source1": f"{dye}:{source}", "once": token(source)}
        assert (await dyer.post(path, sent)).status_code == 303
        assert rows(studio, packs, lot) == [("0.6 g", code, None, 0.6)]
    assert "0.6 g of pack PEL-2" in (await dyer.get(path)).text


async def test_a_number_is_ml_of_a_stock_and_grams_of_powder(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    lot = int(path.rsplit("/", 1)[1])
    dye, stock = pellow(studio)
    fields = {"kind": "dye in", "dye1": f"{dye}:{stock}", "amount1": "60"}
    assert (await dyer.post(path, step("stock", **fields))).status_code == 303
    assert rows(studio, WENT_IN, lot) == [("60 mL", stock, pytest.approx(0.6))]
    for amount, source, was in (("90,5", stock, "90,5 mL"), ("0.5", "powder", "0.5 g")):
        edit = await correction(dyer, path, 1)
        sent = {**edit, "amount1": amount, "source1": f"{dye}:{source}", "once": token(amount)}
        assert (await dyer.post(path, sent)).status_code == 303
        assert rows(studio, WENT_IN, lot)[0][0] == was
    edit = await correction(dyer, path, 1)
    sent = {**edit, "amount1": "1,250", "once": token("thousands")}
    answer = await dyer.post(path, sent)
    assert answer.status_code == 400 and "write 1.250 or 1250" in answer.text
    fields = {"kind": "dye in", "dye1": f"{dye}:powder", "amount1": "0,4"}
    assert (await dyer.post(path, step("powder", **fields))).status_code == 303
    assert rows(studio, WENT_IN, lot)[1] == ("0,4 g", None, 0.4)


async def test_a_wrong_dye_is_put_right_in_its_step(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    lot = int(path.rsplit("/", 1)[1])
    dye, stock = pellow(studio)
    told = {"kind": "dye in", "dye1": f"{dye}:{stock}", "amount1": "20 mL"}
    assert (await dyer.post(path, step("red", **told))).status_code == 303
    await dyer.post(path, step("later", kind="look", left="some"))
    edit = await correction(dyer, path, 1)
    assert edit["source1"] == f"{dye}:{stock}"
    sql = "SELECT dye_id, stock.id FROM stock JOIN dye ON dye.id = dye_id WHERE name = ?"
    brown, of_brown = rows(studio, sql, "Brackle brown")[0]
    sent = {**edit, "source1": f"{brown}:{of_brown}", "once": token("brown")}
    assert (await dyer.post(path, sent)).status_code == 303
    which = "SELECT dye_id, stock_id, amount, dye_g, pot_step_id IS NOT NULL FROM lot_dye "
    which += "WHERE lot_id = ?"
    assert rows(studio, which, lot) == [(brown, of_brown, "20 mL", pytest.approx(0.2), 1)]
    refused = {**(await correction(dyer, path, 1)), "source1": f"{dye}:powder"}
    answer = await dyer.post(path, {**refused, "once": token("powder")})
    assert answer.status_code == 400 and "without a stock" in answer.text
    assert f'value="{dye}:powder" selected' in answer.text
    assert rows(studio, which, lot)[0][0] == brown


async def test_a_planned_powder_is_asked_for_its_pack(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    dye, _ = pellow(studio)
    path = await start(dyer, **{f"from-{dye}": "powder"})
    page = html.unescape((await dyer.get(f"{path}?step=2")).text)
    offered = page.partition("Pellow red, of which pack")[2].partition("</select>")[0]
    (name,) = re.findall(r'name="(dye\d)"', offered)
    assert f'value="{dye}:powder">pack not said<' in offered and ">pack PEL-1<" in offered
    sent = {"what": "2", name: f"{dye}:pack PEL-1", name.replace("dye", "amount"): "0.6 g"}
    assert (await dyer.post(path, step("planned", **sent))).status_code == 303
    sql = "SELECT code FROM lot_dye JOIN dye_pack ON dye_pack.id = dye_pack_id WHERE lot_id = ?"
    assert rows(studio, sql, int(path.rsplit("/", 1)[1])) == [("PEL-1",)]


async def test_each_step_offers_what_it_put_in(visitor: Callable[[str], Any], studio: Path) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    dye, stock = pellow(studio)
    told = {"kind": "dye in", "dye1": f"{dye}:{stock}"}
    for amount in ("10 mL", "20 mL"):
        assert (await dyer.post(path, step(amount, **told, amount1=amount))).status_code == 303
    edit = await correction(dyer, path, 1)
    assert edit["amount1"] == "10 mL" and "amount2" not in edit
    await dyer.post(path, {**edit, "amount1": "11 mL", "once": token("e")})
    lot = int(path.rsplit("/", 1)[1])
    assert [row[0] for row in rows(studio, WENT_IN, lot)] == ["11 mL", "20 mL"]


async def test_what_is_open_of_a_dye_that_goes_in_by_and_by_is_told(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyes = (PlannedDye("Pellow red", 0.3),)
    steps = tuple(PlannedStep(kind) for kind in ("dye in", "heat", "dye in"))
    part = RecipePart(dyes=dyes, steps=steps)
    with open_archive(studio) as archive:
        made = add_recipe(archive.conn, Recipe("Ninth Furrow", "Orrin four-ply", 9, 1, (part,)))
    dyer = visitor("dyer")
    path = await start(dyer, recipe=str(made.id), goods="200 g")
    said = html.unescape((await dyer.post(path, step("one", what="1", kind="dye in"))).text)
    assert "goes in more than once: say how much went in now, of 60 mL of Pellow red that" in said
    dye, stock = pellow(studio)
    told = {"what": "1", "kind": "dye in", "dye1": f"{dye}:{stock}", "amount1": "40 mL"}
    assert (await dyer.post(path, step("some", **told))).status_code == 303
    said = html.unescape((await dyer.post(path, step("two", what="3", kind="dye in"))).text)
    assert "of 20 mL of Pellow red that are open" in said

"""A lot held to its master by a form, and the check's page."""

from __future__ import annotations

import html
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive import open_archive
from swatchvault.checking import Ask, check_lot
from swatchvault.compare import PAIR_FLAGS
from swatchvault.photodoubt import u_of_mean
from swatchvault.web.checks import _compared, general_notes, own_flags, pair_flags
from swatchvault.web.said import difference_parts
from swatchvault.words import signed_figure
from tests.swatchvault.factories import covariance
from tests.web.test_yarn import ask, ids, once

pytestmark = pytest.mark.anyio


def lot_with_verdict(folder: Path, verdict: str) -> tuple[int, str, int]:
    """Lot's id and code, and the check's id."""
    sql = (
        "SELECT lot.id, lot.code, c.id FROM lot_check AS c JOIN lot ON lot.id = c.lot_id "
        "WHERE c.verdict = ? AND (SELECT count(*) FROM swatch WHERE swatch.lot_id = lot.id "
        "AND EXISTS (SELECT 1 FROM measurement WHERE swatch_id = swatch.id)) = 1"
    )
    row = ask(folder, sql, verdict)[0]
    return int(row[0]), str(row[1]), int(row[2])


@pytest.mark.parametrize("role", ["dyer", "helper"])
@pytest.mark.parametrize("verdict", ["within", "outside", "cannot tell"])
async def test_a_check_is_what_the_command_gives(
    role: str, verdict: str, visitor: Callable[[str], Any], studio: Path
) -> None:
    someone = visitor(role)
    lot_id, code, _ = lot_with_verdict(studio, verdict)
    token = once((await someone.get(f"/lot/{lot_id}")).text)
    before = ids(studio, "lot_check")
    paths = set()
    for _ in range(2):
        answer = await someone.post("/check/new", {"lot": str(lot_id), "once": token})
        assert answer.status_code == 303
        paths.add(answer.headers["location"])
    new = [i for i in ids(studio, "lot_check") if i not in before]
    assert len(new) == 1
    assert paths == {f"/check/{new[0]}"}
    with open_archive(studio) as archive:
        (check,) = check_lot(archive.conn, code, Ask()).given
    comparison = check.checked.comparison
    (kept,) = ask(studio, "SELECT verdict, delta_e_00, words FROM lot_check WHERE id = ?", new[0])
    assert kept == (verdict, comparison.difference.delta_e_00, comparison.words)
    text = html.unescape((await someone.get(f"/check/{new[0]}")).text)
    assert f"{comparison.difference.delta_e_00:.2f}</strong> (kL = " in text
    assert "Neither is the probability that the lot is good" in text
    told = comparison.difference
    for name, value, u in zip(("ΔL*", "ΔC*", "ΔH*"), told.d_lch, told.u_lch, strict=True):
        assert f"<dt>{name}</dt><dd>{signed_figure(value, u)}</dd>" in text and u > 0
    assert "A screen is no reference" in text
    if verdict == "cannot tell":
        assert comparison.what_next[0].text in text
        (capture,) = ask(studio, "SELECT capture FROM lot_check WHERE id = ?", new[0])[0]
        assert ("Take both in one frame" in text) == (capture != "same frame")
    else:
        assert "What would make it certain" not in text


async def test_what_a_form_asks_is_asked(visitor: Callable[[str], Any], studio: Path) -> None:
    lot_id, _, _ = lot_with_verdict(studio, "within")
    dyer = visitor("dyer")
    form = {"lot": str(lot_id), "tolerance": "0,5", "k_l": "1", "same_dyes": "yes"}
    form["once"] = once((await dyer.get(f"/check/new?lot={lot_id}")).text)
    answer = await dyer.post("/check/new", form)
    check_id = int(answer.headers["location"].rsplit("/", 1)[1])
    (kept,) = ask(studio, "SELECT tolerance, k_l FROM lot_check WHERE id = ?", check_id)
    assert kept == (0.5, 1.0)


async def test_a_lot_with_several_swatches_leads_to_its_checks(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    sql = "SELECT lot_id, count(*) FROM lot_check GROUP BY lot_id HAVING count(*) > 1"
    lot_id, many = ask(studio, sql)[0]
    dyer = visitor("dyer")
    form = {"lot": str(lot_id), "once": once((await dyer.get(f"/lot/{lot_id}")).text)}
    before = len(ids(studio, "lot_check"))
    answer = await dyer.post("/check/new", form)
    assert answer.headers["location"] == f"/lot/{lot_id}#checks"
    assert len(ids(studio, "lot_check")) == before + many


def measured_by_an_older_version(folder: Path, swatch_id: int) -> None:
    with sqlite3.connect(folder / "archive.db") as conn:
        conn.execute("DROP TRIGGER measurement_is_not_changed")
        conn.execute("UPDATE measurement SET version = '0' WHERE swatch_id = ?", (swatch_id,))


async def test_a_swatch_of_another_version_is_named_and_the_rest_is_checked(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    sql = "SELECT lot_id, count(*) FROM lot_check GROUP BY lot_id HAVING count(*) = 3"
    lot_id, many = ask(studio, sql)[0]
    sql = "SELECT c.swatch_id, label FROM lot_check AS c JOIN swatch ON swatch.id = c.swatch_id "
    swatch_id, label = ask(studio, sql + "WHERE c.lot_id = ? ORDER BY 1", lot_id)[0]
    measured_by_an_older_version(studio, swatch_id)
    dyer = visitor("dyer")
    said = f"{label} was measured by version 0 of the method, "
    assert said in html.unescape((await dyer.get(f"/check/new?lot={lot_id}")).text)
    page = html.unescape((await dyer.get(f"/lot/{lot_id}")).text)
    assert f"Left out of a check:</strong> swatch {label} cannot be held" in page and said in page
    before = len(ids(studio, "lot_check"))
    form = {"lot": str(lot_id), "once": once(page)}
    answer = await dyer.post("/check/new", form)
    assert answer.headers["location"] == f"/lot/{lot_id}#checks"
    assert len(ids(studio, "lot_check")) == before + many - 1


async def test_a_lot_of_another_version_than_its_master_says_so(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    lot_id, _, _ = lot_with_verdict(studio, "within")
    sql = "SELECT id, label FROM swatch WHERE lot_id = ?"
    swatch_id, label = ask(studio, sql, lot_id)[0]
    (colourway,) = ask(studio, "SELECT colourway_id FROM lot WHERE id = ?", lot_id)[0]
    dyer, said = visitor("dyer"), f"{label} was measured by version 0 of the method"
    page = (await dyer.get(f"/lot/{lot_id}")).text
    assert said not in page and "Left out of a check" not in page
    assert "No chart" not in (await dyer.get(f"/colourway/{colourway}")).text
    measured_by_an_older_version(studio, swatch_id)
    page = html.unescape((await dyer.get(f"/lot/{lot_id}")).text)
    assert f"No check yet.</strong> Swatch {label} cannot be held to its master" in page
    assert said in page and "Then check it." in page and "Left out of a check" not in page
    answer = await dyer.post("/check/new", {"lot": str(lot_id), "once": "a" * 22})
    assert answer.status_code == 400 and said in html.unescape(answer.text)
    page = html.unescape((await dyer.get(f"/colourway/{colourway}")).text)
    assert f"No chart: {said}" in page


@pytest.mark.parametrize(
    ("changed", "status", "words"),
    [
        ({"lot": ""}, 400, "lot is missing"),
        ({"lot": "x"}, 400, "lot cannot be read"),
        ({"lot": "999999"}, 404, "no lot of the number"),
        ({"tolerance": "wide"}, 400, "tolerance cannot be read"),
        ({"tolerance": "0"}, 400, "tolerance is 0, and must be above 0"),
        ({"tolerance": "1e308"}, 400, "needed a number above 0 and up to 1000"),
        ({"k_l": "-2"}, 400, "kL is -2, and must be above 0"),
        ({"form": "jumper"}, 400, "must be one of"),
        ({"form": "knit"}, 400, "has no swatch as knit"),
        ({"once": ""}, 400, "token"),
    ],
)
async def test_a_check_that_cannot_be_asked(
    changed: dict[str, str],
    status: int,
    words: str,
    visitor: Callable[[str], Any],
    studio: Path,
) -> None:
    (lot_id,) = ask(
        studio,
        "SELECT lot_id FROM lot_check WHERE lot_id NOT IN (SELECT lot_id FROM swatch "
        "WHERE form = 'knit' AND lot_id IS NOT NULL)",
    )[0]
    form = {"lot": str(lot_id), "once": "a" * 22, **changed}
    before = ids(studio, "lot_check")
    answer = await visitor("dyer").post("/check/new", form)
    assert answer.status_code == status
    assert words in html.unescape(answer.text)
    assert ids(studio, "lot_check") == before


async def test_a_lot_that_cannot_be_checked_says_why(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    (of_master,) = ask(
        studio,
        "SELECT lot_id FROM swatch JOIN master ON master.swatch_id = swatch.id WHERE (SELECT "
        "count(*) FROM swatch AS s WHERE s.lot_id = swatch.lot_id) = 1",
    )[0]
    (without,) = ask(
        studio,
        "SELECT id FROM lot WHERE colourway_id NOT IN (SELECT colourway_id FROM master) "
        "AND id IN (SELECT lot_id FROM swatch)",
    )[0]
    for lot_id, words in ((of_master, "is the master itself"), (without, "has no master as")):
        assert words in (await dyer.get(f"/check/new?lot={lot_id}")).text
        answer = await dyer.post("/check/new", {"lot": str(lot_id), "once": "a" * 22})
        assert answer.status_code == 400
        assert words in answer.text
        assert "swatchvault master" not in answer.text  # no command line on a phone
    assert (await dyer.get("/check/new")).status_code == 400
    assert (await dyer.get("/check/new?lot=1e3")).status_code == 400


async def test_a_lots_page_offers_no_check_that_would_be_refused(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    helper, button = visitor("helper"), ">Check against the master</button>"
    lot_id, swatch_id, label = ask(
        studio,
        "SELECT lot_id, min(id), label FROM swatch WHERE lot_id IN (SELECT id FROM lot WHERE "
        "colourway_id NOT IN (SELECT colourway_id FROM master)) GROUP BY lot_id "
        "HAVING count(*) = 1",
    )[0]
    page = html.unescape((await helper.get(f"/lot/{lot_id}")).text)
    assert button not in page and f"Swatch {label} has no master as" in page
    assert f'href="/swatch/{swatch_id}#master"' in page
    assert 'id="master"' in (await helper.get(f"/swatch/{swatch_id}")).text
    (of_master,) = ask(
        studio,
        "SELECT lot_id FROM swatch JOIN master ON master.swatch_id = swatch.id WHERE (SELECT "
        "count(*) FROM swatch AS s WHERE s.lot_id = swatch.lot_id) = 1",
    )[0]
    page = (await helper.get(f"/lot/{of_master}")).text
    assert button not in page and "is the master itself." in page
    checked, _, _ = lot_with_verdict(studio, "within")
    page = (await helper.get(f"/lot/{checked}")).text
    assert button in page and "No check yet." not in page


async def test_the_pictures_stand_side_by_side_in_corrected_colour(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    _, _, check_id = lot_with_verdict(studio, "outside")
    text = html.unescape((await dyer.get(f"/check/{check_id}")).text)
    pictures = re.findall(r'<img src="(/picture/[^"]+)"', text)
    assert len(pictures) == 2
    for address in pictures:
        answer = await dyer.get(address)
        assert answer.status_code == 200
        assert answer.headers["content-type"] == "image/jpeg"


def test_flags_of_both_sides_are_told_once() -> None:
    told = own_flags(["dark", "master: clipped", "new: clipped", "new: glare"])
    assert [(side, name) for side, name, _ in told] == [("both", "clipped"), ("new", "glare")]
    assert all(words for *_, words in told)


def test_flags_of_the_pair_are_told_open_and_once() -> None:
    wet = PAIR_FLAGS["one is wet"]
    told = pair_flags(["one is wet", "shadow differs", "new: glare"], [wet])
    assert [name for _, name, _ in told] == ["one is wet", "shadow differs"]
    assert told[1][2] == PAIR_FLAGS["shadow differs"] and told[0][2] != wet
    kept = general_notes(["Read this too.", *PAIR_FLAGS.values()])
    assert kept == ["Read this too."]


async def test_the_page_tells_each_flag_of_the_pair_outside_every_fold(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    sql = "SELECT id, verdict FROM lot_check WHERE detail LIKE '%\"shadow differs\"%'"
    found = ask(studio, sql)
    assert {"outside", "within"} <= {verdict for _, verdict in found}
    for check_id, _ in found:
        text = html.unescape((await visitor("dyer").get(f"/check/{check_id}")).text)
        assert text.count(PAIR_FLAGS["shadow differs"]) == 1
        open_part = re.sub(r"<details.*?</details>", "", text, flags=re.DOTALL)
        weakens = open_part.split("<h2>What weakens it</h2>")[1].split("<h2>")[0]
        assert PAIR_FLAGS["shadow differs"] in weakens and "noprint" not in weakens
        assert "--same-dyes" not in text


async def test_a_lot_with_a_swatch_is_sent_to_what_is_missing(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    lot_id, colourway_id = ask(
        studio,
        "SELECT id, colourway_id FROM lot WHERE colourway_id NOT IN (SELECT colourway_id FROM "
        "master) AND id IN (SELECT lot_id FROM swatch JOIN measurement ON swatch_id = swatch.id)",
    )[0]
    answer = await dyer.post("/check/new", {"lot": str(lot_id), "once": "a" * 22})
    page = html.unescape(answer.text)
    assert "Photograph a swatch" not in page and "the master, on its colourway's page" in page
    assert f'href="/colourway/{colourway_id}"' in page and "Back to the form" not in page
    assert f'href="/colourway/{colourway_id}"' in (await dyer.get(f"/check/new?lot={lot_id}")).text
    shown = (await dyer.get(f"/colourway/{colourway_id}")).text
    assert "Choose the master" in shown and "another swatch" not in shown
    with sqlite3.connect(studio / "archive.db") as conn:
        (empty,) = conn.execute(
            "INSERT INTO lot (code, colourway_id) VALUES ('Z-0', ?) RETURNING id", (colourway_id,)
        ).fetchone()
    answer = await dyer.post("/check/new", {"lot": str(empty), "once": "b" * 22})
    assert "Photograph a swatch of it" in answer.text
    assert f'href="/photos/new?lot={empty}"' in answer.text
    page = (await dyer.get(f"/check/new?lot={empty}")).text
    assert "It has no swatch yet" in page and 'action="/check/new"' not in page


async def test_a_master_in_another_form_can_still_be_asked_for(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    ((lot_id, swatch_id),) = ask(
        studio,
        "SELECT lot_id, swatch.id FROM swatch JOIN lot ON lot.id = lot_id WHERE code = 'NF-2' "
        "AND form = 'wound card'",
    )
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE swatch SET form = 'knit' WHERE id = ?", (swatch_id,))
    page = html.unescape((await dyer.get(f"/check/new?lot={lot_id}")).text)
    assert "has no master as knit" in page and "A master in another form is there: tick" in page
    form = {"lot": str(lot_id), "once": "c" * 22}
    assert (await dyer.post("/check/new", form)).status_code == 400
    kept = await dyer.post("/check/new", {**form, "across_forms": "yes"})
    assert kept.status_code == 303, kept.text


@pytest.mark.parametrize("page", ["check", "lot", "lot card", "colourway", "swatch"])
async def test_words_of_direction_are_no_verdict(
    page: str, visitor: Callable[[str], Any], studio: Path
) -> None:
    sql = (
        "SELECT c.id, c.lot_id, c.swatch_id, lot.colourway_id FROM lot_check AS c "
        "JOIN lot ON lot.id = c.lot_id WHERE c.verdict = 'within' AND c.words LIKE '%darker%'"
    )
    check, lot, swatch, colourway = ask(studio, sql)[0]
    where = {
        "check": f"/check/{check}",
        "lot": f"/lot/{lot}",
        "lot card": f"/lot/{lot}/card",
        "colourway": f"/colourway/{colourway}",
        "swatch": f"/swatch/{swatch}",
    }
    text = html.unescape((await visitor("dyer").get(where[page])).text)
    assert text.count("The verdict is the other word.") == 1


def test_what_was_compared_is_the_mean_and_not_the_newest() -> None:
    def photo(lightness: float, setup: int | None = 1) -> dict[str, Any]:
        told = {"lab": (lightness, 5.0, 6.0), "covariance": covariance(), "setup_id": setup}
        return {**told, "photo_sha256": f"{lightness:064.0f}"}

    sides = {"master": [photo(40.0), photo(44.0)], "lot": [photo(41.0)]}
    found = _compared({"delta_l": -1.0}, sides)
    assert found["master"]["lab"] == [42.0, 5.0, 6.0]
    # parts of L* are 0.1 x 1, 2, 3, 4: the first two are halved by a second photo
    assert found["master"]["u"][0] == pytest.approx((0.05 + 0.1 + 0.3 + 0.4) ** 0.5)
    assert found["lot"]["u"][0] == pytest.approx(1.0)
    assert _compared({"delta_l": -3.0}, sides) == {}  # the newest alone would give that
    assert _compared({"delta_l": -3.0}, {**sides, "lot": []}) == {}


def test_a_mean_over_two_set_ups_knows_what_each_shares() -> None:
    u = u_of_mean([covariance()] * 3, [1, 1, 2])
    assert u[0] == pytest.approx((0.1 / 3 + 0.2 / 3 + 0.3 * (4 + 1) / 9 + 0.4) ** 0.5)


async def test_the_colours_printed_give_the_difference_printed(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    """Of all checks of the demo, some of which are of the mean of several photos."""
    several = 0
    for check_id, told in ask(studio, "SELECT id, delta_l FROM lot_check"):
        text = html.unescape((await visitor("dyer").get(f"/check/{check_id}")).text)
        master, new = re.findall(r'chip.*?<span class="lab">L\* ([0-9.]+) ±', text, re.DOTALL)[:2]
        assert float(new) - float(master) == pytest.approx(told, abs=0.11)  # each to a tenth
        several += "which was compared; the picture is the newest" in text
    assert several


def test_parts_of_a_check_that_kept_no_doubt_have_none() -> None:
    check = {"delta_l": 1.25, "delta_c": None, "delta_h": -0.0}
    told = [("ΔL*", "+1.25"), ("ΔC*", "–"), ("ΔH*", "+0.00")]
    assert difference_parts(check, None) == told
    assert difference_parts(check, [0.4, None, None])[0] == ("ΔL*", "+1.25 ± 0.40")

"""Find, groups and gaps: the same as the commands, quick on a large archive, and refusals."""

from __future__ import annotations

import base64
import contextlib
import html
import io
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import quote

import numpy as np
import pytest

from swatchvault.archive import open_archive
from swatchvault.pair import Capture
from swatchvault.web.finds import DOUBT_OF, kept_colours
from tests.web.newphotos import jpeg

pytestmark = pytest.mark.anyio

EXAMPLES = Path(__file__).parents[2] / "example_archive"


def command(folder: Path, *args: str) -> Any:
    """What a command of the command line says as JSON."""
    from swatchvault.cli import main

    said = io.StringIO()
    with pytest.raises(SystemExit) as stop, contextlib.redirect_stdout(said):
        main([args[0], "--archive", str(folder), "--json", *args[1:]])
    assert stop.value.code == 0
    return json.loads(said.getvalue())


def shown(page: str) -> list[tuple[str, str, str]]:
    """Rank, swatch and figure of each hit."""
    found = re.findall(
        r'class="rank">(\d+)</span>.*?<bdi>([^<]*)</bdi>.*?class="figures">([^<]*)<', page, re.S
    )
    return [(rank, swatch, " ".join(figure.split())) for rank, swatch, figure in found]


def test_every_way_to_take_two_photos_has_its_words() -> None:
    assert set(DOUBT_OF) == {*(c.value for c in Capture), "a stated colour"}
    assert len(set(DOUBT_OF.values())) == len(DOUBT_OF)


@pytest.mark.parametrize(
    ("address", "args"),
    [
        ("what=45,20,-10", ["near", "45,20,-10"]),
        ("what=%237a4b90&form=skein", ["near", "#7a4b90", "--form", "skein"]),
        ("swatch=3&n=4&k_l=1", ["near", "3", "-n", "4", "--k-l", "1"]),
        (
            "what=50,5,5&fibre=wool&since=2026-04-01&dry=yes",
            ["near", "50,5,5", "--fibre", "wool", "--since", "2026-04-01", "--dry"],
        ),
        (
            "what=40,20,10&dye=Pellow+red&base=Orrin+four-ply",
            ["near", "40,20,10", "--dye", "Pellow red", "--base", "Orrin four-ply"],
        ),
        (
            "what=40,20,10&other=1&tolerance=15",
            ["near", "40,20,10", "--other-dyes", "--tolerance", "15"],
        ),
        ("what=45,20,-10&base=Orrin+four-ply", ["near", "45,20,-10", "--base", "Orrin four-ply"]),
        ("what=45,20,-10&tolerance=14,8", ["near", "45,20,-10", "--tolerance", "14.8"]),
        ("what=45,20,-10&tolerance=0.5", ["near", "45,20,-10", "--tolerance", "0.5"]),
        ("swatch=3&rank=looks&n=5", ["like", "3", "-n", "5"]),
    ],
)
async def test_hits_are_the_commands(
    address: str, args: list[str], visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    if "swatch=3" in address:
        db = dyer.datasette.get_database("archive")
        args[1] = (await db.execute("SELECT label FROM swatch WHERE id = 3")).first()[0]
    answer = await dyer.get(f"/find?{address}")
    assert answer.status_code == 200
    told = command(studio, *args)
    hits = shown(answer.text)
    assert ("within ΔE00 15 (kL = 2)." in answer.text) == ("other=1" in address)
    assert [(int(r), s) for r, s, _ in hits] == [(h["rank"], h["swatch"]) for h in told["hits"]]
    for (_, _, figure), hit in zip(hits, told["hits"], strict=True):
        assert f"{hit['distance']:.2f}" in figure
        if args[0] == "near":
            assert "?" in figure or hit["u"] is None or f"{hit['u']:.2f}" in figure
    ways = {DOUBT_OF.get(hit["photos"], "") for hit in told["hits"]}
    for way in ways - {""}:
        all_at_once = f"± is one standard uncertainty, {way}."
        each = answer.text.count(f"(± {html.escape(way)})".replace("&#x27;", "&#39;"))
        assert (all_at_once in html.unescape(answer.text)) is (len(ways) == 1)
        own = [h for h in told["hits"] if DOUBT_OF[h["photos"]] == way]
        assert each == (0 if len(ways) == 1 else len(own))
    for warning in told["warnings"]:
        assert warning.split(":")[0].split("'")[0] in answer.text


async def test_a_colour_that_no_surface_has_is_brought_back(visitor: Callable[[str], Any]) -> None:
    page = (await visitor("dyer").get("/find?l=50&c=250&h=30")).text
    assert "No surface that only reflects has C* 250" in page
    limit = [float(v) for v in re.search(r'data-limit="([^"]*)"', page)[1].split()]  # type: ignore[index]
    assert f"{limit[6]:.0f} is the most" in page
    assert float(re.search(r'name="c"[^>]*value="([^"]*)"', page)[1]) <= limit[6] + 0.1  # type: ignore[index]


@pytest.mark.parametrize(
    ("address", "status", "words"),
    [
        ("l=dark", 400, "L* cannot be read"),
        ("l=500&c=1&h=1", 400, "L* lies between"),
        ("what=500,0,0", 400, "is no colour"),
        ("what=%23xyz", 400, "no hex colour"),
        ("what=No+such+swatch", 404, "unknown swatch"),
        ("swatch=9999", 404, "not in the archive"),
        ("swatch=x", 400, "cannot be read"),
        ("by=photo&photo=none", 400, "send it again"),
        ("what=50,0,0&base=No+such", 404, "unknown base"),
        ("what=50,0,0&fibre=glass", 404, "ask for less"),
        ("what=50,0,0&since=1.3.2026", 400, "is no date: write a day such as 2026-03-01"),
        ("what=Qxzv", 404, "none like it: look through its swatches"),
        ("what=50,0,0&k_l=0", 400, "must be above 0"),
        ("what=50,0,0&other=1&tolerance=-1", 400, "must be above 0"),
        ("what=50,0,0&n=many", 400, "cannot be read"),
        ("by=typed&what=&l=55&c=25&h=30", 400, "nothing is typed: write L*, a*, b*"),
        ("by=typed&what=+&swatch=1", 400, "nothing is typed: write L*, a*, b*"),
    ],
)
async def test_a_search_that_cannot_be(
    address: str, status: int, words: str, visitor: Callable[[str], Any]
) -> None:
    answer = await visitor("dyer").get(f"/find?{address}")
    assert answer.status_code == status
    assert words in answer.text
    assert 'id="search"' in answer.text  # the page is there to try again


async def test_the_plane_is_drawn_for_a_lightness(visitor: Callable[[str], Any]) -> None:
    answer = await visitor("helper").get("/find/plane?l=40")
    assert answer.headers["content-type"].startswith("image/svg+xml")
    assert "style=" not in answer.text and "<circle" in answer.text
    assert (await visitor("helper").get("/find/plane?l=x")).status_code == 400


def measure_anew(conn: Any) -> None:
    """Swatch 3 once more, much lighter."""
    names = [r[1] for r in conn.execute("PRAGMA table_info(measurement)") if r[1] != "id"]
    taken = [
        {"lab_l": "90.0", "superseded_by": "NULL", "region": "'again'"}.get(n, n) for n in names
    ]
    conn.execute(
        f"INSERT INTO measurement ({', '.join(names)}) SELECT {', '.join(taken)} "
        "FROM measurement WHERE swatch_id = 3 LIMIT 1"
    )


async def test_colours_are_kept_until_something_is_measured(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    state = dyer.datasette.swatchvault.state
    await dyer.get("/find?what=45,20,10")
    first = state["colours"][None]
    await dyer.get("/find?what=20,20,10&form=knit")
    assert state["colours"][None] is first

    await dyer.datasette.get_database("archive").execute_write_fn(measure_anew)
    await dyer.get("/find?what=45,20,10")
    second = state["colours"][None]
    assert second is not first
    assert 90.0 in second.labs[:, 0] and 90.0 not in first.labs[:, 0]


async def test_a_kept_index_finds_what_a_plain_search_finds(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    from ingest.colour import delta_e_2000
    from swatchvault import nearby, queries, shades
    from swatchvault.archive import open_archive
    from swatchvault.archive.made import Filters, speaking_labs, swatches_where

    with open_archive(studio) as archive:
        kept = kept_colours(archive.conn, {})
        for lab in ([40, 20, 10], [70, -20, 30], [15, 0, -20]):
            query = queries.Query(shades.Target(np.array(lab, dtype=float), "asked"))
            for filters in (Filters(), Filters(form="knit"), Filters(dye="Marn blue")):
                every, labs = speaking_labs(archive.conn)
                meet = np.isin(every, list(swatches_where(archive.conn, filters)))
                away = np.sort(delta_e_2000(query.target.lab, labs[meet], 2.0))
                near = nearby.near(archive.conn, kept, query, filters, k=3)
                assert [h.distance for h in near] == pytest.approx(away[:3])
                assert {h.made.swatch_id for h in near} <= set(every[meet])
                inside = nearby.within(archive.conn, kept, query, filters, 20.0, 2.0)
                assert [h.distance for h in inside] == pytest.approx(away[away <= 20.0])


async def test_looks_are_kept_until_something_is_measured(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    state = dyer.datasette.swatchvault.state
    await dyer.get("/find?swatch=3&rank=looks")
    (first,) = state["looks"].values()
    await dyer.get("/find?swatch=4&rank=looks&form=skein")
    assert list(state["looks"].values()) == [first]
    await dyer.datasette.get_database("archive").execute_write_fn(measure_anew)
    await dyer.get("/find?swatch=4&rank=looks")
    (second,) = state["looks"].values()
    assert second is not first
    assert 90.0 in second.labs[:, 0] and 90.0 not in first.labs[:, 0]


async def test_kept_looks_find_what_new_ones_find(studio: Path) -> None:
    from swatchvault import alike, queries
    from swatchvault.archive import open_archive
    from swatchvault.archive.made import Filters

    with open_archive(studio) as archive:
        labels = [r[0] for r in archive.conn.execute("SELECT DISTINCT swatch FROM how_even")][:3]
        for label in labels:
            query = queries.query_of_swatch(archive.conn, label)
            kept = alike.keep_looks(archive.conn, query)
            for filters in (Filters(), Filters(form="knit")):
                mine = alike.like(archive.conn, query, filters, k=3, kept=kept)
                theirs = alike.like(archive.conn, query, filters, k=3)
                assert [h.record() for h in mine] == [h.record() for h in theirs] != []
                assert label not in [h.made.swatch for h in mine]


async def test_a_photo_that_is_filed_is_found_by_its_swatches(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    for name, shows in (
        ("furrow-1", ["NF-1 card"]),
        ("harbour-2", ["HF-1 skein a", "HF-2 skein a"]),
    ):
        files = {"photo": ("x.jpg", (EXAMPLES / f"{name}.jpg").read_bytes())}
        answer = await dyer.post("/find", {"once": "f" * 20}, files=files)
        if len(shows) == 1:
            links = {shows[0]: answer.headers["location"]}
        else:
            assert answer.status_code == 400
            assert "This photo is in the archive already" in answer.text
            told = re.findall(r'href="(/find\?by[^"]*)">Find near ([^<]*)<', answer.text)
            links = {label: html.unescape(link) for link, label in told}
        assert sorted(links) == shows
        for label, link in links.items():
            found = await dyer.get(link.partition("#")[0])
            assert found.status_code == 200, found.text
            assert f"Near <bdi>swatch {label}</bdi>" in found.text


async def test_limits_alone_show_all_that_are_so(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    from swatchvault.archive.made import Filters, swatches_where

    dyer = visitor("dyer")
    with open_archive(studio) as archive:
        wanted = swatches_where(archive.conn, Filters(dye="Pellow red"))
        (dye,) = archive.conn.execute("SELECT id FROM dye WHERE name = 'Pellow red'").fetchone()
    shelf = (await dyer.get(f"/dye/{dye}")).text
    (link,) = re.findall(r'href="(/find\?dye=[^"]*)">Find colours with it', shelf)
    page = (await dyer.get(html.unescape(link).partition("#")[0] + "&n=200")).text
    found = page.split('id="found"')[1]
    assert {int(i) for i in re.findall(r'href="/swatch/(\d+)"', found)} == wanted != set()
    assert f"{len(wanted)} swatches with <bdi>Pellow red</bdi>" in found
    page = (await dyer.get("/find?dye=Pellow%20red&n=2")).text.split('id="found"')[1]
    assert page.count('href="/swatch/') == 2 and "2 of them are shown" in page
    page = (await dyer.get("/find?dye=Pellow%20red&since=2999-01-01")).text
    assert "No swatches with" in page
    assert (
        'id="found"' in (await dyer.get("/find")).text
        and "swatches" not in ((await dyer.get("/find")).text.split('id="found"')[1])
    )


async def test_the_photo_sent_is_shown_with_what_was_looked_at(
    visitor: Callable[[str], Any],
) -> None:
    dyer = visitor("dyer")
    files = {"photo": ("x.jpg", jpeg("harbour-1"))}
    sent = await dyer.post("/find", {"once": "f" * 20}, files=files)
    page = (await dyer.get(sent.headers["location"].partition("#")[0])).text
    picture = page.partition('src="data:image/jpeg;base64,')[2].partition('"')[0]
    assert base64.b64decode(picture).startswith(b"\xff\xd8")
    drawn = page.partition('src="data:image/jpeg')[2].partition("</svg>")[0]
    assert 'class="edge swatch"' in drawn
    assert "Only the yarn that is outlined was looked at" in page
    assert 'src="data:image' not in (await dyer.get("/find?what=50,0,0")).text


async def test_a_photo_is_measured_and_not_filed(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    before = sorted(p.name for p in studio.rglob("*"))
    photo, marks = (
        (EXAMPLES / name).read_bytes() for name in ("furrow-knit.jpg", "furrow-knit.marks.json")
    )
    files = {"photo": ("a b.jpg", photo), "marks": ("x.json", marks)}
    sent = await dyer.post("/find", {"once": "x" * 20}, files=files)
    assert sent.status_code == 303, sent.text
    where = sent.headers["location"]
    page = await dyer.get(where.split("#")[0])
    assert page.status_code == 200
    assert "Ninth Furrow" in page.text
    names = sorted(p.name for p in studio.rglob("*"))
    assert [n for n in names if not n.startswith("archive.db")] == [
        n for n in before if not n.startswith("archive.db")
    ]


@pytest.mark.parametrize(
    ("files", "words"),
    [
        ({}, "No photo came"),
        ({"photo": ("a.jpg", b"")}, "No photo came"),
        ({"photo": ("a.jpg", b"no picture at all")}, "photo"),
        ([("photo", ("a.jpg", b"1")), ("photo", ("b.jpg", b"2"))], "2 photos came"),
        ({"photo": ("a.jpg", b"\xff\xd8\xff"), "marks": ("m.json", b"{")}, "photo"),
    ],
)
async def test_a_photo_that_cannot_be(
    files: Any, words: str, visitor: Callable[[str], Any]
) -> None:
    answer = await visitor("dyer").post("/find", {"once": "x" * 20}, files=files or None)
    assert answer.status_code == 400
    assert words in answer.text
    assert "Traceback" not in answer.text and "/tmp" not in answer.text


# -- groups and gaps ---------------------------------------------------------------------------


async def test_groups_are_the_commands(visitor: Callable[[str], Any], studio: Path) -> None:
    page = (await visitor("helper").get("/groups?colourway=1&form=wound+card&go=1")).text
    told = command(studio, "groups", "--colourway", "Ninth Furrow", "--form", "wound card")
    assert f"{sum(map(len, told['groups']))} swatches in {len(told['groups'])} groups" in page
    order = re.findall(r'href="/swatch/\d+"><bdi>([^<]*)</bdi>', page)
    assert order == [name for group in told["groups"] for name in group]
    assert told["split_on_doubt"]
    for split in told["split_on_doubt"][:6]:
        a, b = split["groups"]
        left, right = split["swatches"]
        assert f"Groups {a} and {b}: <bdi>{left}</bdi> and <bdi>{right}</bdi>, ΔE00" in page
    for name, number in told["shade_sort"].items():
        assert re.search(rf"<bdi>{re.escape(name)}</bdi>.*?shade-sort {number}<", page, re.S)


async def test_lots_can_be_ticked_or_typed(visitor: Callable[[str], Any]) -> None:
    dyer = visitor("dyer")
    ticked = (await dyer.get("/groups?colourway=1&lot=1&lot=2&form=wound+card&go=1")).text
    typed = (await dyer.get("/groups?names=NF-1%0ANF-2&form=wound+card&go=1")).text
    assert "<h2>2 swatches in " in ticked and "<h2>2 swatches in " in typed


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("go=1", "nothing to group"),
        ("go=1&names=No+such", "unknown swatch"),
        ("go=1&colourway=999", "no measured lot"),
        ("go=1&colourway=1", "name one form"),
        ("go=1&colourway=1&form=wound+card&tolerance=none", "cannot be read"),
        ("go=1&colourway=1&form=wound+card&tolerance=0", "must be above 0"),
        ("go=1&colourway=1&form=wound+card&standard=No+such", "unknown swatch"),
        ("go=1&lot=x", "cannot be read"),
    ],
)
async def test_groups_that_cannot_be(
    address: str, words: str, visitor: Callable[[str], Any]
) -> None:
    answer = await visitor("dyer").get(f"/groups?{address}")
    assert answer.status_code == 400
    assert words in answer.text


async def test_what_to_dye_next_leads_to_its_recipe(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    told = [g["recipe"] for g in command(studio, "gaps", "Orrin four-ply")["gaps"] if g["recipe"]]
    assert told
    page = html.unescape((await visitor("dyer").get("/gaps?base=1")).text)
    links = re.findall(r'href="(/recipe/new\?[^"]*)"', page)
    assert len(links) == len(told)
    assert "/recipe/new?" not in (await visitor("helper").get("/gaps?base=1")).text
    for link, recipe in zip(links, told, strict=True):
        form = html.unescape((await visitor("dyer").get(link)).text)
        assert "<option selected>Orrin four-ply</option>" in form
        for n, (dye, depth) in enumerate(sorted(recipe.items(), key=lambda d: -d[1]), 1):
            row = form.partition(f'name="dye{n}"')[2].partition("autocomplete")[0]
            assert f"<option selected>{dye}</option>" in row
            assert f'name="depth{n}" value="{depth:.4g}"' in row
    assert (await visitor("dyer").get("/recipe/new?base=99")).status_code == 404


async def test_gaps_are_the_commands(visitor: Callable[[str], Any], studio: Path) -> None:
    page = (await visitor("helper").get("/gaps?base=1")).text
    told = command(studio, "gaps", "Orrin four-ply")
    assert page.count(" from the nearest,") == len(told["gaps"])
    for gap in told["gaps"]:
        assert f"ΔE00 {gap['delta_e']:.1f} from the nearest" in page
    assert "<svg" in page and "style=" not in page
    for address, words in (("999", "not in the archive"), ("x", "cannot be read")):
        answer = await visitor("helper").get(f"/gaps?base={quote(address)}")
        assert answer.status_code == 400 and words in answer.text


async def test_a_photo_is_headed_by_its_name_and_a_doubt_that_is_not_known_is_said(
    visitor: Callable[[str], Any],
) -> None:
    dyer = visitor("dyer")
    photo = (EXAMPLES / "confetti-knit.jpg").read_bytes()
    whole = (EXAMPLES / "confetti-knit.marks.json").read_bytes()
    bare = json.dumps({**json.loads(whole), "references": []}).encode()
    pages = []
    for marks in (whole, bare):
        files = {"photo": ("my <b> skein.jpg", photo), "marks": ("x.json", marks)}
        sent = await dyer.post("/find", {"once": "x" * 20}, files=files)
        text = (await dyer.get(sent.headers["location"].split("#")[0])).text
        pages.append(html.unescape(text))
        assert "<b>" not in text
        assert "Near the photo <bdi>my _b_ skein.jpg</bdi></h2>" in text
    known, unknown = ([figure for _, _, figure in shown(p)] for p in pages)
    assert known and all(re.fullmatch(r"ΔE00 [\d.]+ ± [\d.]+", f) for f in known)
    assert unknown and all(re.fullmatch(r"ΔE00 [\d.]+", f) for f in unknown)
    assert "No ± is told: no grey card, steps or chart corrected this photo." in pages[1]
    assert "No ± is told" not in pages[0]
    of_the_distance = "; ± is one standard uncertainty"
    assert of_the_distance in pages[0] and of_the_distance not in pages[1]
    sought = [page.split("<ol")[0].split("</h2>")[-1] for page in pages]
    with_card, without = (re.findall(r"L\* [\d.]+ ± ([\d.]+)", part) for part in sought)
    assert float(without[0]) > 3.0 * float(with_card[0])
    assert "these photos cannot tell which of them lies nearer" in pages[1]


async def test_damp_swatches_are_left_out_of_gaps_and_of_a_bases_map(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    _, _, swatch, label, _ = damp_lot(studio)
    with open_archive(studio) as archive:
        sql = "SELECT base_id FROM swatch WHERE id = ?"
        (base,) = archive.conn.execute(sql, (swatch,)).fetchone()
        where = "FROM latest_colours JOIN swatch ON swatch.id = swatch_id WHERE base_id = ?"
        (count,) = archive.conn.execute(f"SELECT count(*) {where}", (base,)).fetchone()
    dyer = visitor("dyer")
    said = f"{label} was measured damp and left out"
    for address in (f"/gaps?base={base}", f"/base/{base}"):
        page = html.unescape((await dyer.get(address)).text)
        assert said in page and f"<title>{label}" not in page, address
        assert page.count("</title></circle>") == count - 1, address
    page = html.unescape((await dyer.get(f"/gaps?base={base}&damp=1")).text)
    assert "left out, since" not in page and f"against {count} swatches" in page


async def test_damp_swatches_are_marked_and_left_out_of_groups(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    lot, other, swatch, label, colourway = damp_lot(studio)
    dyer = visitor("dyer")
    found = (await dyer.get(f"/find?by=swatch&swatch={other}&n=200")).text
    (item,) = (
        li for li in re.findall("<li>.*?</li>", found, re.DOTALL) if f'"/swatch/{swatch}"' in li
    )
    assert "<strong>measured damp</strong>" in item
    assert found.count("measured damp") == 1
    assert "<strong>measured damp</strong>" in (await dyer.get(f"/colourway/{colourway}")).text
    assert "<strong>measured damp</strong>" in (await dyer.get(f"/lot/{lot}")).text
    groups = f"/groups?colourway={colourway}&go=1&form=wound+card"
    page = html.unescape((await dyer.get(groups)).text)
    assert f"{label} was measured damp and left out" in page
    assert f">{label}</bdi></a>" not in page
    page = html.unescape((await dyer.get(f"{groups}&damp=1")).text)
    assert "left out" not in page and f"<bdi>{label}</bdi></a>" in page
    assert page.count("<strong>measured damp</strong>") == 1


def damp_lot(studio: Path) -> tuple[int, int, int, str, int]:
    """A lot of the demo whose one swatch is said to be damp: its number, another swatch of its
    colourway, the damp swatch with its label, and the colourway."""
    with open_archive(studio) as archive:
        conn = archive.conn
        lot, swatch, label, colourway = conn.execute(
            "SELECT lot.id, swatch.id, swatch.label, lot.colourway_id FROM swatch "
            "JOIN lot ON lot.id = swatch.lot_id JOIN colourway ON colourway.id = lot.colourway_id "
            "WHERE colourway.name = 'Ninth Furrow' AND form = 'wound card' AND swatch.id NOT IN "
            "(SELECT swatch_id FROM master) ORDER BY swatch.id LIMIT 1"
        ).fetchone()
        (other,) = conn.execute(
            "SELECT swatch.id FROM swatch JOIN lot ON lot.id = swatch.lot_id JOIN "
            "current_measurement AS m ON m.swatch_id = swatch.id WHERE colourway_id = ? "
            "AND swatch.id <> ? AND form = 'wound card' LIMIT 1",
            (colourway, swatch),
        ).fetchone()
        for (name,) in conn.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'measurement'"
        ).fetchall():
            conn.execute(f'DROP TRIGGER "{name}"')
        conn.execute("UPDATE measurement SET dry = 0 WHERE swatch_id = ?", (swatch,))
    return lot, other, swatch, label, colourway


async def test_a_limit_that_looks_cannot_use_is_told(visitor: Callable[[str], Any]) -> None:
    dyer = visitor("dyer")
    said = "The limit of ΔE00 was not used"
    assert said in (await dyer.get("/find?swatch=3&rank=looks&tolerance=3")).text
    assert said not in (await dyer.get("/find?swatch=3&rank=looks")).text
    assert 'name="tolerance" value=""' in (await dyer.get("/find")).text


async def test_a_hit_leads_to_its_lot_and_its_recipe(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    page = (await visitor("dyer").get("/find?what=37,24,12&n=200")).text
    with open_archive(studio) as archive:
        lots = archive.conn.execute(
            "SELECT swatch.id, lot.id, recipe.id, recipe.version FROM swatch "
            "JOIN lot ON lot.id = swatch.lot_id LEFT JOIN recipe ON recipe.id = lot.recipe_id "
            "WHERE swatch.id IN (SELECT swatch_id FROM current_measurement)"
        ).fetchall()
    items = re.findall("<li>.*?</li>", page, re.DOTALL)
    followed = 0
    for swatch, lot, recipe, version in lots:
        (item,) = (li for li in items if f'"/swatch/{swatch}"' in li)
        assert f'href="/lot/{lot}"' in item
        link = f'<a href="/recipe/{recipe}">recipe version {version}</a>'
        assert (link in item) is (recipe is not None)
        followed += recipe is not None
    assert followed > 0

"""A recipe's words and page, what changed in it, and the command that shows it."""

import json
import re
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swatchvault.archive import (
    LotCheck,
    Master,
    PlannedDye,
    PlannedStep,
    Recipe,
    RecipePart,
    RegionOf,
    Swatch,
    add_swatch,
    create_archive,
    file_photo,
    recipe_colour,
    record_check,
    set_master,
)
from swatchvault.cautions import CAUTIONS
from swatchvault.errors import SwatchvaultError
from swatchvault.pot import StockChoice, plan_pot
from swatchvault.recipe_sheet import (
    RecipeSheet,
    recipe_changes,
    sheet_html,
    sheet_lines,
    write_sheet,
)
from tests.swatchvault.factories import LAB, covariance, measured, photo_file, photo_of, studio
from tests.swatchvault.running import run

ONE = Recipe(
    "Low sun",
    "Lumme",
    parts=(
        RecipePart(
            dyes=(PlannedDye("Ember", 0.8), PlannedDye("Tarn", 0.2)),
            steps=(PlannedStep("soak", minutes=30.0), PlannedStep("hold", None, 85.0, 30.0)),
        ),
    ),
)
DEPTH = st.floats(0.01, 5.0)


def sheet(recipe=ONE, **more):
    stocks = {"Ember": StockChoice("S<1>", 1.0), "Tarn": StockChoice("T", 1.0)}
    return RecipeSheet(recipe, plan_pot(recipe, 200.0, stocks, today=date(2026, 3, 1)), **more)


def changed(dyes=None, steps=None, **facts):
    part = ONE.parts[0]
    part = replace(part, dyes=part.dyes if dyes is None else dyes, **facts)
    return replace(ONE, version=2, parts=(part if steps is None else replace(part, steps=steps),))


# --- what changed -----------------------------------------------------------------------------


def test_nothing_changed_in_the_same_recipe():
    assert recipe_changes(ONE, replace(ONE, version=2)) == []


@pytest.mark.parametrize(
    ("new", "said"),
    [
        (changed(dyes=(PlannedDye("Ember", 1.0), PlannedDye("Tarn", 0.2))), "Ember 0.8 -> 1 %"),
        (changed(dyes=(PlannedDye("ember", 0.8),)), "- Tarn (was 0.2 %)"),
        (changed(dyes=(*ONE.parts[0].dyes, PlannedDye("Rill", 0.1))), "+ Rill 0.1 %"),
        (changed(steps=ONE.parts[0].steps[1:]), "- step: soak, 30 min"),
        (changed(steps=(*ONE.parts[0].steps, PlannedStep("rinse"))), "+ step: rinse"),
        (changed(share_percent=50.0), "share 100 -> 50 % of the goods"),
    ],
)
def test_one_change_is_one_sentence(new, said):
    assert recipe_changes(ONE, new) == [f"part whole: {said}"]


def test_parts_come_and_go():
    dipped = RecipePart("dipped end", 25.0, dyes=(PlannedDye("Tarn", 2.0),))
    both = replace(ONE, parts=(*ONE.parts, dipped))
    assert recipe_changes(ONE, both) == [
        "part dipped end: new, 25 % of the goods",
        "part dipped end: + Tarn 2 %",
    ]
    assert recipe_changes(both, ONE) == ["part dipped end: left out"]


@given(
    st.dictionaries(st.sampled_from("abcd"), DEPTH), st.dictionaries(st.sampled_from("abcd"), DEPTH)
)
def test_as_many_changes_there_as_back(old, new):
    def recipe(dyes):
        return changed(dyes=tuple(PlannedDye(n, p) for n, p in dyes.items()))

    there, back = recipe_changes(recipe(old), recipe(new)), recipe_changes(recipe(new), recipe(old))
    assert len(there) == len(back)
    assert bool(there) == (old != new)


# --- the page ---------------------------------------------------------------------------------


class Page(HTMLParser):
    """Which tags are open at the end, and the text."""

    def __init__(self, html):
        super().__init__()
        self.open, self.text, self.tags = [], "", []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        if tag not in ("meta", "img", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text += data


def test_the_page_holds_amounts_steps_lab_and_cautions():
    html = sheet_html(
        sheet(
            lab=(42.25, 31.5, -8.0), lab_of="swatch s of lot L1", thumb=b"jpeg", to_try="less acid"
        )
    )
    page = Page(html)
    assert page.open == []
    for said in (
        "160 mL",
        "stock S<1>",
        "hold, 85 °C, 30 min",
        "L* 42.2",
        "less acid",
        "swatch s of lot L1",
    ):
        assert said in page.text
    for line in CAUTIONS.values():
        assert line in page.text
    assert page.tags.count("img") == 1


def test_what_is_not_known_is_left_out():
    page = Page(sheet_html(sheet()))
    assert "img" not in page.tags
    assert "L*" not in page.text
    assert "Against" not in page.text


def test_words_from_outside_cannot_become_markup():
    part = replace(ONE.parts[0], note="<script>x</script>")
    html = sheet_html(sheet(replace(ONE, colourway="<b>&", note='"<i>', parts=(part,))))
    assert not re.search(r"<script|<i>|<b>&", html)
    assert "<script>x</script>" in Page(html).text


def test_text_and_page_are_written_and_another_ending_is_refused(tmp_path):
    write_sheet(tmp_path / "a.HTML", sheet())
    write_sheet(tmp_path / "a.txt", sheet())
    text = (tmp_path / "a.txt").read_text(encoding="utf-8")
    assert text.startswith("\n".join(sheet_lines(sheet())))
    assert CAUTIONS["acid"] in text
    for bad in (tmp_path / "a.doc", tmp_path / "none" / "a.html"):
        with pytest.raises(SwatchvaultError, match="name a"):
            write_sheet(bad, sheet())


# --- the command ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def yarn(tmp_path_factory):
    with create_archive(tmp_path_factory.mktemp("sheet") / "yarn") as made:
        studio(made.conn)
        return made.folder


@pytest.fixture
def ask(yarn, capsys):
    return lambda *more: run(capsys, "recipe", "low sun", "lumme", "--archive", yarn, *more)


def test_the_newest_version_is_shown_and_what_changed(ask):
    out = ask("--goods", "200 g", "--against", 1).out
    assert "Low sun on Lumme, version 2, from version 1" in out
    assert "Ember 1 %: 200 mL of stock" in out
    assert "part whole: Ember 0.8 -> 1 %" in out
    assert "swatchvault cautions" in out


def test_it_is_set_against_the_version_it_came_from_where_none_is_named(ask):
    assert "against version 1:\n  part whole: Ember 0.8 -> 1 %" in ask().out
    assert "against" not in ask("--version", 1).out
    assert "against version 2:\n  part whole: Ember 1 -> 0.8 %" in (
        ask("--version", 1, "--against", 2).out
    )


def test_the_printed_page_has_the_dye_of_what_is_poured(ask, tmp_path):
    ask("--goods", "908 g", "--print", tmp_path / "sun.html")
    page = (tmp_path / "sun.html").read_text("utf-8")
    assert "<b>910 mL</b>" in page and ">9.1 g<" in page and "9.08" not in page


def test_goods_in_pounds_and_json_in_full(ask):
    assert "goods 12 g, dry" in ask("--goods", "12").out  # a bare number is in grams
    record = json.loads(ask("--version", 1, "--goods", "1 lb", "--json").out)
    assert record["plan"]["goods_g"] == pytest.approx(453.59237)
    assert record["plan"]["parts"][0]["doses"][0]["dye_g"] == pytest.approx(453.59237 * 0.008)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (("--version", 9), "there are versions 1, 2"),
        (("--against", 9), "no version 9"),
        (("--against", 2), "version 2 of 'Low sun' on 'Lumme' would be set against itself"),
        (("--version", 1, "--against", 1), "version 1 of 'Low sun' on 'Lumme' would be set"),
        (("--goods", "12 fathoms"), "no unit known here"),
        (("--goods", "0 g"), "more than 0 g"),
        (("--ratio", 0), "liquor ratio"),
        (("--stock", "Ember"), "write the dye, ="),
        (("--stock", "Ember=S9"), "unknown stock 'S9'"),
        (("--powder", "Rill"), "no dye 'Rill' in this recipe"),
        (("--print", "page.doc"), "name a file .html or .txt"),
    ],
)
def test_a_mistake_is_one_line(ask, more, said):
    ran = ask(*more)
    assert ran.code == 1
    assert said in ran.err
    assert len(ran.err.splitlines()) == 1


def test_the_page_shows_the_newest_colour_of_the_lots_that_followed_it(tmp_path, capsys):
    with create_archive(tmp_path / "yarn") as made:
        swatch_id, other_id = studio(made.conn)
        source = photo_file(tmp_path)
        file_photo(made, photo_of(source), source, [RegionOf("new", swatch_id)])
        other = photo_file(tmp_path, "IMG_2.JPG", b"of a lot that followed no recipe")
        file_photo(made, photo_of(other), other, [RegionOf("new", other_id)])
    asked = ("recipe", "Low sun", "Lumme", "--archive", tmp_path / "yarn", "--version")
    assert run(capsys, *asked, 1, "--print", tmp_path / "page.html").code == 0
    html = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert f"L* {LAB[0]:.1f}" in html
    assert "swatch sun 1 of lot L1" in html
    assert "data:image/jpeg;base64,/9j/" in html  # a JPEG begins with FF D8 FF
    assert "colour L*" not in run(capsys, *asked, 2).out


def test_of_the_lots_that_followed_a_recipe_the_best_reference_gives_its_colour(tmp_path):
    with create_archive(tmp_path / "yarn") as made:
        swatch_id, _ = studio(made.conn)
        late = add_swatch(made.conn, Swatch("sun 9", "Lumme", "skein", "L1")).id
        told = [
            ("a.jpg", swatch_id, "steps", 40.0, "2026-03-02T10:00:00"),
            ("b.jpg", swatch_id, "card", 50.0, "2026-04-01T10:00:00"),
            ("c.jpg", late, "card", 60.0, "2026-05-01T10:00:00"),
        ]
        for name, swatch, reference, lightness, taken in told:
            source = photo_file(tmp_path, name, name.encode())
            doubt = covariance(1.0 if reference == "steps" else 4.0)
            seen = measured(lab=(lightness, 5.0, 5.0), reference=reference, covariance=doubt)
            found = photo_of(source, [seen], taken_at=taken)
            file_photo(made, found, source, [RegionOf("new", swatch)])
        colour = recipe_colour(made.conn, "Low sun", "Lumme", 1)
    assert colour is not None and colour.lab[0] == 40.0


def test_a_lot_that_is_outside_is_not_what_a_recipe_gives_and_a_master_is(tmp_path):
    with create_archive(tmp_path / "yarn") as made:
        conn = made.conn
        swatch_id, other_id = studio(conn)
        late = add_swatch(conn, Swatch("sun 9", "Lumme", "skein", "L1")).id
        told = [("a.jpg", swatch_id, "steps", 40.0), ("b.jpg", late, "card", 60.0)]
        for name, swatch, reference, lightness in told:
            source = photo_file(tmp_path, name, name.encode())
            found = photo_of(source, [measured(lab=(lightness, 5.0, 5.0), reference=reference)])
            file_photo(made, found, source, [RegionOf("new", swatch)])
        first = recipe_colour(conn, "Low sun", "Lumme", 1)
        check = LotCheck(other_id, swatch_id, "outside", 2.0, 2.0, 9.0, "other", "Much darker.")
        record_check(conn, check)
        without = recipe_colour(conn, "Low sun", "Lumme", 1)
        set_master(conn, Master("Low sun", "Lumme", "skein", "sun 9"))
        held = recipe_colour(conn, "Low sun", "Lumme", 1)
    assert first is not None and first.lab[0] == 40.0
    assert without is None
    assert held is not None and held.lab[0] == 60.0

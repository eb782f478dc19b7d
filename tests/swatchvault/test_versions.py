"""Figures of two versions of the method are never set against each other."""

import json

import pytest

from swatchvault.alike import like
from swatchvault.archive import (
    Master,
    RegionOf,
    Swatch,
    add_swatch,
    create_archive,
    file_photo,
    set_master,
    swatch_colours,
)
from swatchvault.archive.aside import set_aside
from swatchvault.archive.dyed import dyed_on_base
from swatchvault.archive.evenness import evenness_methods_in_use, versions_in_use
from swatchvault.archive.made import Filters
from swatchvault.checking import Ask, check_every_lot
from swatchvault.errors import CompareError, NotFound
from swatchvault.lotcheck import apart_by_version, groups, one_version, versions_words
from swatchvault.nearby import keep_colours, near, within
from swatchvault.queries import query_of_swatch
from swatchvault.report import check_table
from swatchvault.search_notes import left_out
from swatchvault.shades import Target
from swatchvault.together import group_swatches, table_of
from tests.swatchvault.factories import measured, photo_file, photo_of, studio
from tests.swatchvault.running import run
from tests.swatchvault.test_tonal_master import tonality


def file_one(archive, folder, swatch_id, name, lab, version, method="evenness 1"):
    path = photo_file(folder, f"{name}.jpg", name.encode())
    seen = measured("new", lab, tonality=tonality(method=method), clipped_share=0.0)
    photo = photo_of(path, [seen], version=version)
    return file_photo(archive, photo, path, [RegionOf("new", swatch_id)])


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    """Two swatches measured by version 1, one by version 2, one by both in two photos."""
    folder = tmp_path_factory.mktemp("template") / "yarn"
    with create_archive(folder) as archive:
        one, two = studio(archive.conn)
        set_master(archive.conn, Master("Low sun", "Lumme", "skein", "sun 1"))
        three, four = (
            add_swatch(archive.conn, Swatch(f"sun {n}", "Lumme", "skein", "L2")).id for n in (3, 4)
        )
        file_one(archive, folder.parent, one, "a", (42.0, 31.0, -8.0), "1")
        file_one(archive, folder.parent, two, "b", (42.5, 31.0, -8.0), "2")
        file_one(archive, folder.parent, three, "c", (43.0, 31.0, -8.0), "1")
        file_one(archive, folder.parent, four, "d", (44.0, 31.0, -8.0), "1")
        file_one(archive, folder.parent, four, "e", (50.0, 31.0, -8.0), "2", "evenness 2")
    return folder


def test_a_region_that_is_no_longer_marked_is_of_no_version_in_use(tmp_path):
    """Its measurement has no successor, and is not measured anew."""
    path = photo_file(tmp_path, "two.jpg")
    with create_archive(tmp_path / "yarn") as archive:
        one, two = studio(archive.conn)
        told = (("1", ("left", "right")), ("2", ("left",)))
        for version, names in told:
            seen = [measured(name, tonality={"method": f"evenness {version}"}) for name in names]
            regions = [RegionOf(n, s) for n, s in zip(names, (one, two), strict=False)]
            file_photo(archive, photo_of(path, seen, version), path, regions)
        assert versions_in_use(archive.conn) == ("2",)
        assert evenness_methods_in_use(archive.conn) == ("evenness 2",)


def photos_of(archive, label):
    (swatch_id,) = archive.conn.execute(
        "SELECT id FROM swatch WHERE label = ?", (label,)
    ).fetchone()
    return swatch_colours(archive.conn, swatch_id)


APART = (
    "sun 2 was measured by version 2 of the method, sun 1 by version 1: measure them anew with "
    "`swatchvault remeasure --all`"
)


def test_a_check_takes_the_version_that_both_have_or_refuses(archive):
    one, two, four = (photos_of(archive, f"sun {n}") for n in (1, 2, 4))
    ours, theirs = one_version(one, four)
    assert [c.version for c in (*ours, *theirs)] == ["1", "1"]
    assert [c.version for _, a, b in groups(two, four) for c in (*a, *b)] == ["2", "2"]
    with pytest.raises(CompareError, match=f"^{APART}, then compare$"):
        groups(one, two)
    for a, b in ((one, four), (four, one), (four, two)):
        assert apart_by_version(a, b) == ""
    assert apart_by_version(one, two) == APART


def test_versions_are_named_with_their_swatches_the_fewest_first(archive):
    photos = [photos_of(archive, f"sun {n}") for n in (1, 2, 3)]
    said = "sun 2 was measured by version 2 of the method, sun 1, sun 3 by version 1"
    assert versions_words(photos) == said
    both = versions_words([photos_of(archive, "sun 4"), *photos])
    assert "sun 4" in both and "by versions 1 and 2" in both


def test_a_check_names_a_swatch_of_another_version_and_checks_the_rest(archive, capsys):
    asked = ("check", "L2", "--archive", archive.folder)
    ran = run(capsys, *asked)
    assert ran.code == 0
    assert [line for line in ran.out.splitlines() if line.startswith("L2")] == [
        "L2, swatch sun 3, held to sun 1:",
        "L2, swatch sun 4, held to sun 1:",
        f"L2, swatch sun 2 is not held to sun 1: {APART}",
    ]
    records = json.loads(run(capsys, *asked, "--json").out)
    assert [r["swatch"] for r in records] == ["sun 3", "sun 4"]
    left_out = [{"swatch": "sun 2", "against": "sun 1", "why": APART}]
    assert all(r["left_out"] == left_out for r in records)
    kept = archive.conn.execute("SELECT count(*) FROM lot_check")
    assert kept.fetchone()[0] == 4


def test_a_check_of_none_that_can_be_checked_says_why_in_one_line(archive, capsys):
    for n in (3, 4):
        for photo in photos_of(archive, f"sun {n}"):
            set_aside(archive.conn, photo.swatch_id, photo.photo_sha256, "lamp on")
    ran = run(capsys, "check", "L2", "--archive", archive.folder)
    assert (ran.code, ran.out, ran.err) == (1, "", f"{APART}\n")
    ran = run(capsys, "lots", "Low sun", "--archive", archive.folder)
    assert (ran.code, ran.out, ran.err.count("\n")) == (1, "", 1)
    assert "sun 1 was measured by version 1 of the method, sun 2 by version 2: " in ran.err


def test_lots_leave_out_pairs_of_two_versions_and_show_the_rest(archive, capsys):
    asked = ("lots", "Low sun", "--archive", archive.folder)
    ran = run(capsys, *asked)
    rows = [line for line in ran.out.splitlines() if line.startswith(("  L1", "  sun"))]
    assert ran.code == 0
    assert sum(row.count("left out") for row in rows) == 4  # two pairs, each in two places
    (said,) = [line for line in ran.out.splitlines() if line.startswith("  left out:")]
    assert "sun 2 was measured by version 2 of the method, sun 1, sun 3 by version 1" in said
    (family,) = json.loads(run(capsys, *asked, "--json").out)
    pairs = [set(p["lots"]) for p in family["pairs"]]
    assert len(pairs) == 4 and {"L1", "sun 2"} not in pairs and {"sun 2", "sun 3"} not in pairs
    left_out = [(o["swatch"], o["against"]) for o in family["left_out"]]
    assert left_out == [("sun 2", "sun 1"), ("sun 3", "sun 2")]
    assert family["left_out"][0]["why"] == APART
    assert [p["swatch"] for p in family["course"]] == ["sun 3", "sun 4"]


@pytest.fixture
def two_methods(archive, tmp_path):
    """The master states its evenness; sun 3 has a figure by another version of the method."""
    (three,) = {c.swatch_id for c in photos_of(archive, "sun 3")}
    for photo in photos_of(archive, "sun 3"):
        set_aside(archive.conn, three, photo.photo_sha256, "lamp on")
    file_one(archive, tmp_path, three, "f", (43.0, 31.0, -8.0), "1", "evenness 2")
    return archive


def test_lots_say_why_no_evenness_is_told(two_methods, capsys):
    where = ("--archive", two_methods.folder)
    assert run(capsys, "master", "sun 1", "--evenness", *where).code == 0
    lines = [s.strip() for s in run(capsys, "lots", "Low sun", *where).out.splitlines()]
    (said,) = [s for s in lines if s.startswith("evenness of ")]
    assert said.startswith("evenness of sun 3: The master's evenness is by 'evenness 1', the lot's")
    assert "swatchvault remeasure" in said


def test_a_ranking_by_unevenness_says_that_it_mixes_versions_and_forms(two_methods, capsys):
    add_swatch(two_methods.conn, Swatch("knit", "Lumme", "knit", "L2"))
    ask = ("list", "swatches", "--archive", two_methods.folder)
    ran = run(capsys, *ask, "--sort", "unevenness")
    (said,) = [s for s in ran.out.splitlines() if "one version of the method" in s]
    methods = dict(
        two_methods.conn.execute("SELECT method, count(*) FROM how_even GROUP BY method")
    )
    assert ", ".join(f"{n} by {name}" for name, n in sorted(methods.items())) in said
    assert len(methods) == 2 and "as skein" not in said  # the knit is not measured
    assert "one version" not in run(capsys, *ask).out
    assert "one version" not in run(capsys, *ask, "--sort", "unevenness", "--with", "sun 1").out
    ran = run(capsys, "list", "evenness", "--archive", two_methods.folder, "--sort", "unevenness")
    assert said in ran.out


def test_lots_are_set_against_each_other_without_their_master(archive, capsys):
    (photo,) = photos_of(archive, "sun 1")
    set_aside(archive.conn, photo.swatch_id, photo.photo_sha256, "lamp on")
    asked = ("lots", "Low sun", "--archive", archive.folder)
    ran = run(capsys, *asked)
    assert (ran.code, ran.out.count("the master 'sun 1' has no photo that counts")) == (0, 1)
    (family,) = json.loads(run(capsys, *asked, "--json").out)
    assert len(family["pairs"]) == 2 and not family["course"]
    against = [(o["swatch"], o["against"]) for o in family["left_out"]]
    assert ("sun 2", "sun 1") in against and ("sun 4", "sun 1") in against


def test_many_checks_name_what_they_leave_out(archive):
    checks = check_every_lot(archive.conn, Ask())
    assert [c.swatch.swatch for c in checks.given] == ["sun 3", "sun 4"]
    lines = check_table(checks)
    assert lines[-1] == f"swatch sun 2 is not held to sun 1: {APART}"


def test_a_search_keeps_to_the_version_of_what_is_looked_for(archive):
    query = query_of_swatch(archive.conn, "sun 1")
    kept = keep_colours(archive.conn, query.version)
    hits = near(archive.conn, kept, query, Filters())
    assert [(h.made.swatch, h.lab[0]) for h in hits] == [("sun 3", 43.0), ("sun 4", 44.0)]
    close = within(archive.conn, kept, query, Filters(), 0.9, 2.0)
    assert [h.made.swatch for h in close] == ["sun 3"]
    assert any("another version" in line for line in left_out(archive.conn, query))
    kept = keep_colours(archive.conn, "2")
    other = near(archive.conn, kept, query_of_swatch(archive.conn, "sun 2"), Filters())
    assert [(h.made.swatch, h.lab[0]) for h in other] == [("sun 4", 50.0)]


def test_a_stated_colour_is_looked_for_in_one_version(archive):
    import numpy as np

    from swatchvault.queries import Query

    query = Query(Target(np.array([42.0, 31.0, -8.0]), "a colour"))
    hits = near(archive.conn, keep_colours(archive.conn), query, Filters())
    assert [h.made.swatch for h in hits] == ["sun 2", "sun 4"]  # of the newest, version 2
    assert left_out(archive.conn, query)


def test_likeness_keeps_to_one_method_of_evenness(archive):
    query = query_of_swatch(archive.conn, "sun 2")  # version 2, but evenness 1
    with pytest.raises(NotFound):
        like(archive.conn, query, Filters())
    assert any("evenness" in line for line in left_out(archive.conn, query, evenness=True))
    found = like(archive.conn, query_of_swatch(archive.conn, "sun 1"), Filters())
    assert [h.made.swatch for h in found] == ["sun 3", "sun 4"]


@pytest.mark.parametrize("what", ["42,31,-8", "sun 1", "sun 2"])
def test_filters_that_nothing_meets_are_told_as_that(archive, capsys, what):
    asked = ("--archive", archive.folder, "--form", "skein", "--since", "2031")
    for search in ("near", "near --other-dyes", "like"):
        if search == "like" and "," in what:
            continue
        ran = run(capsys, *search.split(), what, *asked)
        assert ran.code == 1
        assert ran.err == "no other measured swatch meets all of that: ask for less\n"


@pytest.mark.parametrize("search", ["near", "like"])
def test_what_another_version_measured_is_told_as_that(archive, capsys, search):
    """Of what was dyed before April only sun 1 is, and only version 1 has measured it."""
    asked = ("--archive", archive.folder, "--until", "2026-03")
    ran = run(capsys, search, "sun 2", *asked)
    assert ran.code == 1
    assert ran.err == (
        "no other swatch that is asked for was measured by the version of the method that is "
        "searched: measure them anew with `swatchvault remeasure --all`\n"
    )
    assert "meets all of that" in run(capsys, search, "sun 1", *asked).err


def test_groups_of_two_versions_are_refused_and_of_one_are_made(archive):
    with pytest.raises(CompareError, match=r"sun 1 .*, sun 2 by version 2: .* remeasure --all"):
        table_of(archive.conn, ["sun 1", "sun 2"])
    table = table_of(archive.conn, ["sun 1", "sun 3"])
    assert len(group_swatches(table, 2.0, 2.0).groups) == 1


def test_predictions_learn_from_one_version_only(archive):
    dyed = dyed_on_base(archive.conn, "Lumme", "skein")
    assert not dyed.lots
    codes = {r[0] for r in archive.conn.execute("SELECT code FROM lot")}
    others = {code: why for code, why in dyed.left_out.items() if "another version" in why}
    (code,) = archive.conn.execute(
        "SELECT lot.code FROM lot JOIN swatch ON lot_id = lot.id WHERE label = 'sun 1'"
    ).fetchone()
    assert set(dyed.left_out) <= codes
    assert code in others

"""Searches in an archive, and the commands: near, like, groups, drift, gaps, bases."""

import json
import shutil
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from ingest.colour import delta_e_2000
from ingest.flags import FLAGS, FLAGS_THAT_STOP_A_VERDICT
from swatchvault.alike import like
from swatchvault.archive import (
    DyeIn,
    Lot,
    PhotoFacts,
    RegionOf,
    Setup,
    Swatch,
    add_lot,
    add_repeat_set,
    add_setup,
    add_swatch,
    colours,
    create_archive,
    file_photo,
    find,
    open_archive,
    swatch_id_of,
)
from swatchvault.archive.looks import speaking_looks
from swatchvault.archive.made import Filters, made_of, speaking_labs, swatches_where
from swatchvault.archive.rename import rename
from swatchvault.bases import across_bases
from swatchvault.errors import ArchiveError, NotFound
from swatchvault.nearby import keep_colours, near, within
from swatchvault.pair import Capture, OwnFrame
from swatchvault.photodoubt import doubt_of_swatches, u_of_mean
from swatchvault.queries import (
    DOUBTFUL,
    FOUND_BY_SEARCH,
    query_of_measurement,
    query_of_swatch,
    query_of_text,
)
from swatchvault.together import course_of, damp_words, table_of
from tests.swatchvault.factories import covariance, measured, photo_file, photo_of, studio
from tests.swatchvault.running import run

EXAMPLE = Path(str(files("example_archive")))


def tonality(kind, lab, off):
    return {
        "class": kind,
        "palette": [{"lab": lab, "share": 1.0}],
        "off_light_line": off,
        "off95": off + 0.5,
        "dots_percent": 0.0,
    }


@pytest.fixture(scope="module")
def yarn(tmp_path_factory):
    """Ten lots of one colourway, one of another with other dyes, and a knit; one set-up."""
    folder = tmp_path_factory.mktemp("finding")
    with create_archive(folder / "yarn") as made:
        studio(made.conn)
        setup = add_setup(made.conn, Setup("window", light="daylight", locked=True)).id
        rows = []
        for i in range(10):
            code = "S1" if i < 7 else "S2"
            dyes = (DyeIn("Ember", "80 mL", stock=code),)
            facts = {"dyed_on": f"2026-05-{i + 1:02d}", "dry_g": 100.0, "dyes_in": dyes}
            add_lot(made.conn, Lot(f"D{i}", ("Lumme",), "Low sun", **facts))
            off = (0.2 * (i % 2), 0.3 * (i % 4 == 2))  # so that they span a space
            lab = (42 + 0.1 * (i % 3) + 3.0 * (i >= 7), 31.5 + off[0], -8.0 + off[1])
            rows.append((f"d{i}", "Lumme", "skein", f"D{i}", lab, "solid"))
        tarn = {"dry_g": 100.0, "dyes_in": (DyeIn("Tarn", "10 mL", stock="S1"),)}
        add_lot(made.conn, Lot("T1", ("Torva",), "Wet slate", dyed_on="2026-06-01", **tarn))
        rows.append(("t1", "Torva", "skein", "T1", (43, 30.5, -8.5), "variegated"))
        rows.append(("k1", "Lumme", "knit", "D0", (42, 31, -8), "solid"))
        for number, (label, base, form, lot, lab, kind) in enumerate(rows):
            swatch = add_swatch(made.conn, Swatch(label, base, form, lot)).id
            source = photo_file(folder, f"{label}.jpg", f"photo {number}".encode())
            marks = tonality(kind, list(lab), 0.5 + 3 * (kind == "variegated"))
            found = measured(lab=lab, flags=frozenset(), tonality=marks)
            file_photo(
                made,
                photo_of(source, (found,)),
                source,
                [RegionOf("new", swatch, dry=label != "d1")],
                PhotoFacts(setup),
            )
            if label == "d0":  # filed later, but an older photo: it is not the newest
                older = photo_file(folder, "older.jpg", b"older")
                found = measured(lab=(30, 5, 5), flags=frozenset())
                taken = photo_of(older, (found,), taken_at="2026-01-01T08:00:00")
                file_photo(made, taken, older, [RegionOf("new", swatch)], PhotoFacts(setup))
    return folder / "yarn"


@pytest.fixture
def ask(yarn, capsys):
    def asked(*arguments):
        return run(capsys, *arguments, "--archive", yarn)

    return asked


def test_speaking_labs_are_those_that_the_archive_gives(yarn):
    with open_archive(yarn) as archive:
        ids, labs = speaking_labs(archive.conn)
        view = "SELECT swatch_id, lab_l, lab_a, lab_b FROM latest_colours ORDER BY swatch_id"
        want = np.array([tuple(row) for row in archive.conn.execute(view)])
    assert ids.tolist() == want[:, 0].tolist()
    assert labs == pytest.approx(want[:, 1:], abs=0.005)  # the view rounds to 0.01


def test_speaking_looks_are_of_the_same_measurements(yarn):
    with open_archive(yarn) as archive:
        ids, labs, records = speaking_looks(archive.conn)
        want = dict(zip(*speaking_labs(archive.conn), strict=True))
        whole = {c.swatch_id: c.tonality for c in colours(archive.conn)}
    assert {i: tuple(lab) for i, lab in zip(ids, labs, strict=True)} == {
        i: tuple(lab) for i, lab in want.items()
    }
    for swatch, record in zip(ids.tolist(), records, strict=True):
        known = {k: v for k, v in record.items() if v is not None}
        assert known.items() <= whole[swatch].items() and known["palette"]


def test_how_a_swatch_was_made(yarn):
    with open_archive(yarn) as archive:
        ids, _ = speaking_labs(archive.conn)
        made = made_of(archive.conn, ids.tolist())
    (d8,) = (m for m in made.values() if m.swatch == "d8")
    assert (d8.lot, d8.base, d8.colourway) == ("D8", "Lumme", "Low sun")
    assert [(d.dye, d.pack, d.depth_percent) for d in d8.dyes] == [("Ember", "E2", 0.8)]


def test_a_dye_that_went_in_twice_is_one_and_unknown_parts_stay_unknown(tmp_path):
    with create_archive(tmp_path / "twice") as archive:
        studio(archive.conn)
        went_in = (
            DyeIn("Ember", "20 mL", stock="S1"),
            DyeIn("Tarn", "0.3 g"),
            DyeIn("Ember", "30 mL", stock="S1"),
        )
        for code, dyes in (("T-1", went_in), ("T-2", (*went_in, DyeIn("Tarn", "a pinch")))):
            add_lot(archive.conn, Lot(code, ("Lumme",), dry_g=100.0, dyes_in=dyes))
            add_swatch(archive.conn, Swatch(code, "Lumme", "skein", code))
        made = made_of(archive.conn, [swatch_id_of(archive.conn, c) for c in ("T-1", "T-2")])
    told = [[(d.dye, d.stock, d.depth_percent) for d in one.dyes] for one in made.values()]
    ember = ("Ember", "S1", pytest.approx(0.5))
    assert told == [[ember, ("Tarn", None, pytest.approx(0.3))], [ember, ("Tarn", None, None)]]


@pytest.mark.parametrize(
    ("filters", "count"),
    [
        (Filters(), 12),
        (Filters(base="torva"), 1),
        (Filters(fibre="Silk"), 11),
        (Filters(form="knit"), 1),
        (Filters(dye="Tarn"), 1),
        (Filters(since="2026-05-09"), 3),
        (Filters(until="2026-05-02"), 3),
        (Filters(since="2026-05", until="2026-05"), 11),
        (Filters(since="2026"), 12),
        (Filters(until="2026-04"), 0),
        (Filters(tonality="variegated"), 1),
        (Filters(dry=False), 1),
        (Filters(base="Lumme", form="skein", dry=True), 9),
    ],
)
def test_filters(yarn, filters, count):
    with open_archive(yarn) as archive:
        assert len(swatches_where(archive.conn, filters)) == count


@pytest.mark.parametrize("told", ["1.3.2026", "31/12/2026", "yesterday", "2026-13", "2026-02-30"])
def test_what_is_no_date_is_refused(told, ask):
    for name in ("since", "until"):
        with pytest.raises(ArchiveError, match="a day such as 2026-03-01"):
            Filters(**{name: told})
    said = ask("near", "50,5,5", "--since", told)
    assert said.code == 1 and "is no date" in said.err


def test_a_photo_searched_by_says_what_weakens_it_and_what_was_found_in_it():
    found = measured(flags=frozenset({"located by search", "reference found by search", "glare"}))
    said = query_of_measurement(found).target.warnings
    assert said == tuple(FLAGS[f] for f in ("glare", *FOUND_BY_SEARCH))
    found = measured(flags=frozenset({"glare", "clipped beyond use", "raw", "values differ"}))
    told = query_of_measurement(found).target.warnings
    assert told == tuple(FLAGS[f] for f in ("clipped beyond use", "values differ", "glare"))
    assert set(DOUBTFUL) <= set(FLAGS) and FLAGS_THAT_STOP_A_VERDICT - set(DOUBTFUL) == {
        "no reference"  # told in words of its own
    }
    assert query_of_measurement(measured(flags=frozenset({"raw"}))).target.warnings == ()


@pytest.mark.parametrize(
    ("typed", "lab"),
    [
        ("37,5 36 -40", (37.5, 36, -40)),
        ("37,5; 36,25; -40", (37.5, 36.25, -40)),
        ("45,20,-10", (45, 20, -10)),
        ("45, 20, -10", (45, 20, -10)),
        ("45 20 -10.5", (45, 20, -10.5)),
    ],
)
def test_a_triple_with_points_or_decimal_commas(yarn, typed, lab):
    with open_archive(yarn) as archive:
        assert tuple(query_of_text(archive.conn, typed).target.lab) == lab


def test_six_digits_are_a_hex_colour_where_no_swatch_is_called_so(yarn, ask):
    hashed, bare = (json.loads(ask("near", w, "--json").out) for w in ("#7a4b90", "7a4b90"))
    assert bare["lab"] == hashed["lab"] and bare["warnings"] == hashed["warnings"]
    assert ask("near", "7a4b9g").code == 1
    with open_archive(yarn) as archive, pytest.raises(NotFound):
        query_of_text(archive.conn, "7a4b9")
    for blank in ("", "  "):
        assert "nothing is typed: write L*, a*, b*" in ask("near", blank).err


def test_a_swatch_that_is_called_like_a_colour_comes_before_the_colour(yarn, tmp_path):
    shutil.copytree(yarn, tmp_path / "named")
    with open_archive(tmp_path / "named") as archive:
        for old, new in (("d7", "12,3,4"), ("d8", "7a4b90"), ("d9", "#7a4b91")):
            rename(archive.conn, "swatch", swatch_id_of(archive.conn, old), new)
            assert query_of_text(archive.conn, new).target.name == f"swatch {new}"
        add_swatch(archive.conn, Swatch("12,3,5", "Lumme", "skein", "D0"))
        with pytest.raises(NotFound, match="'12,3,5' has no measured photo yet"):
            query_of_text(archive.conn, "12,3,5")
        assert query_of_text(archive.conn, "12,3,6").target.lab.tolist() == [12, 3, 6]


def test_near_a_triple(ask):
    answer = json.loads(ask("near", "45,31.5,-8", "-n", "3", "--json").out)
    assert answer["k_l"] == 2.0
    assert answer["warnings"] == []
    assert {h["swatch"] for h in answer["hits"]} == {"d7", "d8", "d9"}
    assert [h["rank"] for h in answer["hits"]] == [1, 1, 1]
    assert answer["hits"][0]["dyes"][0]["dye"] == "Ember"


def test_near_a_swatch_leaves_itself_out_and_counts_the_set_up(ask):
    answer = json.loads(ask("near", "d0", "--form", "skein", "--json").out)
    names = [h["swatch"] for h in answer["hits"]]
    assert "d0" not in names
    assert {h["photos"] for h in answer["hits"]} == {"locked set-up"}
    near = {h["swatch"]: h["rank"] for h in answer["hits"]}
    assert near["d3"] == near["d6"] == 1


@pytest.fixture
def taught(yarn, tmp_path):
    """The same archive, whose set-up was found by repeats to scatter by 2 on each axis."""
    folder = tmp_path / "taught"
    shutil.copytree(yarn, folder)
    with open_archive(folder) as archive:
        learned = {"capture": "locked set-up", "cov": np.diag([4.0] * 3).tolist()}
        add_repeat_set(archive.conn, find(archive.conn, "setup", "window"), [], 4.0, learned)
    return folder


def test_near_counts_what_repeats_of_the_set_up_taught(yarn, taught, capsys):
    """The frame's default of a locked set-up with steps is 0.16 on each axis; kL is 2."""
    found = []
    for folder in (yarn, taught):
        said = run(capsys, "near", "d3", "--form", "skein", "--json", "--archive", folder).out
        found.append({h["swatch"]: h["u"] for h in json.loads(said)["hits"]})
    before, after = (hits["d6"] for hits in found)
    more = (4.0 - 0.16**2) * (0.25 + 1.0 + 1.0) / 3.0
    assert after**2 - before**2 == pytest.approx(1.5**2 * more)


def test_what_repeats_taught_says_nothing_of_other_photos(taught):
    """Doubt by a frame part that scatters by 10, where the other photo is in the set-up or not."""
    with open_archive(taught) as archive:
        here, there = table_of(archive.conn, ["d3", "d6"]).photos
    frames = {here.setup_id: OwnFrame(np.diag([100.0] * 3), Capture.LOCKED)}
    away = replace(there, setup_id=None)
    for other, grows in ((there, True), (away, False)):
        plain, how = doubt_of_swatches([here], [other], 1.0, 2.0, {})
        known, _ = doubt_of_swatches([here], [other], 1.0, 2.0, frames)
        assert how == ("locked set-up" if grows else "other")
        assert (known > 2 * plain) if grows else (known == plain)


def test_drift_counts_what_repeats_of_the_set_up_taught(yarn, taught):
    """The doubt of one photo is that of two by the square root of 2; kL is 2."""
    found = []
    for folder in (yarn, taught):
        with open_archive(folder) as archive:
            table = table_of(archive.conn, (), colourway="Low sun", form="skein")
        found.append(course_of(table, 2.0).u)
    more = (4.0 - 0.16**2) * (0.25 + 1.0 + 1.0) / 3.0
    assert found[1] ** 2 - found[0] ** 2 == pytest.approx(1.5**2 * more / 2.0)


def test_a_lot_without_a_date_is_on_the_table_by_its_first_photo(yarn, tmp_path):
    folder = tmp_path / "yarn"
    shutil.copytree(yarn, folder)
    with open_archive(folder) as archive:
        first = table_of(archive.conn, (), colourway="Low sun", form="skein").made[0].lot
        archive.conn.execute("UPDATE lot SET dyed_on = NULL WHERE code = ?", (first,))
        for taken, place in (("2001-01-01", 0), ("2150-01-01", -1)):
            archive.conn.execute("UPDATE photo SET taken_at = ? || 'T10:00:00'", (taken,))
            made = table_of(archive.conn, (), colourway="Low sun", form="skein").made
            assert (made[place].lot, made[place].day) == (first, taken)
            assert [m.lot for m in made].count(first) == 1


def test_a_hex_is_answered_with_a_warning(ask):
    said = ask("near", "#8a3a70", "-n", "1").out
    assert said.startswith("! A hex colour is a screen's")
    assert "kL = 2" in said


def test_other_dyes_come_side_by_side(ask):
    answer = json.loads(ask("near", "42.5,31,-8", "--other-dyes", "--json").out)
    assert {h["dyes"][0]["dye"] for h in answer["hits"]} == {"Ember", "Tarn"}
    none = ask("near", "90,0,0", "--other-dyes")
    said = "no swatch within ΔE00 2 (kL = 2) of L* 90 a* 0 b* 0: ask further with --tolerance\n"
    assert (none.code, none.out) == (0, said)


def test_no_other_dyes_says_what_lies_near_instead(ask, yarn, tmp_path, capsys):
    near = ask("near", "d0", "--other-dyes", "--tolerance", "0.4").out
    assert near == (
        "no lot without a dye in common within ΔE00 0.4 (kL = 2) of swatch d0: 7 swatches lie "
        "there, 7 with a dye in common\n"
    )
    folder = shutil.copytree(yarn, tmp_path / "yarn")
    with open_archive(folder) as archive:
        swatch = add_swatch(archive.conn, Swatch("bare", "Torva", "skein")).id
        source = photo_file(tmp_path, "bare.jpg", b"bare")
        photo = photo_of(source, (measured(lab=(90, 0, 3), flags=frozenset()),))
        file_photo(archive, photo, source, [RegionOf("new", swatch)], PhotoFacts())
    said = run(capsys, "near", "90,0,3", "--other-dyes", "--archive", folder).out
    assert said.endswith("b* 3: 1 swatch lies there, 1 with no dyes written down\n")


def test_other_dyes_are_other_than_the_swatch_s_own(ask):
    hits = json.loads(ask("near", "d0", "--other-dyes", "--tolerance", "9", "--json").out)["hits"]
    assert {d["dye"] for h in hits for d in h["dyes"]} == {"Tarn"}  # d0 is of Ember


def test_like_goes_by_the_look(ask):
    hits = json.loads(ask("like", "d0", "-n", "11", "--json").out)["hits"]
    assert hits[-1]["swatch"] == "t1"  # near in mean colour, but variegated
    assert {h["swatch"] for h in hits[:6]} <= {"d1", "d2", "d3", "d4", "d5", "d6", "k1"}
    assert [h["rank"] for h in hits] == list(range(1, 12))
    assert "by its colours only" in ask("like", "#8a3a70").out


def test_like_among_few_of_many_finds_as_many_as_were_asked_for(yarn):
    """What a filter leaves may lie far down in the order of all."""
    with open_archive(yarn) as archive:
        query = query_of_swatch(archive.conn, "d9")
        every = like(archive.conn, query, Filters(), k=11)
        for filters in (Filters(form="knit"), Filters(base="Torva"), Filters(form="skein")):
            wanted = swatches_where(archive.conn, filters)
            want = [(h.made.swatch, h.distance) for h in every if h.made.swatch_id in wanted]
            found = like(archive.conn, query, filters, k=2)
            assert [(h.made.swatch, h.distance) for h in found] == want[:2]
    assert "d9" not in [h.made.swatch for h in every]


def test_groups_with_the_order_and_the_numbers(ask):
    answer = json.loads(
        ask(
            *("groups", "--colourway", "Low sun", "--form", "skein", "--damp"),
            *("--tolerance", "1", "--json"),
        ).out
    )
    assert [len(g) for g in answer["groups"]] == [7, 3]
    assert set(answer["groups"][1]) == {"d7", "d8", "d9"}
    assert answer["shade_sort"]["d0"] == "555"
    assert answer["shade_sort"]["d9"] == "855"
    assert len(answer["alternate"]) == 1
    assert "blocks of ΔL* 1" in ask("groups", "D0", "D9", "--form", "skein").out


def test_drift_is_told_and_drawn(ask, tmp_path):
    target = tmp_path / "drift.svg"
    said = ask("drift", "Low sun", "--form", "skein", "--svg", target).out
    assert "new: packet Ember E2, stock Ember S2" in said
    assert "lighter than the limits allow" in said
    record = json.loads(ask("drift", "Low sun", "--form", "skein", "--json").out)
    limits = ", ".join(f"{a} {v:.2f}" for a, v in zip(record["axes"], record["limit"], strict=True))
    assert f"limits, either side of the middle: {limits};" in said
    steps = (f"{a} {v:.2f}" for a, v in zip(record["axes"], record["range_limit"], strict=True))
    assert f"of a step to the next lot: {', '.join(steps)}\n" in said
    assert record["enough_lots"] and all(f"{line}\n" in said for line in record["said"])
    assert target.read_text(encoding="utf-8").startswith("<svg")
    record = json.loads(ask("drift", "Low sun", "--form", "skein", "--damp", "--json").out)
    assert record["lots"][7]["changes"] == ["packet Ember E2", "stock Ember S2"]


def test_gaps_and_bases(ask, tmp_path):
    assert "do not span" in ask("gaps", "Torva").err
    said = ask("gaps", "Lumme", "--svg", tmp_path / "map.svg", "-n", "2")
    assert (said.code, "Inside what 10 swatches span" in said.out) == (0, True)
    rows = json.loads(ask("bases", "Low sun", "--json").out)
    assert [(r["form"], r["swatches"]) for r in rows] == [("knit", 1), ("skein", 9)]


def test_a_photo_is_searched_and_without_a_card_warned_of(ask, tmp_path, monkeypatch):
    monkeypatch.setattr("ingest.pipeline.METHOD_VERSION", "1")  # that of the archive's measurements
    marks = json.loads((EXAMPLE / "hedge.marks.json").read_text(encoding="utf-8"))
    photo = tmp_path / "hedge.jpg"
    photo.write_bytes((EXAMPLE / "hedge.jpg").read_bytes())
    (tmp_path / "hedge.marks.json").write_text(json.dumps({"swatches": marks["swatches"]}))
    warned = json.loads(ask("near", photo, "-n", "3", "--json").out)
    assert "steps or chart was found in this photo" in warned["warnings"][0]
    assert {h["rank"] for h in warned["hits"]} == {1}  # nothing can be told apart
    (tmp_path / "hedge.marks.json").write_text(json.dumps(marks))
    answer = json.loads(ask("near", photo, "--json").out)
    (far,) = answer["warnings"]  # of no card nothing is said; the archive holds no such green
    assert far.startswith("Nothing within ΔE00 2, or within 3 times the doubt,")
    assert "has no region 'x'" in ask("near", photo, "--region", "x").err
    name = marks["swatches"][0]["name"]
    for command in ("near", "like"):
        with_option = ask(command, photo, "--region", name, "--json")
        assert json.loads(ask(command, f"{photo}:{name}", "--json").out) == json.loads(
            with_option.out
        )
    assert "has no region 'x'" in ask("like", f"{photo}:x").err
    assert ask("like", f"{photo}:{name}", "--region", "x").code == 2
    (tmp_path / "hedge.marks.json").write_text(json.dumps({**marks, "swatches": []}))
    assert "no swatch marked" in ask("near", photo).err


@pytest.mark.parametrize(
    ("arguments", "what"),
    [
        (["near", "500,0,0"], "is no colour"),
        (["near", "#12"], "no hex colour"),
        (["near", "nothing-like-it"], "unknown swatch"),
        (["near", "d0", "--base", "Nowhere"], "unknown base"),
        (["near", "d0", "--fibre", "linen"], "ask for less"),
        (["near", "50,0,0", "--k-l", "0"], "kL is 0"),
        (["like", "d0", "--tonality", "gradient"], "ask for less"),
        (["near", "nothing-like-it"], "14 names, none like it: look through its swatches"),
        (["near", "T-1"], "the nearest are 't1', "),
        (["near", "L2"], "swatch 'sun 2' has no measured photo yet"),  # its one swatch
        (["like", "sun 1"], "swatch 'sun 1' has no measured photo yet"),
        (["groups"], "nothing to group"),
        (["groups", "d77"], "unknown swatch or lot 'd77': the nearest are "),
        (["groups", "d0", "sun 2"], "swatch 'sun 2' has no measured photo yet"),
        (["groups", "D1", "L2"], "lot 'L2' has no measured photo yet: photograph 'sun 2' and add"),
        (["groups", "--colourway", "Low sun", "--base", "Torva"], "11 measured swatches, none on "),
        (["drift", "Low sun", "--form", "wound card"], "Lumme as skein (10), Lumme as knit (1)"),
        (["groups", "D0", "k1"], "form alone"),
        (["groups", "D2", "--tolerance", "-1"], "tolerance is -1"),
        (["drift", "Wet slate"], "one measured lot"),
        (["drift", "Nowhere"], "unknown colourway"),
        (["drift", "Low sun"], "name one base and form"),
        (["gaps", "Nowhere"], "unknown base"),
    ],
)
def test_a_mistake_is_one_plain_line(ask, arguments, what):
    ran = ask(*arguments)
    assert ran.code == 1
    assert what in ran.err
    assert len(ran.err.strip().splitlines()) == 1


@pytest.mark.parametrize("arguments", [["near", "50,0,0"], ["near", "#888"]])
def test_an_empty_archive_says_so(arguments, tmp_path, capsys):
    create_archive(tmp_path / "new").close()
    ran = run(capsys, *arguments, "--archive", tmp_path / "new")
    assert ran.code == 1
    assert "no measured swatch" in ran.err


def test_distance_and_doubt_are_by_the_same_photo(tmp_path, capsys):
    """In the photo that shows both they are 1 apart, by the newest photo of the one 7; a third
    lies 2 off by its own photo, and would come first."""
    with create_archive(tmp_path / "yarn") as made:
        one, two = studio(made.conn)
        third = add_swatch(made.conn, Swatch("sun 3", "Lumme", "skein", "L2")).id
        shown = [({"a": 42.0, "b": 43.0}, 1), ({"b": 49.0}, 2), ({"c": 44.5}, 3)]
        ids = {"a": one, "b": two, "c": third}
        for lightness, day in shown:
            path = photo_file(tmp_path, f"{day}.jpg", f"{day}".encode())
            found = [measured(n, (L, 30.0, -8.0), flags=frozenset()) for n, L in lightness.items()]
            photo = photo_of(path, found, taken_at=f"2026-05-0{day}T10:00:00")
            file_photo(made, photo, path, [RegionOf(n, ids[n]) for n in lightness])
        query = query_of_swatch(made.conn, "sun 1")
        kept = keep_colours(made.conn)
        hits = near(made.conn, kept, query, Filters(), k=1, k_l=1.0)
        inside = within(made.conn, kept, query, Filters(), 1.5, 1.0)
    want = float(delta_e_2000(np.array([42.0, 30, -8]), np.array([43.0, 30, -8]), 1.0))
    for found in (hits, inside):
        (hit,) = found
        assert (hit.made.swatch, hit.photos) == ("sun 2", "same frame")
        assert hit.distance == pytest.approx(want)
    said = run(capsys, "near", "sun 1", "--k-l", 1, "--json", "--archive", tmp_path / "yarn").out
    assert [h["swatch"] for h in json.loads(said)["hits"]] == ["sun 2", "sun 3"]


def test_a_damp_swatch_is_marked_where_it_is_found(ask):
    """d1 was measured damp, all others dry."""
    for search in ("near", "like"):
        hits = json.loads(ask(search, "d0", "-n", "12", "--json").out)["hits"]
        assert [h["swatch"] for h in hits if h["damp"]] == ["d1"]
        (line,) = (x for x in ask(search, "d0", "-n", "12").out.splitlines() if " d1 " in x)
        assert "skein, measured damp" in line
    assert "It was measured damp" in ask("near", "d1").out
    assert "It was measured damp" not in ask("near", "d0").out


def test_groups_and_drift_leave_a_damp_swatch_out_unless_asked(ask):
    groups, drift = (
        ("groups", "d0", "d1", "d2", "--form", "skein"),
        ("drift", "Low sun", "--form", "skein"),
    )
    said = ask(*groups).out
    assert "d1 was measured damp and left out" in said
    assert not any(line.startswith("  d1 ") for line in said.splitlines())
    record = json.loads(ask(*groups, "--json").out)
    assert record["left_out_damp"] == ["d1"] and "d1" not in record["shade_sort"]
    with_it = json.loads(ask(*groups, "--damp", "--json").out)
    assert with_it["left_out_damp"] == [] and "d1" in with_it["shade_sort"]
    lots = json.loads(ask(*drift, "--json").out)
    assert "D1" not in [lot["lot"] for lot in lots["lots"]]
    assert lots["notes"][0].startswith("d1 was measured damp and left out")
    every = json.loads(ask(*drift, "--damp", "--json").out)
    assert "D1" in [lot["lot"] for lot in every["lots"]]
    assert not any("damp" in note for note in every["notes"])


def test_gaps_and_bases_leave_a_damp_swatch_out_unless_asked(ask):
    damp = "d1 was measured damp and left out"
    for asked in (("gaps", "Lumme", "-n", "1"), ("bases", "Low sun")):
        assert damp in ask(*asked).out
        assert "damp" not in ask(*asked, "--damp").out
    assert "what 11 swatches span" in ask("gaps", "Lumme", "--damp").out
    assert json.loads(ask("gaps", "Lumme", "--json").out)["left_out_damp"] == ["d1"]
    assert json.loads(ask("gaps", "Lumme", "--damp", "--json").out)["left_out_damp"] == []
    (_, dry), (_, every) = (
        json.loads(ask("bases", "Low sun", *more, "--json").out) for more in ((), ("--damp",))
    )
    assert (dry["swatches"], dry["left_out_damp"]) == (9, ["d1"])
    assert (every["swatches"], every["left_out_damp"]) == (10, [])
    assert dry["lab"][0] == pytest.approx(every["lab"][0] * 10 / 9 - 42.1 / 9)


def test_a_base_on_which_all_were_damp_is_told_and_has_no_mean(yarn):
    with open_archive(yarn) as archive:
        table = table_of(archive.conn, (), colourway="Low sun", form="skein", damp=False)
    (damp,) = table.left_out
    elsewhere = replace(table, left_out=(replace(damp, base="A first one"),))
    first, second = across_bases(elsewhere)
    assert (first.base, first.swatches, first.lab) == ("A first one", 0, None)
    assert first.left_out_damp == ("d1",)
    assert second.shift == (0.0, 0.0, 0.0)  # from the first base that has a mean


def test_of_many_damp_swatches_the_first_are_named_and_all_are_counted():
    assert damp_words(["a", "b"]).startswith("2 swatches, a, b were measured damp")
    said = damp_words([f"s{i}" for i in range(30)])
    assert said.startswith("30 swatches, s0, s1") and "s7 and 22 more were measured damp" in said


def test_damp_swatches_alone_are_refused_with_what_to_do(ask):
    assert ask("groups", "d1").err == (
        "d1 was measured damp and left out, since wet yarn is darker and stronger in colour: "
        "photograph it again, dry\n"
    )


def test_near_says_where_nothing_is_near(ask):
    said = "Nothing within ΔE00 2, or within 3 times the doubt, of L* 90 a* 0 b* 0: the nearest is "
    record = json.loads(ask("near", "90,0,0", "--json").out)
    (warning,) = record["warnings"]
    first = record["hits"][0]
    assert warning == f"{said}{first['swatch']}, {first['distance']:.3g} off (kL = 2)."
    assert first["distance"] > 3 * first["u"] and len(record["hits"]) == 10
    assert ask("near", "90,0,0").out.splitlines()[0] == f"! {warning}"
    assert "Nothing" not in ask("near", "42,31,-8").out
    # 3 off, and the doubt is over 1
    doubtful = json.loads(ask("near", "39,31,-8", "--k-l", "1", "--json").out)
    assert 2 < doubtful["hits"][0]["distance"] <= 3 * doubtful["hits"][0]["u"]
    assert doubtful["warnings"] == []


def test_a_tolerance_is_a_limit_also_without_other_dyes(ask):
    every = json.loads(ask("near", "42,31,-8", "-n", "20", "--json").out)["hits"]
    some = json.loads(ask("near", "42,31,-8", "-n", "20", "--tolerance", "1", "--json").out)["hits"]
    assert some == [h for h in every if h["distance"] <= 1] and 0 < len(some) < len(every)
    none = ask("near", "90,0,0", "--tolerance", "3").out
    assert none.startswith("! Nothing within ΔE00 3 of L* 90 a* 0 b* 0: the nearest is ")
    assert len(none.splitlines()) == 1
    assert "tolerance is -1" in ask("near", "42,31,-8", "--tolerance", "-1").err


def test_means_carry_a_doubt_that_what_is_shared_does_not_average_out_of(yarn, ask):
    """Ten swatches in one set-up: their own and their photos' part falls, the rest stays."""
    one = covariance()
    n = 9  # d1 is damp
    (_, skeins) = json.loads(ask("bases", "Low sun", "--json").out)
    expected = np.sqrt(np.diag((one.region + one.frame) / n + one.setup + one.profile))
    assert skeins["u_lab"] == pytest.approx(expected.tolist())
    said = ask("bases", "Low sun").out
    assert f"{skeins['lab'][0]:.1f} ± {skeins['u_lab'][0]:.1f}" in said
    record = json.loads(ask("groups", "d0", "d2", "--form", "skein", "--json").out)
    alone = np.sqrt(np.diag(one.total)).tolist()
    assert record["colours"]["d2"]["u_lab"] == pytest.approx(alone)
    lab = record["colours"]["d2"]["lab"]
    line = next(
        x for x in ask("groups", "d0", "d2", "--form", "skein").out.splitlines() if "d2" in x
    )
    assert f"{lab[0]:.1f} ± {alone[0]:.1f}" in line


def test_swatches_in_one_photo_share_its_part_of_the_doubt():
    one = covariance()
    apart = u_of_mean([one] * 4, [1, 1, 1, 1], ["a", "b", "c", "d"])
    pairs = u_of_mean([one] * 4, [1, 1, 2, 2], ["a", "a", "b", "b"])
    assert apart == u_of_mean([one] * 4, [1, 1, 1, 1])
    assert np.square(apart) == pytest.approx(
        np.diag(one.region / 4 + one.frame / 4 + one.setup + one.profile)
    )
    assert np.square(pairs) == pytest.approx(
        np.diag(one.region / 4 + one.frame / 2 + one.setup / 2 + one.profile)
    )
    unknown = replace(one, frame=np.full((3, 3), np.nan))
    assert np.isnan(u_of_mean([one, unknown], [1, 2])).all()


def test_a_search_by_photo_where_nothing_is_measured_yet_says_so(tmp_path, capsys):
    archive = tmp_path / "archive"
    assert run(capsys, "new", archive).code == 0
    steps = ("--steps", "0.9,0.59,0.36,0.195,0.09,0.032")
    for command in ("near", "like"):
        ran = run(capsys, command, EXAMPLE / "harbour-1.jpg", *steps, "--archive", archive)
        assert ran.code == 1 and "holds no measured swatch to search yet" in ran.err
        assert "remeasure" not in ran.err

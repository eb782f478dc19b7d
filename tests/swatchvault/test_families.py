"""Lots of a colourway set against each other, and over time against their master."""

import pytest

from swatchvault.archive import (
    Lot,
    Master,
    Notes,
    RegionOf,
    Swatch,
    add_swatch,
    apply_notes,
    create_archive,
    file_photo,
    set_master,
)
from swatchvault.checking import Ask, check_lot
from swatchvault.errors import NotFound
from swatchvault.families import lots_together
from tests.swatchvault.factories import measured, photo_file, photo_of, studio

LABELS = ("sun 1", "sun 2", "sun 3", "sun 3 again", "knitted")


def file_one(archive, folder, swatch_ids, name, labs, version="1"):
    """One photo of some swatches; ``labs``: of each."""
    path = photo_file(folder, f"{name}.jpg", name.encode())
    names = [f"s{i}" for i in swatch_ids]
    seen = [measured(n, lab, clipped_share=0.0) for n, lab in zip(names, labs, strict=True)]
    photo = photo_of(path, seen, version=version)
    regions = [RegionOf(n, i) for n, i in zip(names, swatch_ids, strict=True)]
    return file_photo(archive, photo, path, regions)


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    """Three lots as skeins, the last with two of them, and a knit; the second is the master."""
    folder = tmp_path_factory.mktemp("template") / "yarn"
    with create_archive(folder) as archive:
        one, two = studio(archive.conn)
        apply_notes(
            archive.conn, Notes(lots=(Lot("L0", ("Lumme",), "Low sun", dyed_on="2026-01-01"),))
        )
        three, again = (
            add_swatch(archive.conn, Swatch(label, "Lumme", "skein", "L0")).id
            for label in LABELS[2:4]
        )
        knitted = add_swatch(archive.conn, Swatch("knitted", "Lumme", "knit", "L1")).id
        set_master(archive.conn, Master("Low sun", "Lumme", "skein", "sun 2", 1.5, 1.0))
        labs = ((42.0, 31.0, -8.0), (42.5, 31.0, -8.0))
        file_one(archive, folder.parent, (one, two), "both", labs)
        for swatch, name, light in ((three, "c", 52.0), (again, "d", 43.0), (knitted, "e", 44.0)):
            file_one(archive, folder.parent, (swatch,), name, ((light, 31.0, -8.0),))
    return folder


def test_every_pair_of_a_family_is_held_to_the_earlier_one(archive):
    (family,) = lots_together(archive.conn, "Low sun", None, Ask())
    assert (family.base, family.form, family.master, family.k_l) == ("Lumme", "skein", "sun 2", 1.0)
    assert family.names == ("sun 3", "sun 3 again", "L1", "L2")  # a lot with two: the swatches
    assert list(family.pairs) == [(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3)]
    differences = {pair: c.difference for pair, c in family.pairs.items()}
    assert differences[2, 3].d_lch[0] == 0.5 and differences[0, 2].d_lch[0] == -10.0
    assert {d.conditions.tolerance for d in differences.values()} == {1.5}
    assert differences[2, 3].conditions.capture.value == "same frame"
    assert differences[0, 2].conditions.capture.value == "other"
    assert family.record()["pairs"][-1]["lots"] == ["L1", "L2"]


def test_the_course_is_what_checks_of_its_lots_say(archive):
    (family,) = lots_together(archive.conn, "Low sun", None, Ask(tolerance=3.0))
    told = [(p.when, p.swatch, p.comparison.new.name) for p in family.course]
    assert told == [
        ("2026-01-01", "sun 3", "L0"),
        ("2026-01-01", "sun 3 again", "L0"),
        ("2026-03-01", "sun 1", "L1"),
    ]
    checks = [
        check
        for lot in ("L0", "L1")
        for check in check_lot(archive.conn, lot, Ask("skein", tolerance=3.0)).given
    ]
    figures = [
        [c.difference.delta_e_00, c.difference.p_within]
        for c in (*(p.comparison for p in family.course), *(c.checked.comparison for c in checks))
    ]
    assert figures[:3] == figures[3:]
    assert {p.comparison.difference.conditions.tolerance for p in family.course} == {3.0}


def test_the_photos_of_a_swatch_are_read_once(archive):
    asked = []
    archive.conn.set_trace_callback(asked.append)
    lots_together(archive.conn, "Low sun", None, Ask())
    assert sum("FROM current_measurement AS m" in sql for sql in asked) == 1
    asked.clear()
    check_lot(archive.conn, "L0", Ask())
    assert sum("FROM current_measurement AS m" in sql for sql in asked) == 1


def test_a_form_with_one_lot_is_no_family(archive):
    with pytest.raises(NotFound, match="no two measured lots"):
        lots_together(archive.conn, "Low sun", None, Ask("knit"))

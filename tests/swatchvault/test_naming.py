"""Names that do not fit: a lot for a swatch, yarn without a photo, and what is nearest."""

import pytest

from swatchvault.archive import Lot, Swatch, add_lot, add_swatch, create_archive
from swatchvault.errors import NotFound
from swatchvault.naming import measured_swatch
from swatchvault.queries import query_of_text
from tests.swatchvault.factories import studio
from tests.swatchvault.running import run
from tests.swatchvault.test_archive_speaking import photographed


@pytest.fixture
def archive(tmp_path):
    """Nothing photographed; lots with three swatches, with one, and with none."""
    with create_archive(tmp_path / "yarn") as made:
        studio(made.conn)
        add_lot(made.conn, Lot("D77", ("Lumme",), "Low sun"))
        for label in ("sun 1 b", "sun 1 c"):
            add_swatch(made.conn, Swatch(label, "Lumme", "knit", "L1"))
    return tmp_path / "yarn"


@pytest.mark.parametrize("command", ["tonal", "like", "near"])
@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("l1", "'l1' is a lot, and its swatches are 'sun 1', 'sun 1 b', 'sun 1 c': name one of "),
        ("L2", "swatch 'sun 2' has no measured photo yet"),  # the one swatch of its lot
        ("d77", "lot 'd77' has no swatch yet: photograph its yarn and add it first"),
        ("sun 2", "swatch 'sun 2' has no measured photo yet: photograph and add it first"),
        ("snu 2", "unknown swatch 'snu 2': the nearest are 'sun 2', 'sun 1', 'sun 1 c', 'sun 1 b'"),
        ("low sun", "'low sun' is a colourway: its lots are 'D77', 'L1', 'L2': name one of these"),
        ("Qxzv", "the archive has 4 names, none like it: look through its swatches"),
    ],
)
def test_a_swatch_is_asked_for(archive, capsys, command, name, said):
    ran = run(capsys, command, name, "--archive", archive)
    assert (ran.code, said in ran.err) == (1, True), ran.err


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("l1", "lot 'l1' has no measured photo yet: photograph 'sun 1' or 'sun 1 b' or 'sun 1 c' "),
        ("d77", "lot 'd77' has no swatch yet: photograph its yarn and add it first"),
        ("sun 2", "swatch 'sun 2' has no measured photo yet: photograph it and add it first, or "),
        ("L22", "unknown swatch or lot 'L22': the nearest are 'L2', 'L1'"),
        ("Low sun", "'Low sun' is a colourway: its lots are"),
        ("Qxzv", "none like it: look through its swatches and lots"),
    ],
)
def test_lots_and_swatches_are_asked_for(archive, capsys, name, said):
    ran = run(capsys, "groups", name, "--archive", archive)
    assert (ran.code, said in ran.err) == (1, True), ran.err


def test_a_colourway_in_place_of_a_swatch_names_its_master(archive, capsys):
    assert run(capsys, "master", "sun 2", "--archive", archive).code == 0
    said = run(capsys, "near", "Low sun", "--archive", archive).err
    assert "'Low sun' is a colourway: it is held to 'sun 2', and its lots are 'D77'" in said


def test_a_lot_of_one_swatch_is_that_swatch(tmp_path):
    with photographed(tmp_path, (41, {})) as archive:
        assert [c.swatch for c in measured_swatch(archive.conn, "l1")] == ["sun 1"]
        assert query_of_text(archive.conn, "L1").target.name == "swatch sun 1"
        add_swatch(archive.conn, Swatch("sun 3", "Lumme", "skein", "L1"))
        with pytest.raises(NotFound, match="its swatches are 'sun 1', 'sun 3': name one"):
            measured_swatch(archive.conn, "L1")


def test_an_empty_archive_has_none(tmp_path, capsys):
    create_archive(tmp_path / "new").close()
    ran = run(capsys, "tonal", "x", "--archive", tmp_path / "new")
    assert "unknown swatch 'x': the archive has none yet" in ran.err

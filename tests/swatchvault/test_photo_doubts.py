"""Photos taken before their lot was dyed: noted, and never refused."""

import json

import pytest

from swatchvault.archive import PhotoFacts, RegionOf, file_photo, open_archive
from swatchvault.archive.photo_doubts import photo_doubts
from tests.swatchvault.factories import photo_file, photo_of
from tests.swatchvault.running import run


def filed(folder, tmp_path, taken_at):
    """A photo of the swatch of lot L1, dyed on 2026-03-01, is in the archive; its sha256."""
    path = photo_file(tmp_path)
    found = photo_of(path, taken_at=taken_at)
    with open_archive(folder) as archive:
        sql = "SELECT id FROM swatch WHERE label = 'sun 1'"
        (swatch_id,) = archive.conn.execute(sql).fetchone()
        file_photo(archive, found, path, [RegionOf("new", swatch_id)], PhotoFacts())
    return found.sha256


@pytest.mark.parametrize(
    ("taken_at", "noted"),
    [
        ("2026-02-28T23:59:59", True),
        ("2026-03-01T00:00:00", False),  # the day it was dyed
        ("2026-03-02T11:00:00", False),
        (None, False),
    ],
)
def test_verify_notes_it_and_leaves_with_0(folder, tmp_path, capsys, taken_at, noted):
    sha256 = filed(folder, tmp_path, taken_at)
    ran = run(capsys, "verify")
    said = [line for line in ran.out.splitlines() if line.startswith("note: ")]
    assert ran.code == 0 and ran.out.splitlines()[-1] == "everything fits"
    assert len(said) == noted
    if noted:
        assert said[0].startswith("note: photo 'IMG_1.JPG' of swatch 'sun 1': it was taken on ")
        assert "2026-02-28, and lot 'L1' was dyed on 2026-03-01; correct the lot's day" in said[0]
    items = json.loads(run(capsys, "verify", "--json").out)
    assert [(i["kind"], i["note"]) for i in items] == [("photo before dyeing", True)] * noted
    with open_archive(folder) as archive:
        assert len(photo_doubts(archive.conn, sha256=sha256)) == noted
        assert photo_doubts(archive.conn, sha256="0" * 64) == []
        assert photo_doubts(archive.conn, lot_id=2) == []


def test_what_is_set_aside_is_no_longer_noted(folder, tmp_path, capsys):
    filed(folder, tmp_path, "2026-02-28T12:00:00")
    assert run(capsys, "aside", "sun 1", "IMG_1.JPG", "--because", "not of it").code == 0
    assert "note: " not in run(capsys, "verify").out


def test_mend_tells_what_it_makes_doubtful(folder, tmp_path, capsys):
    filed(folder, tmp_path, "2026-03-02T11:00:00")
    out = run(capsys, "mend", "lot", "L1", "--dyed-on", "2026-03-05", "--yes").out
    assert "note: photo 'IMG_1.JPG' of swatch 'sun 1': it was taken on 2026-03-02" in out
    assert run(capsys, "verify").code == 0

"""Photos of one swatch that contradict each other are not averaged to a verdict."""

import json

import numpy as np
import pytest

from swatchvault.difference import Verdict
from swatchvault.lotcheck import Held, check_swatch
from swatchvault.pair import Capture, OwnFrame
from tests.swatchvault.test_lotcheck import LAB, judged, photo

LIGHTER = np.array([1.0, 0.0, 0.0])


def seen(number, off, name, **facts):
    return photo(number, lab=LAB + off * LIGHTER, photo=name, locked=True, **facts)


def test_a_mean_of_two_lots_is_not_within():
    """One photo of a darker and one of a lighter lot, filed as one swatch, read 0.19, `within`."""
    master = [seen(1, 0.0, "master.jpg")]
    lot = [seen(11, -10.0, "low.jpg"), seen(12, 10.4, "high.jpg")]
    checked, *_ = judged(master, lot)
    difference = checked.comparison.difference
    assert difference.delta_e_00 < 0.5 and difference.verdict is Verdict.CANNOT_TELL
    (said,) = difference.stops
    assert "The photos of s do not agree" in said and "low.jpg" in said and "high.jpg" in said
    assert "swatchvault aside" in said
    assert said in checked.comparison.sentences or said in " ".join(checked.comparison.sentences)
    swapped, *_ = judged(lot, master)
    assert swapped.comparison.verdict is Verdict.CANNOT_TELL


def test_photos_that_agree_within_their_doubt_are_averaged_without_a_word():
    lot = [seen(11, -0.8, "low.jpg"), seen(12, 0.8, "high.jpg")]
    checked, *_ = judged([seen(1, 0.0, "master.jpg")], lot)
    assert checked.comparison.verdict is Verdict.WITHIN
    assert "do not agree" not in " ".join(checked.comparison.sentences)


def test_photos_by_one_card_may_differ_as_cards_do():
    """Their doubt has it already: far beyond the tolerance is outside still."""
    card = {"reference": "card", "locked": True}
    lot = [
        photo(n, lab=np.array([L, -60.0, -30.0]), setup=n, **card) for n, L in ((11, 44), (12, 56))
    ]
    checked, *_ = judged([seen(1, 0.0, "master.jpg", reference="card", setup=5)], lot)
    assert not checked.comparison.difference.stops
    assert checked.comparison.verdict is Verdict.OUTSIDE


def test_a_photo_of_both_decides_and_another_that_contradicts_it_is_told():
    frame = {"photo_sha256": "f" * 64, "photo": "both.jpg"}
    master = [seen(1, 0.0, "master.jpg"), photo(2, lab=LAB, locked=True, **frame)]
    wrong = photo(12, lab=np.array([40.0, -10.0, -40.0]), photo="wrong.jpg", locked=True)
    lot = [photo(11, lab=LAB + 0.2, locked=True, **frame), wrong]
    checked, masters, lots = judged(master, lot)
    assert (checked.comparison.verdict, masters, lots) == (Verdict.WITHIN, (2,), (11,))
    (told,) = (n for n in checked.comparison.notes if "do not agree" in n)
    assert "wrong.jpg" in told and "both.jpg" in told


@pytest.mark.parametrize(("second", "agrees"), [(0.3, True), (12.0, False)])
def test_photos_of_both_may_be_lighter_but_not_one_swatch_alone(second, agrees):
    """All of the second photo is lighter by 8; in the other case the lot by 12 more."""
    frames = [{"photo_sha256": c * 64, "photo": f"{c}.jpg", "locked": True} for c in "ab"]
    master = [photo(n, lab=LAB + n * 8.0 * LIGHTER, **f) for n, f in enumerate(frames)]
    more = (0.3, second)
    lot = [
        photo(10 + n, lab=LAB + (n * 8.0 + more[n]) * LIGHTER, **f) for n, f in enumerate(frames)
    ]
    checked, *_ = judged(master, lot)
    stops = checked.comparison.difference.stops
    assert (not stops, checked.comparison.verdict is Verdict.WITHIN) == (agrees, agrees)
    assert agrees or "not apart by the same in all photos" in stops[0]


def test_what_repeats_taught_is_not_got_round_as_photos_of_any_set_up():
    """Of a set-up that scatters by 2.6, photos as of two set-ups had been taken for surer."""
    master, lot = [seen(1, 0.0, "master.jpg")], [seen(11, 1.0, "lot.jpg")]
    for setup in (1, 2):
        held = Held(same_dyes=True, own_frames={1: OwnFrame(2.6**2 * np.eye(3), Capture.LOCKED)})
        lot = [seen(11, 1.0, "lot.jpg", setup=setup)]
        doubt = check_swatch(master, lot, held).comparison.difference.u_at_tolerance
        assert doubt > 2.6


def test_a_check_of_such_photos_prints_it(tmp_path, capsys):
    from tests.swatchvault.running import run
    from tests.swatchvault.test_together import archive_of

    photos = (("w", {"a": 42.0}), ("w", {"b": 32.0}), ("w", {"b": 52.0}))
    with archive_of(tmp_path, photos) as archive:
        archive.conn.commit()
    where = ("--archive", tmp_path / "yarn")
    run(capsys, "master", "a", *where)
    ran = run(capsys, "check", "L1", "--json", *where)
    (check,) = (c for c in json.loads(ran.out) if c["swatch"] == "b")
    assert check["verdict"] == "cannot tell"
    assert any("do not agree (1.jpg and 2.jpg" in said for said in check["reasons"])

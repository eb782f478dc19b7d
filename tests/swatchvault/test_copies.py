"""Copies of one shot: told by their pictures, however saved, and counted as one photo."""

import io
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from PIL import Image

from swatchvault.copies import ONE_SHOT, of_one_shot, unlike, view_of
from swatchvault.repeats import words
from tests.render.camera import Shot, reshoot
from tests.render.dye import Dyeing
from tests.render.objects import Place, Steps, Swatch
from tests.render.scene import Scene, render
from tests.render.strands import Yarn
from tests.render.yarn import Lamp
from tests.swatchvault.test_instrument import learned_from, photos

DYES = ("Pellow red", "Ostrel yellow", "Marn blue")


def taken(number):
    """The same pieces on the same table, each laid down anew within 2 mm, the light turned."""
    rng = np.random.default_rng([99, number])
    first = Shot(tone="soft s", veil=0.006, read_noise=0.0025, full_well=9000.0)
    pieces = [
        Swatch(
            dye,
            Place(62 * column + rng.uniform(-2, 2), -30 + rng.uniform(-2, 2)),
            "wound card",
            (52, 40),
            Yarn(),
            Dyeing("wool", (((dye, 0.4),),), "solid", 0.012),
            20 + column,
        )
        for column, dye in enumerate(DYES, -1)
    ]
    steps = Steps(Place(0, 44), patch_mm=(13.0, 19.0))
    lamp = Lamp(215 + rng.uniform(-8, 8), 50, 0.55)
    scene = Scene((*pieces, steps), reshoot(rng, first, True), lamp, size_px=(800, 600))
    return Image.fromarray(render(scene).coded)


@pytest.fixture(scope="module")
def anew():
    """Four photos of a table, everything on it set up anew before each."""
    return [taken(number) for number in range(4)]


def saved(picture, quality, scale=1.0):
    """The picture saved again as a JPEG, at another size."""
    size = (round(picture.width * scale), round(picture.height * scale))
    coded = io.BytesIO()
    picture.resize(size, Image.Resampling.LANCZOS).save(coded, "JPEG", quality=quality)
    return Image.open(coded)


def view(picture):
    return view_of(np.asarray(picture))


def test_copies_lie_far_under_the_bound_and_shots_set_up_anew_over_it(anew):
    ways = ((95, 1.0), (80, 1.0), (60, 1.0), (90, 0.75), (75, 0.5))
    for picture in anew[:2]:
        copies = [view(saved(picture, *way)) for way in ways]
        assert unlike([view(picture), *copies]).max() < 0.3 * ONE_SHOT
    apart = unlike([view(p) for p in anew])
    assert min(apart[i, j] for i, j in combinations(range(len(anew)), 2)) > 1.3 * ONE_SHOT


def test_a_copy_is_known_however_bright_and_a_plain_picture_is_not(anew):
    brighter = np.asarray(anew[0]) * 0.8
    assert unlike([view(anew[0]), view_of(brighter.astype(np.uint8))])[0, 1] < 0.3 * ONE_SHOT
    plain = np.full((48, 64, 3), 128, dtype=np.uint8)
    assert view_of(plain) is None
    assert of_one_shot([None, None], [None, None]) == [(0,), (1,)]
    at = "2026-05-01T10:00:00"
    assert of_one_shot([None, None, view(anew[0])], [None, at, at]) == [(0,), (1, 2)]


def seen(pictures, scatter=1.0):
    made = photos(scatter, count=len(pictures))
    pairs = zip(made, pictures, strict=True)
    return [replace(photo, preview=np.asarray(picture)) for photo, picture in pairs]


def test_ten_copies_of_one_shot_or_five_shots_twice_certify_nothing(anew):
    rng = np.random.default_rng(0)
    noise = [Image.fromarray(rng.integers(0, 255, (60, 80, 3), dtype=np.uint8)) for _ in range(5)]
    ten = [saved(anew[0], 80 + i) for i in range(10)]
    twice = [saved(p, q) for q in (80, 90) for p in noise]
    for pictures, phrases in ((ten, 1), (twice, 5)):
        learned = learned_from(seen(pictures, 0.03))
        assert len(learned.one_shot) == phrases
        text = " ".join(words(learned))
        assert "nothing is certified" in text and "within a tolerance of" not in text
    first = "0.jpg, 1.jpg, 2.jpg and 7 more are one picture, in which nothing moved"
    assert learned_from(seen(ten)).one_shot == (first,)


def test_copies_among_enough_photos_count_as_one(anew):
    others = photos(1.0)
    copied = seen([saved(anew[0], q) for q in (70, 90)])
    both = [replace(p, sha256=f"c{i:063x}", path=f"c{i}.jpg") for i, p in enumerate(copied)]
    once, again = learned_from([*others, both[0]]), learned_from([*others, *both])
    assert words(again) == words(once) and again.photos == once.photos
    told = "Counted as one photo each: c0.jpg, c1.jpg are one picture, in which nothing moved."
    assert again.to_be_said == (told, *once.to_be_said)

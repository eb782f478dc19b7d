"""Exif facts from bytes: what cannot be read is unknown, never an error."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from ingest.exif import Exif, clean_text, read_exif


def exif(make=None, model=None, taken=None, offset=None, orientation=None, software=None):
    """Exif as Pillow writes it."""
    data = Image.Exif()
    main = {271: make, 272: model, 274: orientation, 305: software}
    for tag, value in main.items():
        if value is not None:
            data[tag] = value
    sub = data.get_ifd(0x8769)
    for tag, value in {36867: taken, 36881: offset}.items():
        if value is not None:
            sub[tag] = value
    return data.tobytes()


@pytest.mark.parametrize(
    ("taken", "offset", "wanted"),
    [
        ("2026:02:28 13:14:15", None, "2026-02-28T13:14:15"),
        ("2026:02:28 13:14:15", "-03:30", "2026-02-28T13:14:15-03:30"),
        ("2026:02:28 13:14:15", "east", "2026-02-28T13:14:15"),
        ("2026:02:28 13:14:15", "+99:00", "2026-02-28T13:14:15"),
        ("0000:00:00 00:00:00", "+01:00", None),
        ("2026:02:30 13:14:15", None, None),
        ("    :  :     :  :  ", None, None),
        ("yesterday", None, None),
        (None, "+01:00", None),
    ],
)
def test_time_is_iso_8601_or_unknown(taken, offset, wanted):
    assert read_exif(exif(taken=taken, offset=offset)).taken_at == wanted


@pytest.mark.parametrize(
    ("make", "model", "wanted"),
    [
        ("Lens", "Five", "Lens Five"),
        ("Lens", "LENS Five", "LENS Five"),
        ("Lens", None, "Lens"),
        (None, "Five", "Five"),
        ("  \t", "\x1b[2J", "[2J"),
        (None, None, None),
        ("L" * 200, "Five", "L" * 80),
    ],
)
def test_camera_is_one_clean_short_line(make, model, wanted):
    assert read_exif(exif(make=make, model=model)).camera == wanted


@pytest.mark.parametrize(
    ("software", "ours"), [("Swatchvault", True), ("Swatchvault 2", False), (None, False)]
)
def test_a_picture_that_this_program_wrote_is_known(software, ours):
    assert read_exif(exif(software=software)).ours is ours


@pytest.mark.parametrize(("stored", "wanted"), [(0, 1), (1, 1), (6, 6), (8, 8), (9, 1), (999, 1)])
def test_orientation_out_of_range_is_upright(stored, wanted):
    assert read_exif(exif(orientation=stored)).orientation == wanted


def test_the_leading_exif_mark_is_optional():
    data = exif(make="Lens", orientation=3)
    assert data[:6] == b"Exif\0\0"
    assert read_exif(data) == read_exif(data[6:]) == Exif(orientation=3, camera="Lens")


@pytest.mark.parametrize("data", [None, b"", b"Exif\0\0", b"II*\0", b"II*\0\xff\xff\xff\xff", b"x"])
def test_no_exif_is_no_error(data):
    assert read_exif(data) == Exif()


def test_a_directory_that_names_itself_ends():
    whole = exif(taken="2026:02:28 13:14:15")
    at = whole.index((34665).to_bytes(2, "big" if whole[6:8] == b"MM" else "little"))
    order = "big" if whole[6:8] == b"MM" else "little"
    looped = whole[: at + 8] + (8).to_bytes(4, order) + whole[at + 12 :]
    assert read_exif(looped).taken_at is None


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_damaged_exif_never_raises(data):
    damaged = bytearray(exif("Lens", "Five", "2026:02:28 13:14:15", "+01:00", 6))
    for _ in range(data.draw(st.integers(1, 8))):
        damaged[data.draw(st.integers(0, len(damaged) - 1))] = data.draw(st.integers(0, 255))
    found = read_exif(bytes(damaged[: data.draw(st.integers(0, len(damaged)))]))
    assert 1 <= found.orientation <= 8
    assert found.camera is None or found.camera.isprintable()


@given(st.text())
def test_clean_text_is_printable_and_short(text):
    clean = clean_text(text)
    assert clean.isprintable()
    assert len(clean) <= 80
    assert clean == clean.strip()

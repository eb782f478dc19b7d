"""The printed mat: what the PDF draws, and what a renderer makes of it."""

import re
import shutil
import subprocess

import cv2
import numpy as np
import pytest

from ingest.mat import Rect, find_mat, marker_bits, mat
from swatchvault.errors import SwatchvaultError
from swatchvault.matprint import TEXTS, write_mat
from tests.render.mat import as_photo

PAPERS = ("A4", "Letter")
DPI = 200
PT_PER_MM = 72 / 25.4  # ISO 32000-1, 8.3.2.3: a point is 1/72 inch


@pytest.fixture(scope="module", params=PAPERS)
def printed(request, tmp_path_factory):
    path = tmp_path_factory.mktemp("mat") / f"{request.param}.pdf"
    return write_mat(path, request.param), mat(request.param)


def content(path):
    """The page's drawing commands; the file is not compressed."""
    return re.search(rb"stream\r?\n(.*?)endstream", path.read_bytes(), re.S)[1].decode("latin-1")


def rectangles(path, sheet):
    """Every rectangle drawn, in the sheet's millimetres, with how it is painted ("f" or "S")."""
    found, waiting = [], []
    for line in content(path).splitlines():
        for x, y, w, h in re.findall(r"(\S+) (\S+) (\S+) (\S+) re", line):
            x, y, w, h = (float(v) / PT_PER_MM for v in (x, y, w, h))
            waiting.append(Rect(x, sheet.height - y - h, w, h))
        painted = re.search(r"\b([fS])\*?\s*$", line)
        if painted and waiting:
            found += [(r, painted[1]) for r in waiting]
            waiting = []
    return found


def test_one_page_of_the_paper_s_size(printed):
    path, sheet = printed
    data = path.read_bytes()
    assert len(re.findall(rb"/Type /Page\b", data)) == 1
    box = re.search(rb"/MediaBox \[ ?0 0 (\S+) (\S+) ?\]", data)
    size = [float(v) / PT_PER_MM for v in box.groups()]
    assert size == pytest.approx([sheet.width, sheet.height], abs=0.05)
    assert b"/PrintScaling /None" in data


def test_drawn_in_greys_only(printed):
    """No colour operator of ISO 32000-1, table 74, but g and G; and no image."""
    words = re.sub(r"\((?:\\.|[^()\\])*\)", "", content(printed[0])).split()
    assert {"g", "G"} <= set(words)
    assert not set(words) & {"rg", "RG", "k", "K", "sc", "SC", "scn", "SCN", "cs", "CS", "sh", "Do"}


def test_every_place_is_outlined_where_the_geometry_says(printed):
    path, sheet = printed
    outlines = [r for r, how in rectangles(path, sheet) if how == "S"]
    assert len(outlines) == len(sheet.places)
    for place in sheet.places.values():
        nearest = min(np.abs(o.corners - place.corners).max() for o in outlines)
        assert nearest < 0.01


def test_markers_and_bar_are_drawn_where_the_geometry_says(printed):
    path, sheet = printed
    black = [r for r, how in rectangles(path, sheet) if how == "f"]
    for i, place in sheet.markers.items():
        inside = [r for r in black if _within(r, place)]
        corners = np.concatenate([r.corners for r in inside])
        np.testing.assert_allclose(corners.min(axis=0), [place.x, place.y], atol=0.01)
        np.testing.assert_allclose(corners.max(axis=0), [place.right, place.bottom], atol=0.01)
        area = sum(r.width * r.height for r in inside)
        assert area == pytest.approx((~marker_bits(i)).sum() * (place.width / 7) ** 2, rel=1e-3)
    bar = [r for r in black if _within(r, sheet.bar)]
    corners = np.concatenate([r.corners for r in bar])
    assert np.ptp(corners[:, 0]) == pytest.approx(100.0, abs=0.01)
    assert corners[:, 0].min() == pytest.approx(sheet.bar.x, abs=0.01)


def _within(inner, outer):
    box = outer.grown(0.02).corners
    return (inner.corners >= box[0]).all() and (inner.corners <= box[2]).all()


def test_words_stay_in_their_boxes(printed):
    from reportlab.pdfbase.pdfmetrics import stringWidth

    path, sheet = printed
    boxes = [*sheet.notes.values(), *sheet.labels.values()]
    face, size, seen = "", 0.0, 0
    for font, points, x, y, words in re.findall(
        r"/(F\d) (\S+) Tf|1 0 0 1 (\S+) (\S+) Tm \((.*)\) Tj", content(path)
    ):
        if font:
            face, size = {"F1": "Helvetica", "F2": "Helvetica-Bold"}[font], float(points)
            continue
        seen += 1
        left, baseline = float(x) / PT_PER_MM, sheet.height - float(y) / PT_PER_MM
        right = left + stringWidth(words.replace("\\", ""), face, size) / PT_PER_MM
        top = baseline - 0.72 * size / PT_PER_MM  # the face's cap height
        assert any(
            b.x - 0.01 <= left and right <= b.right and b.y <= top and baseline <= b.bottom
            for b in boxes
        ), words
    assert seen == len(sheet.labels) + sum(len(lines) for lines in TEXTS.values())


def test_says_that_its_colour_is_not_trusted(printed):
    assert "The print's own colour is never trusted" in content(printed[0])


def test_says_where_another_length_of_the_bar_is_given(printed):
    said = " ".join(re.findall(r"\((.*?)\) Tj", content(printed[0])))
    assert "give its length where you mark the photo, or to the command with --bar-mm" in said


def test_the_same_file_each_time(printed, tmp_path):
    path, sheet = printed
    assert write_mat(tmp_path / "again.pdf", sheet.paper).read_bytes() == path.read_bytes()


def test_the_picture_of_the_print_fits_the_geometry(printed, tmp_path):
    """A renderer's picture at a known resolution: regions and bar within 0.2 mm."""
    if shutil.which("pdftoppm") is None:
        pytest.skip("pdftoppm (poppler-utils) is not installed")
    path, sheet = printed
    out = tmp_path / "page"
    command = ["pdftoppm", "-r", str(DPI), "-png", "-singlefile", str(path), str(out)]
    subprocess.run(command, check=True)
    pixels = cv2.imread(f"{out}.png", cv2.IMREAD_COLOR)
    mm_per_px = 25.4 / DPI
    found = find_mat(as_photo(np.ascontiguousarray(pixels)))
    assert found.mat is sheet and len(found.seen) == 8
    assert found.residual_mm < 0.1 and not any(found.occupied.values())
    assert set(found.regions) == set(sheet.places)
    for name, polygon in found.regions.items():
        at = np.array(polygon) * pixels.shape[1::-1] * mm_per_px
        assert np.hypot(*(at - sheet.places[name].corners).T).max() < 0.2
        assert found.mm_per_px[name] == pytest.approx(mm_per_px, rel=2e-3)
    rows = (np.array([sheet.bar.bottom - 0.4, sheet.bar.bottom - 0.1]) / mm_per_px).astype(int)
    ink = np.flatnonzero(pixels[rows[0] : rows[1] + 1].mean(axis=(0, 2)) < 128)
    near = ink[(ink * mm_per_px > sheet.bar.x - 2) & (ink * mm_per_px < sheet.bar.right + 2)]
    assert (near[-1] + 1 - near[0]) * mm_per_px == pytest.approx(100.0, abs=0.2)


def test_an_unknown_paper_and_a_missing_folder_are_told(tmp_path):
    with pytest.raises(SwatchvaultError, match="A4 or Letter"):
        write_mat(tmp_path / "x.pdf", "A3")


def test_a_name_of_another_kind_is_refused(tmp_path):
    with pytest.raises(SwatchvaultError, match=r"let 'mat\.png' end in \.pdf"):
        write_mat(tmp_path / "mat.png", "A4")
    assert not (tmp_path / "mat.png").exists()
    with pytest.raises(SwatchvaultError, match="Cannot write"):
        write_mat(tmp_path / "none" / "x.pdf", "A4")

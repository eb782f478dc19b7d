"""The capture mat as a PDF to print: one page, greys only, every length from ``ingest.mat``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ingest.mat import Mat, Paper, Rect, marker_bits, mat
from swatchvault.errors import SwatchvaultError

PT_PER_MM = 72.0 / 25.4  # the PDF point is 1/72 inch (ISO 32000-1, 8.3.2.3)
LINE_GREY = 0.55  # light enough to vanish beside yarn, dark enough to aim at
TEXT_GREY = 0.25
LINE_MM = 0.25

LABELS = {"reference": "grey card, steps or chart"}
TEXTS = {
    "title": (
        "Capture mat, {paper}",
        "Lay yarn flat and close, one piece to a place; places may stay empty.",
    ),
    "use": (
        "One photo from straight above, whole sheet in it, no flash, even light.",
        "Best: a snippet of the master and the new lot in the same photo.",
    ),
    "check": (
        "Print at actual size. This bar must measure 100 mm. If it does not, give",
        "its length where you mark the photo, or to the command with --bar-mm.",
    ),
    "neutral": (
        "The print's own colour is never trusted: only a grey card, steps or chart",
        "laid on the sheet is. Print on plain white matt paper, lay it flat, and keep",
        "the paper between the places bare: it shows how even the light is.",
    ),
}


class _Page:
    """Draws on a PDF canvas in the sheet's millimetres, y down."""

    def __init__(self, canvas: Any, sheet: Mat) -> None:
        self.canvas = canvas
        self.height = sheet.height

    def outline(self, r: Rect) -> None:
        self.canvas.setStrokeGray(LINE_GREY)
        self.canvas.setLineWidth(LINE_MM * PT_PER_MM)
        self.canvas.rect(*self._points(r), stroke=1, fill=0)

    def black(self, rects: list[Rect]) -> None:
        """All in one path, so that no hairline shows between neighbours."""
        path = self.canvas.beginPath()
        for r in rects:
            path.rect(*self._points(r))
        self.canvas.setFillGray(0.0)
        self.canvas.drawPath(path, stroke=0, fill=1, fillMode=1)  # non-zero: no holes

    def text(self, x: float, baseline: float, words: str, size_pt: float, bold: bool) -> None:
        self.canvas.setFillGray(TEXT_GREY)
        self.canvas.setFont("Helvetica-Bold" if bold else "Helvetica", size_pt)
        self.canvas.drawString(x * PT_PER_MM, (self.height - baseline) * PT_PER_MM, words)

    def _points(self, r: Rect) -> tuple[float, float, float, float]:
        k = PT_PER_MM
        return r.x * k, (self.height - r.bottom) * k, r.width * k, r.height * k


def write_mat(path: str | Path, paper: Paper = "A4") -> Path:
    """Write the mat for ``paper`` ("A4" or "Letter") as a one-page PDF and return its path.

    The page is landscape and uncompressed, in DeviceGray only. Raises ``SwatchvaultError`` for
    a paper the mat is not made for or a folder that cannot be written to.
    """
    from reportlab.pdfgen.canvas import Canvas

    if paper not in ("A4", "Letter"):
        raise SwatchvaultError(f"No mat for paper {paper!r}: choose A4 or Letter.")
    if Path(path).suffix.lower() != ".pdf":
        raise SwatchvaultError(f"the mat is a PDF: let {Path(path).name!r} end in .pdf")
    sheet = mat(paper)
    size = (sheet.width * PT_PER_MM, sheet.height * PT_PER_MM)
    canvas = Canvas(str(path), pagesize=size, pageCompression=0, invariant=1)
    canvas.setTitle(f"Capture mat, {paper}")
    # Viewers that heed it offer "actual size" first (ISO 32000-1, table 150).
    canvas.setViewerPreference("PrintScaling", "None")
    page = _Page(canvas, sheet)
    for marker, place in sheet.markers.items():
        page.black(_modules(marker, place))
    for name, place in sheet.places.items():
        page.outline(place)
        label = sheet.labels[name]
        page.text(label.x, label.bottom - 1.0, LABELS.get(name, name), 8.0, bold=True)
    page.black(bar_strokes(sheet))
    for name, box in sheet.notes.items():
        _write_note(page, name, box, paper)
    canvas.showPage()
    try:
        canvas.save()
    except OSError as error:
        raise SwatchvaultError(
            f"Cannot write {path}: {error.strerror}. Choose another folder."
        ) from error
    return Path(path)


def _modules(marker: int, place: Rect) -> list[Rect]:
    """The black modules of a marker, a run of neighbours in a row as one rectangle."""
    bits = marker_bits(marker)
    size = place.width / len(bits)
    runs = []
    for i, row in enumerate(bits):
        start = 0
        for j in range(len(row) + 1):
            if j == len(row) or row[j]:
                if j > start:
                    x, y = place.x + start * size, place.y + i * size
                    runs.append(Rect(x, y, (j - start) * size, size))
                start = j + 1
    return runs


def bar_strokes(sheet: Mat) -> list[Rect]:
    """The check bar: its length from outer edge to outer edge, a tick each 10 mm."""
    bar = sheet.bar
    strokes = [Rect(bar.x, bar.bottom - 0.5, bar.width, 0.5)]
    for i in range(11):
        tall = bar.height if i in (0, 10) else bar.height * (0.7 if i == 5 else 0.45)
        x = bar.x + i * bar.width / 10 - (0.0, 0.125, 0.25)[(i > 0) + (i == 10)]
        strokes.append(Rect(x, bar.bottom - tall, 0.25, tall))
    return strokes


def _write_note(page: _Page, name: str, box: Rect, paper: Paper) -> None:
    for i, line in enumerate(TEXTS[name]):
        first = name == "title" and i == 0
        page.text(
            box.x, box.y + 3.4 + 4.2 * i, line.format(paper=paper), 11.0 if first else 8.0, first
        )

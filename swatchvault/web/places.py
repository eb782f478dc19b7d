"""Pages that lead to others: all places, the cautions, and the capture mat to print."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from datasette import Response

from swatchvault.web.visit import RefusedError, Visit


async def more_page(visit: Visit) -> Response:
    """Every other place: pages of ours, questions, and the tables with a line on each."""
    from swatchvault.archive import TABLES, VIEWS_ABOUT
    from swatchvault.archive.publishing import OF_THE_MAKING
    from swatchvault.archive.questions import asked_of

    withheld = await visit.making_withheld()
    left_out = OF_THE_MAKING if withheld else frozenset()
    values: dict[str, Any] = {
        "views": {name: words for name, words in VIEWS_ABOUT.items() if name not in left_out},
        "tables": {name: words for name, words in TABLES.items() if name not in left_out},
        "questions": asked_of(making=not withheld),
    }
    return await visit.page("sv_more.html", values)


async def cautions_page(visit: Visit) -> Response:
    """The full card of cautions."""
    from swatchvault.cautions import CAUTIONS

    return await visit.page("sv_cautions.html", {"cautions": CAUTIONS.values()})


async def mat_pdf(visit: Visit) -> Response:
    """The capture mat, to be printed at actual size."""
    paper = {"a4": "A4", "letter": "Letter"}.get(visit.asked("paper", "A4").casefold())
    if paper is None:
        raise RefusedError(f"no mat for paper {visit.asked('paper')!r}: choose A4 or Letter")
    body = await visit.work(_mat, paper)
    headers = {"Content-Disposition": f'inline; filename="capture-mat-{paper}.pdf"'}
    return Response(body, headers=headers, content_type="application/pdf")


def _mat(paper: str) -> bytes:
    from swatchvault.matprint import write_mat

    with tempfile.TemporaryDirectory() as folder:
        to = Path(folder) / "mat.pdf"
        return write_mat(to, "Letter" if paper == "Letter" else "A4").read_bytes()

"""Lists and views take work in proportion to what an archive holds, with its statistics or none."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from swatchvault.archive import open_archive
from swatchvault.archive.listing import LISTS
from swatchvault.archive.pages_shelf import stocks_on_shelf
from swatchvault.archive.stock_doubts import stock_doubts
from swatchvault.archive.views import VIEWS
from tests.large_archive import make

#: Measurements of a small archive, and how many times as many a larger one has.
SMALL, TIMES = 1000, 4
#: What is too little work to be judged by its growth, in thousands of the engine's steps.
LITTLE = 4


@pytest.fixture(scope="module", params=["no statistics", "statistics"])
def archives(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> list[Path]:
    """A small and a larger one; the engine plans by statistics, where somebody had them made."""
    folders = [tmp_path_factory.mktemp("linear") / str(n) for n in (SMALL, SMALL * TIMES)]
    for folder, count in zip(folders, (SMALL, SMALL * TIMES), strict=True):
        make(folder, count)
        if request.param == "statistics":
            with sqlite3.connect(folder / "archive.db") as conn:
                conn.execute("ANALYZE")
    return folders


def thousands_of_steps(folder: Path, query: str | Callable[[sqlite3.Connection], object]) -> int:
    """How often the engine's progress is told, every thousand of its steps."""
    told = 0

    def count() -> int:
        nonlocal told
        told += 1
        return 0

    with open_archive(folder) as archive:
        archive.conn.set_progress_handler(count, 1000)
        archive.conn.execute(query).fetchall() if isinstance(query, str) else query(archive.conn)
    return told


@pytest.mark.parametrize(
    "query",
    [*LISTS.values(), *(f"SELECT * FROM {name}" for name in VIEWS)],
    ids=[*(f"list {name}" for name in LISTS), *VIEWS],
)
def test_work_grows_with_the_archive(archives: list[Path], query: str) -> None:
    """Of what is joined by looking through all for each it would grow sixteenfold."""
    small, large = (thousands_of_steps(folder, query) for folder in archives)
    assert large <= 1.5 * TIMES * max(small, LITTLE)


@pytest.mark.parametrize(
    "query",
    [
        "SELECT count(*) FROM (SELECT DISTINCT lot_id FROM lot_dye WHERE dye_id = 1 "
        "AND COALESCE(dye_g, amount_g, amount_ml) IS NOT 0)",
        "SELECT sum(COALESCE(amount_ml, amount_g)) FROM lot_dye WHERE stock_id = 1",
    ],
    ids=["lots of a dye", "poured of a stock"],
)
def test_the_shelf_counts_and_sums_by_an_index_alone(archives: list[Path], query: str) -> None:
    with open_archive(archives[0]) as archive:
        plan = [row[3] for row in archive.conn.execute(f"EXPLAIN QUERY PLAN {query}")]
    assert any("USING COVERING INDEX lot_dye_by_" in step for step in plan)
    assert not any("TEMP B-TREE" in step for step in plan)


def test_stocks_that_are_shown_cost_no_more_where_there_are_more_others(
    archives: list[Path],
) -> None:
    def shown(conn: sqlite3.Connection) -> None:
        stocks = stocks_on_shelf(conn, newest=1)
        assert len(stocks) == 40
        stock_doubts(conn, {s.stock_id for s in stocks})

    small, large = (thousands_of_steps(folder, shown) for folder in archives)
    # The newest of a dye has gone into 25 lots in the small one, and 50 in the larger.
    assert large <= 1.25 * 2 * max(small, LITTLE)

"""Server time of our pages on a large archive, as ratios to Datasette's own table page.

``python -m tests.bench_web ARCHIVE`` (made by ``python -m tests.large_archive``) asks each page
in turn, in one process and one run, and prints the median of each against the median of
``/archive/swatch`` with its 100 rows (short ones, so a fast page of its kind). Sizes are of the
page with style and scripts, without photos.
"""

from __future__ import annotations

import argparse
import asyncio
import re
import statistics
import time
from pathlib import Path
from typing import Any

from swatchvault.web.studio import datasette_of

TABLE = "/archive/swatch"
PAGES = {
    "wall": "/",
    "wall, far down": "/?after=Colourway%2005000",
    "colourway": "/colourway/4000",
    "lot": "/lot/20000",
    "swatch": "/swatch/20000",
    "check": "/check/400",
    "find, by colour": "/find?L=52&C=30&h=40",
    "find, by swatch": "/find?swatch=20000",
    "pots": "/pots",
    "shelf": "/shelf",
}


async def ask(datasette: Any, path: str) -> tuple[float, Any]:
    """Seconds that the server took for ``path``, and its answer."""
    cookies = {"ds_actor": datasette.sign({"a": {"id": "dyer"}}, "actor")}
    start = time.perf_counter()
    answer = await datasette.client.get(path, cookies=cookies)
    return time.perf_counter() - start, answer


async def whole_size(datasette: Any, answer: Any) -> int:
    """Bytes of a page with the style and scripts that it names."""
    size = len(answer.content)
    for address in set(re.findall(r'(?:href|src)="(/-/static-plugins/[^"]*)"', answer.text)):
        size += len((await ask(datasette, address))[1].content)
    return size


async def run(folder: Path, rounds: int) -> None:
    """Ask every page ``rounds`` times, in turns, and print the table."""
    datasette = datasette_of(folder)
    await datasette.invoke_startup()
    took: dict[str, list[float]] = {name: [] for name in ("table", *PAGES)}
    sizes: dict[str, int] = {}
    first: dict[str, float] = {}
    for turn in range(rounds + 1):
        for name, path in {"table": TABLE, **PAGES}.items():
            seconds, answer = await ask(datasette, path)
            if answer.status_code != 200:
                raise SystemExit(f"{path}: status {answer.status_code}")
            if turn == 0:  # the first round fills caches: shown apart
                first[name], sizes[name] = seconds, await whole_size(datasette, answer)
            else:
                took[name].append(seconds)
    own = statistics.median(took["table"])
    print(f"{'page':16} {'ms':>7} {'ratio':>6} {'first ms':>9} {'kB':>6}   ({rounds} rounds)")
    for name, seconds in took.items():
        median = statistics.median(seconds)
        print(
            f"{name:16} {median * 1e3:7.1f} {median / own:6.2f} {first[name] * 1e3:9.1f} "
            f"{sizes[name] / 1e3:6.1f}"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("archive", type=Path)
    parser.add_argument("--rounds", type=int, default=9)
    asked = parser.parse_args()
    asyncio.run(run(asked.archive, asked.rounds))


if __name__ == "__main__":
    main()

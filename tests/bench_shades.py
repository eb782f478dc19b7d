"""Speed and memory of the searches as ratios in one run: `python -m tests.bench_shades [PART...]`.

Parts: near, exact, cold, memory, looks, groups; all but the slow `exact` if none is named. Whether
`like` finds what it should: `bench_looks`.
"""

from __future__ import annotations

import json
import resource
import sqlite3
import statistics
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np

from ingest.colour import delta_e_2000
from swatchvault.archive import create_archive, open_archive
from swatchvault.archive.made import speaking_labs
from swatchvault.lab_index import LabIndex
from swatchvault.likeness import Look, LookIndex, in_other_balances
from swatchvault.pair import Colour
from swatchvault.shades import group, pairwise, u_pairs

N = 1_000_000
FAR = ([0, 0, 0], [100, 0, 0], [50, 150, -150], [50, -200, 20], [-20, 0, 0], [150, 100, 100])


def cloud(rng: np.random.Generator, n: int) -> np.ndarray:
    """Colours as yarn has them: broad in lightness, denser about grey."""
    return np.stack([rng.uniform(15, 92, n), rng.normal(0, 25, n), rng.normal(5, 28, n)], axis=1)


def queries(rng: np.random.Generator, labs: np.ndarray, n: int) -> np.ndarray:
    """Near the cloud, and one in ten far outside it."""
    near = labs[rng.integers(len(labs), size=n)] + rng.normal(0, 2, (n, 3))
    far = rng.random(n) < 0.1
    near[far] = rng.uniform([-30, -200, -200], [150, 200, 200], (far.sum(), 3))
    near[: len(FAR)] = FAR
    return near


def timed(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def near() -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    rng = np.random.default_rng(1)
    labs = cloud(rng, N)
    build = timed(lambda: LabIndex(labs))
    index = LabIndex(labs)
    asked = queries(rng, labs, 200)

    def theirs(query: np.ndarray) -> np.ndarray:
        distance = colour.difference.delta_E_CIE2000(query, labs)
        return np.argsort(distance)[:20]

    slow = statistics.median(timed(lambda q=q: theirs(q)) for q in asked[:7])
    for k_l in (0.5, 1.0, 2.0):
        fast = sorted(timed(lambda q=q, k=k_l: index.nearest(q, 20, k_l=k)) for q in asked)
        print(
            f"near, kL {k_l:g}: {slow / statistics.median(fast):.0f} times (median), "
            f"{slow / fast[-1]:.0f} times (worst of {len(fast)}); "
            f"{1e3 * statistics.median(fast):.2f} ms against {1e3 * slow:.0f} ms"
        )
    print(f"near: built in {build:.2f} s")


def exact() -> None:
    rng = np.random.default_rng(2)
    labs = cloud(rng, N)
    index = LabIndex(labs)
    for k_l, count in ((0.5, 100), (1.0, 1000), (2.0, 1000)):
        worst, other = 0.0, 0
        for query in queries(rng, labs, count):
            rows, distance = index.nearest(query, 20, k_l=k_l)
            every = delta_e_2000(query, labs, k_l)
            best = np.sort(np.partition(every, 19)[:20])
            worst = max(worst, float(np.abs(distance - best).max()))
            other += int(np.abs(every[rows] - best).max() > 1e-9)
        print(f"exact, kL {k_l:g}: {count} queries, largest error {worst:.1e}, {other} wrong")


def fill(folder: Path, n: int) -> None:
    """An archive with n measured swatches, written straight into its tables."""
    rng = np.random.default_rng(3)
    with create_archive(folder) as archive:
        conn = archive.conn
        conn.execute("BEGIN")
        conn.execute("INSERT INTO base (id, name) VALUES (1, 'Plain')")
        sha = "0" * 64
        conn.execute(
            "INSERT INTO photo (id, sha256, suffix, bytes, width, height, format, encoding, "
            "added_at) VALUES (1, ?, '.jpg', 1, 1, 1, 'JPEG', 'sRGB', '2026-01-01T00:00:00Z')",
            (sha,),
        )
        conn.execute(
            "INSERT INTO layout (id, photo_id, located, marks, added_at) "
            "VALUES (1, 1, 'marks', '{}', '2026-01-01T00:00:00Z')"
        )
        conn.execute("INSERT INTO correction (id, layout_id, provenance) VALUES (1, 1, '{}')")
        conn.executemany(
            "INSERT INTO swatch (id, label, base_id, form) VALUES (?, ?, 1, 'skein')",
            ((i, f"s{i}") for i in range(1, n + 1)),
        )
        cov = json.dumps(np.eye(3).tolist())
        row = "?, 1, 1, ?, ?, ?, ?, ?, ?, ?, ?, ?, '[]', 'steps', 1, '{}', '1', '2026-01-01'"
        conn.executemany(
            "INSERT INTO measurement (id, layout_id, correction_id, region, swatch_id, lab_l, "
            "lab_a, lab_b, cov_region, cov_frame, cov_setup, cov_profile, flags, reference, "
            f"pixels, left_out, version, measured_at) VALUES ({row})",
            (
                (i, f"r{i}", i, *lab, cov, cov, cov, cov)
                for i, lab in enumerate(cloud(rng, n).tolist(), 1)
            ),
        )
        conn.execute("COMMIT")


def columns(conn: sqlite3.Connection) -> np.ndarray:
    """The cost that a cold start is held to: the three columns and the swatch's id, to arrays."""
    sql = "SELECT lab_l, lab_a, lab_b, swatch_id FROM measurement"
    return np.fromiter(map(tuple, conn.execute(sql)), dtype=np.dtype((np.float64, 4)))


def cold() -> None:
    with tempfile.TemporaryDirectory() as folder:
        fill(Path(folder) / "a", N)
        with open_archive(Path(folder) / "a") as archive:
            columns(archive.conn)  # the file's pages are in memory for both sides
            read = statistics.median(timed(lambda: columns(archive.conn)) for _ in range(3))

            def start() -> None:
                LabIndex(speaking_labs(archive.conn)[1]).nearest([50, 0, 0])

            ours = statistics.median(timed(start) for _ in range(3))
    print(f"cold: {ours / read:.2f} times reading the columns ({ours:.2f} s against {read:.2f} s)")


def memory() -> None:
    """To be run alone: the peak over what the imports need."""
    with tempfile.TemporaryDirectory() as folder:
        import subprocess

        fill(Path(folder) / "a", N)
        code = (
            "import numpy as np\n"
            "from pathlib import Path\n"
            "from swatchvault.archive import open_archive\n"
            "from swatchvault.archive.made import speaking_labs\n"
            "from swatchvault.lab_index import LabIndex\n"
            "LabIndex(np.random.default_rng(1).normal(0, 20, (9000, 3))).nearest([5, 0, 0])\n"
            "def peak():\n"  # of this process alone: what getrusage says counts its parent's too
            "    text = Path('/proc/self/status').read_text()\n"
            "    return int(text.split('VmHWM:')[1].split()[0])\n"
            "before = peak()\n"
            f"with open_archive(Path({str(Path(folder) / 'a')!r})) as archive:\n"
            "    ids, labs = speaking_labs(archive.conn)\n"
            "    index = LabIndex(labs)\n"
            "    del labs\n"
            "    index.nearest([50, 0, 0]); index.nearest([-20, 200, -200], 20, k_l=2)\n"
            "print((peak() - before) / 1024)\n"
        )
        said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    print(f"memory: {float(said.stdout):.0f} MB over the interpreter with its imports, at its peak")


def looks() -> None:
    """100,000 looks of six colours: near each other in two of five, of many hues in the rest; a
    query is one of them with every colour moved by 1 and its shares by a tenth. In its own white
    balance, and in any."""
    rng = np.random.default_rng(4)
    n = 100_000
    apart = np.where(rng.random(n) < 0.4, rng.uniform(0.5, 4.0, n), 12.0)[:, None, None]
    palette = cloud(rng, n)[:, None] + rng.normal(0, 1, (n, 6, 3)) * apart
    shares = rng.dirichlet(np.full(6, 2.0), n)
    mean = np.einsum("nk,nkc->nc", shares, palette) + rng.normal(0, 0.5, (n, 3))
    tonal = np.stack([rng.normal(0, 0.7, n), rng.exponential(1, n)], axis=1)
    index = LookIndex([Look(*row) for row in zip(palette, shares, mean, tonal, strict=True)])
    asked = []
    for row in rng.integers(n, size=60):
        moved = shares[row] * rng.uniform(0.9, 1.1, 6)
        colours = palette[row] + rng.normal(0, 0.6, (6, 3))
        middle = mean[row] + rng.normal(0, 0.6, 3)
        asked.append(Look(colours, moved / moved.sum(), middle, tonal[row] + rng.normal(0, 0.1, 2)))

    def whole(look: Look) -> np.ndarray:
        return index.distances(look)

    def any_balance(look: Look) -> np.ndarray:
        ways = in_other_balances(look)
        return np.min([index.distances(other) + cost for other, cost in ways], axis=0)

    _timed_looks("one balance", whole, index.nearest, asked)
    _timed_looks("any balance", any_balance, index.nearest_in_any_balance, asked[:20])


def _timed_looks(
    name: str,
    brute: Callable[[Look], np.ndarray],
    search: Callable[[Look, int], tuple[np.ndarray, np.ndarray]],
    asked: list[Look],
) -> None:
    slow, fast, wrong = [], [], 0
    for look in asked:
        start = time.perf_counter()
        every = brute(look)
        best = np.argsort(every, kind="stable")[:5]
        middle = time.perf_counter()
        rows, distance = search(look, 5)
        fast.append(time.perf_counter() - middle)
        slow.append(middle - start)
        wrong += int(rows.tolist() != best.tolist() or np.abs(distance - every[best]).max() > 1e-9)
    quick, long = statistics.median(fast), statistics.median(slow)
    print(
        f"looks, {name}: {long / quick:.0f} times brute force ({1e3 * quick:.1f} ms against "
        f"{1e3 * long:.0f} ms), {wrong} of {len(asked)} answers differ"
    )


def groups() -> None:
    rng = np.random.default_rng(5)
    for clusters, spread in ((12, 1.0), (1, 1.5), (5, 0.4), (500, 25.0)):
        centres = rng.normal(0, 25, (clusters, 3)) + np.array([50, 0, 0])
        labs = centres[rng.integers(clusters, size=500)] + rng.normal(0, spread, (500, 3))
        cov = np.diag([0.02, 0.02, 0.02])
        skeins = [
            Colour(lab, cov, "steps", photo_ids=frozenset({str(i // 4)}), light="daylight")
            for i, lab in enumerate(labs)
        ]

        def whole(labs: np.ndarray = labs, skeins: list[Colour] = skeins) -> None:
            setups = [(1, True)] * 500
            u = u_pairs(skeins, setups, pairwise(labs, 2.0), 2.0)
            group(labs, 2.0, k_l=2.0, u=u)

        whole()
        plain = statistics.median(timed(lambda x=labs: pairwise(x, 2.0)) for _ in range(9))
        ours = statistics.median(timed(whole) for _ in range(5))
        print(
            f"groups, {clusters} centres, spread {spread:g}: {ours / plain:.1f} times the matrix "
            f"({1e3 * ours:.0f} ms against {1e3 * plain:.0f} ms)"
        )


PARTS = {f.__name__: f for f in (near, exact, cold, memory, looks, groups)}

if __name__ == "__main__":
    for part in sys.argv[1:] or [name for name in PARTS if name != "exact"]:
        PARTS[part]()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"whole run: {peak:.0f} MB at its peak")

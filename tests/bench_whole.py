"""The whole program's speed, memory and size as ratios in one run: `python -m tests.bench_whole`.

Prints a table of work, what it is held against, the figure and the aim. Medians of ROUNDS. Name
rows to run those alone. scikit-image is used where it is installed, for its ΔE00 alone.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import shutil
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from swatchvault.archive import DATABASE, Master, create_archive, set_master
from tests.bench_ingest import ROUNDS, filing, make_photo, median_ratio, pillow, plain_script
from tests.reliability.photos import BASE, write_batch

BATCH = 200  # photos
LOTS = 10_000
MEASUREMENTS = 100_000
PAIRS = 1_000_000


@dataclass(frozen=True)
class Row:
    """One line of the table: ``least`` says that the figure should be at least the aim."""

    work: str
    against: str
    figure: float
    aim: float
    least: bool = False
    note: str = ""

    def line(self) -> str:
        met = self.figure >= self.aim if self.least else self.figure <= self.aim
        word = "at least" if self.least else "at most"
        end = "" if met else "  MISSED"
        return (
            f"{self.work:46s} {self.against:44s} {self.figure:7.2f}  {word} {self.aim:g}{end}"
            f"{'  ' + self.note if self.note else ''}"
        )


def one_photo() -> Iterator[Row]:
    """A 12-megapixel JPEG measured and filed in a warm process."""
    with tempfile.TemporaryDirectory() as scratch:
        path = make_photo(Path(scratch))
        whole = filing(Path(scratch), path)
        ratio = median_ratio(whole, lambda: pillow(path), ROUNDS)
        yield Row(
            "measure and file 12 MP, commit included", "Pillow's decode to an array", ratio, 1.3
        )
    with tempfile.TemporaryDirectory() as scratch:
        path = make_photo(Path(scratch))
        plain = lambda: plain_script(path)  # noqa: E731
        ratio = 1.0 / median_ratio(filing(Path(scratch), path), plain, 7)
        yield Row("the same", "plain script with colour-science, times", ratio, 8.0, True)


def batch() -> Iterator[Row]:
    """`swatchvault add` of many photos, the whole command, held to one core and to two."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        photos = many_copies(folder)
        ratios = []
        for number in range(7):
            times = {}
            for cores in ({0}, {0, 1}):
                archive = folder / f"archive-{number}-{len(cores)}"
                create_archive(archive).close()
                times[len(cores)] = add_on(cores, photos, archive)
                shutil.rmtree(archive)
            ratios.append(times[1] / times[2])
        note = f"{BATCH} photos of 12 MP, starting Python included"
        yield Row("batch on 2 cores", "on 1, times", statistics.median(ratios), 1.8, True, note)


def many_copies(folder: Path) -> Path:
    """BATCH photos of 12 MP that differ in their last bytes, with notes and marks."""
    path = make_photo(folder)
    photos = folder / "photos"
    photos.mkdir()
    data, marks = path.read_bytes(), (folder / "big.marks.json").read_bytes()
    lines = ["photo,swatch,base,form,dry,light"]
    for i in range(BATCH):
        (photos / f"p{i}.jpg").write_bytes(data + i.to_bytes(4, "big"))
        (photos / f"p{i}.marks.json").write_bytes(marks)
        lines.append(f"p{i}.jpg,s{i},{BASE},wound card,yes,daylight")
    (photos / "photos.csv").write_text("\n".join(lines))
    (photos / "studio.toml").write_text(f'[[base]]\nname = "{BASE}"\nfibres = {{wool = 100}}\n')
    return photos


def add_on(cores: set[int], photos: Path, archive: Path) -> float:
    """Seconds of `swatchvault add` with as many workers as cores, held to those cores."""
    words = ["add", str(photos), "--archive", str(archive), "--workers", str(len(cores))]
    began = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "swatchvault", *words],
        check=True,
        stdout=subprocess.DEVNULL,
        preexec_fn=lambda: os.sched_setaffinity(0, cores),
    )
    return time.perf_counter() - began


PEAK = """
import sys
from pathlib import Path
from ingest.pipeline import measure_photo
def largest():  # of this process alone: what getrusage says counts its parent's too
    words = Path("/proc/self/status").read_text().split()
    return int(words[words.index("VmHWM:") + 1])
measure_photo(Path(sys.argv[2]))
before = largest()
measure_photo(Path(sys.argv[1]))
print(largest() - before)
"""


def memory() -> Iterator[Row]:
    """What one 12 MP photo adds to the largest size of a process that has measured a small one."""
    with tempfile.TemporaryDirectory() as scratch:
        path = make_photo(Path(scratch))
        small = write_batch(Path(scratch) / "small", 1)[0]
        program = [sys.executable, "-c", PEAK, str(path), str(small)]
        grown_kb = statistics.median(
            int(subprocess.run(program, capture_output=True, check=True).stdout) for _ in range(7)
        )
        # A photo of one megapixel had its own array at the first peak: counted again here.
        arrays = (grown_kb * 1024 + 1200 * 840 * 3) / (4000 * 3000 * 3)
        yield Row("peak memory of one 12 MP photo", "the decoded array", arrays, 2.0)


def starts() -> Iterator[Row]:
    """Whole commands against Python with click alone."""
    click_alone = [sys.executable, "-c", "import click"]
    helped = [sys.executable, "-m", "swatchvault", "--help"]
    yield Row(
        "swatchvault --help", 'python -c "import click"', command_ratio(helped, click_alone), 2.0
    )
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "archive"
        fill(folder, LOTS)
        check = [sys.executable, "-m", "swatchvault", "check", "lot 5077", "--archive", str(folder)]
        said = subprocess.run(check, capture_output=True, text=True, check=True).stdout
        if not any(word in said for word in ("within", "outside", "cannot tell")):
            raise RuntimeError(said)
        yield Row(
            f"check of a lot of {LOTS}",
            'python -c "import click"',
            command_ratio(check, click_alone),
            6.0,
        )


def command_ratio(work: list[str], against: list[str]) -> float:
    """Both with their bytecode kept, as an installed program has it."""
    with tempfile.TemporaryDirectory() as cache:
        kept = {**os.environ, "PYTHONPYCACHEPREFIX": cache}
        kept.pop("PYTHONDONTWRITEBYTECODE", None)

        def run(words: list[str]) -> None:
            subprocess.run(words, check=True, stdout=subprocess.DEVNULL, env=kept)

        return median_ratio(lambda: run(work), lambda: run(against), 15)


def differences() -> Iterator[Row]:
    """ΔE00 of one colour against a million."""
    import colour

    from ingest.colour import delta_e_2000

    rng = np.random.default_rng(1)
    one = np.array([50.0, 10.0, -20.0])
    many = np.column_stack([rng.uniform(5, 95, PAIRS), rng.uniform(-60, 60, (PAIRS, 2))])
    ones = np.broadcast_to(one, many.shape)
    others: list[tuple[str, Callable[[], np.ndarray], float, float]] = [
        ("colour-science", lambda: colour.difference.delta_E_CIE2000(one, many), 1.7, 3.0)
    ]
    try:
        from skimage.color import deltaE_ciede2000
    except ImportError:
        print("scikit-image is not installed: its rows are left out")
    else:
        others.append(("scikit-image", lambda: deltaE_ciede2000(ones, many), 1.4, 2.5))
    ours = delta_e_2000(one, many)
    for name, theirs, alone, together in others:
        apart = float(np.abs(ours - theirs()).max())
        for threads, aim in ((1, alone), (2, together)):
            ratio = median_ratio(theirs, lambda t=threads: delta_e_2000(one, many, threads=t), 9)
            note = f"apart by {apart:.1e} at most"
            yield Row(
                f"ΔE00, one against {PAIRS}, {threads} thread(s)",
                f"{name}'s, times",
                ratio,
                aim,
                True,
                note,
            )


def growth() -> Iterator[Row]:
    """Bytes of the database for each measurement, photo files not counted."""
    with tempfile.TemporaryDirectory() as scratch:
        databases = []
        for count in (1000, MEASUREMENTS):
            fill(Path(scratch) / str(count), count)
            databases.append(Path(scratch) / str(count) / DATABASE)
        few, many = (path.stat().st_size for path in databases)
        each = (many - few) / (MEASUREMENTS - 1000)
        work = f"bytes of database a measurement, at {MEASUREMENTS}"
        yield Row(
            work, "a photo, layout, lot and swatch each", each, 3000.0, note=parts(databases[1])
        )


def parts(database: Path) -> str:
    """The largest tables in bytes a measurement, their indexes counted with them."""
    conn = sqlite3.connect(database)
    try:
        sql = (
            "SELECT tbl_name, sum(pgsize) AS bytes FROM dbstat JOIN sqlite_master USING (name) "
            "GROUP BY tbl_name ORDER BY bytes DESC LIMIT 4"
        )
        found = conn.execute(sql).fetchall()
    except sqlite3.OperationalError:  # this SQLite was built without its table of pages
        return ""
    finally:
        conn.close()
    return ", ".join(f"{name} {size / MEASUREMENTS:.0f}" for name, size in found)


def fill(folder: Path, count: int) -> None:
    """An archive of ``count`` lots, each with one swatch in one photo of its own.

    One photo is measured and filed by the command; the others are copies of its rows with colours
    and names of their own, in a hundred colourways with a master each.
    """
    rng = np.random.default_rng(2)
    with tempfile.TemporaryDirectory() as scratch:
        write_batch(Path(scratch) / "batch", 1)
        create_archive(folder).close()
        words = ["add", str(Path(scratch) / "batch"), "--archive", str(folder)]
        program = [sys.executable, "-m", "swatchvault", *words]
        subprocess.run(program, check=True, stdout=subprocess.DEVNULL)
    conn = sqlite3.connect(folder / DATABASE, isolation_level=None)
    conn.row_factory = sqlite3.Row
    names = (
        *("colourway", "lot", "lot_base", "swatch"),
        *("photo", "layout", "correction", "measurement"),
    )
    first = {n: dict(conn.execute(f"SELECT * FROM {n}").fetchone()) for n in names}
    conn.execute("BEGIN")
    for i in range(2, 101):
        put(conn, "colourway", {**first["colourway"], "id": i, "name": f"Colourway {i}"})
    centres = rng.uniform((20, -40, -40), (85, 40, 40), (101, 3))
    for i in range(2, count + 1):
        way, sha = i % 100 + 1, hashlib.sha256(str(i).encode()).hexdigest()
        lab = (centres[way] + rng.normal(0, 1.5, 3)).tolist()
        put(conn, "lot", {**first["lot"], "id": i, "code": f"lot {i}", "colourway_id": way})
        put(conn, "lot_base", {**first["lot_base"], "lot_id": i})
        put(conn, "swatch", {**first["swatch"], "id": i, "label": f"swatch {i}", "lot_id": i})
        named = {"id": i, "sha256": sha, "original_name": f"photo-{i}.jpg"}
        put(conn, "photo", {**first["photo"], **named})
        put(conn, "layout", {**first["layout"], "id": i, "photo_id": i})
        put(conn, "correction", {**first["correction"], "id": i, "layout_id": i})
        of = {"id": i, "layout_id": i, "correction_id": i, "swatch_id": i}
        colour = dict(zip(("lab_l", "lab_a", "lab_b"), lab, strict=True))
        put(conn, "measurement", {**first["measurement"], **of, **colour})
    conn.execute("COMMIT")
    for i in range(2, min(102, count)):
        way = i % 100 + 1
        name = conn.execute("SELECT name FROM colourway WHERE id = ?", (way,)).fetchone()[0]
        set_master(conn, Master(name, BASE, "wound card", f"swatch {i}"))
    conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    conn.close()


def put(conn: sqlite3.Connection, table: str, values: dict[str, object]) -> None:
    marks = ", ".join("?" for _ in values)
    conn.execute(
        f"INSERT INTO {table} ({', '.join(values)}) VALUES ({marks})", tuple(values.values())
    )


ROWS = {
    "photo": one_photo,
    "batch": batch,
    "memory": memory,
    "starts": starts,
    "differences": differences,
    "growth": growth,
}


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench_whole", description=__doc__)
    parser.add_argument("rows", nargs="*", choices=[*ROWS, []], help="all if none is named")
    parser.add_argument("--json", type=Path, help="write the figures there too")
    given = parser.parse_args()
    found = []
    for name in given.rows or ROWS:
        for row in ROWS[name]():
            found.append(row)
            print(row.line(), flush=True)
    print(f"load of the machine at the end: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    if given.json:
        given.json.write_text(json.dumps([vars(r) for r in found], indent=1))


if __name__ == "__main__":
    main()

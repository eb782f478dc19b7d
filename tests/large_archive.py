"""An archive as large as a studio's in many years, made in seconds from one real measurement.

``python -m tests.large_archive FOLDER --measurements 100000``. Everything but names, colours and
dates is copied from a demo photo's measurement, so rows are as long as real ones. The photos
themselves are not there.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sqlite3
from pathlib import Path

import numpy as np

from swatchvault.archive import create_archive

EXAMPLES = Path(__file__).parents[1] / "example_archive"
LOTS_OF_A_COLOURWAY = 5
PHOTOS_OF_A_SWATCH = 2
BASES, DYES = 20, 40
#: Lots that a stock of 10 g in a litre goes into, 18 mL each.
LOTS_OF_A_STOCK = 50


def make(folder: Path, measurements: int = 100_000, seed: int = 7) -> Path:
    """Make the archive in ``folder``: a lot with a swatch for every two measurements."""
    lots = measurements // PHOTOS_OF_A_SWATCH
    colourways = max(1, lots // LOTS_OF_A_COLOURWAY)
    rng = np.random.default_rng(seed)
    labs = rng.uniform((20, -50, -50), (90, 60, 70), (colourways, 3))
    with create_archive(folder) as archive:
        conn = archive.conn
        photo, layout, correction, measured = _template(folder.with_name(folder.name + "-template"))
        conn.execute("PRAGMA synchronous = OFF")
        conn.execute("BEGIN")
        _studio(conn, colourways, lots)
        _photos(conn, photo, layout, correction, lots)
        _measurements(conn, measured, labs, lots, rng)
        _decisions(conn, colourways)
        conn.execute("COMMIT")
        conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return folder


def sha(number: int) -> str:
    """The made-up content hash of photo ``number``."""
    return hashlib.sha256(str(number).encode()).hexdigest()


def _template(folder: Path) -> tuple[dict[str, object], ...]:
    """A photo, a layout and a measurement as rows, from a demo photo measured here."""
    from swatchvault.archive import apply_notes
    from swatchvault.archive.entities import Base, Notes, PhotoNote
    from swatchvault.filing import file_photos

    marks = json.loads((EXAMPLES / "furrow-1.marks.json").read_text(encoding="utf-8"))
    note = PhotoNote(
        photo=str(EXAMPLES / "furrow-1.jpg"),
        swatch="t",
        region=marks["swatches"][0]["name"],
        base="B",
        form="wound card",
    )
    with create_archive(folder) as archive:
        archive.conn.row_factory = sqlite3.Row
        notes = Notes(bases=(Base("B"),), photos=(note,))
        applied = apply_notes(archive.conn, notes)
        assert all(f.filed for f in file_photos(archive, applied, EXAMPLES, workers=1))
        tables = ("photo", "layout", "correction", "measurement")
        return tuple(dict(archive.conn.execute(f"SELECT * FROM {t}").fetchone()) for t in tables)


def _studio(conn: sqlite3.Connection, colourways: int, lots: int) -> None:
    conn.executemany("INSERT INTO base (name) VALUES (?)", [(f"Base {n}",) for n in range(BASES)])
    conn.executemany("INSERT INTO dye (name) VALUES (?)", [(f"Dye {n}",) for n in range(DYES)])
    conn.executemany(
        "INSERT INTO colourway (name) VALUES (?)",
        [(f"Colourway {n:05d}",) for n in range(colourways)],
    )
    day = [f"20{10 + n % 16:02d}-{1 + n % 12:02d}-{1 + n % 28:02d}" for n in range(lots)]
    conn.executemany(
        "INSERT INTO lot (code, colourway_id, dyed_on, dry_g, liquor_ml) "
        "VALUES (?, ?, ?, 200, 6000)",
        [(f"L-{n:06d}", 1 + n // LOTS_OF_A_COLOURWAY, day[n]) for n in range(lots)],
    )
    base = [1 + (n // LOTS_OF_A_COLOURWAY) % BASES for n in range(lots)]
    conn.executemany("INSERT INTO lot_base VALUES (?, ?)", [(1 + n, base[n]) for n in range(lots)])
    _dyes_in(conn, lots)
    conn.executemany(
        "INSERT INTO swatch (label, base_id, lot_id, form, dry) VALUES (?, ?, ?, 'wound card', 1)",
        [(f"S-{n:06d}", base[n], 1 + n) for n in range(lots)],
    )


def _dyes_in(conn: sqlite3.Connection, lots: int) -> None:
    """Two dyes in each lot, from stocks that are mixed anew as they are used up."""
    stocks: dict[int, list[int]] = {dye: [] for dye in range(1, 1 + DYES)}  # pours of each
    rows = []
    for n in range(lots):
        for position in (1, 2):
            dye = 1 + (n // LOTS_OF_A_COLOURWAY * 3 + position) % DYES
            if not stocks[dye] or stocks[dye][-1] == LOTS_OF_A_STOCK:
                stocks[dye].append(0)
            stocks[dye][-1] += 1
            rows.append((1 + n, position, dye, dye, f"S{len(stocks[dye])}"))
    conn.executemany(
        "INSERT INTO stock (dye_id, code, grams, made_up_to_ml, mixed_on) "
        "VALUES (?, ?, 10, 1000, ?)",
        [
            (dye, f"S{number}", f"2009-12-{number % 28 + 1:02d}")
            for dye, poured in stocks.items()
            for number in range(1, 1 + len(poured))
        ],
    )
    conn.executemany(
        "INSERT INTO lot_dye (lot_id, position, dye_id, stock_id, amount, amount_ml, dye_g) "
        "VALUES (?, ?, ?, (SELECT id FROM stock WHERE dye_id = ? AND code = ?), '18 mL', 18, 0.18)",
        rows,
    )


def _photos(
    conn: sqlite3.Connection,
    photo: dict[str, object],
    layout: dict[str, object],
    correction: dict[str, object],
    lots: int,
) -> None:
    numbers = range(lots * PHOTOS_OF_A_SWATCH)
    named = ({"id": 1 + n, "sha256": sha(n), "original_name": f"{n}.jpg"} for n in numbers)
    _many(conn, "photo", photo, named)
    _many(conn, "layout", layout, ({"id": 1 + n, "photo_id": 1 + n} for n in numbers))
    _many(conn, "correction", correction, ({"id": 1 + n, "layout_id": 1 + n} for n in numbers))


def _measurements(
    conn: sqlite3.Connection,
    measured: dict[str, object],
    labs: np.ndarray,
    lots: int,
    rng: np.random.Generator,
) -> None:
    count = lots * PHOTOS_OF_A_SWATCH
    off = rng.normal(0.0, 0.8, (count, 3))
    per = LOTS_OF_A_COLOURWAY * PHOTOS_OF_A_SWATCH

    def rows() -> object:
        for n in range(count):
            lab = [float(v) for v in labs[min(n // per, len(labs) - 1)] + off[n]]
            yield {
                "id": 1 + n,
                "layout_id": 1 + n,
                "correction_id": 1 + n,
                "swatch_id": 1 + n // PHOTOS_OF_A_SWATCH,
                "lab_l": lab[0],
                "lab_a": lab[1],
                "lab_b": lab[2],
            }

    _many(conn, "measurement", measured, rows())


def _decisions(conn: sqlite3.Connection, colourways: int) -> None:
    conn.executemany(
        "INSERT INTO master (colourway_id, base_id, form, swatch_id, tolerance, k_l, since) "
        "VALUES (?, ?, 'wound card', ?, 2, 2, '2024-01-01')",
        [(1 + n, 1 + n % BASES, 1 + n * LOTS_OF_A_COLOURWAY) for n in range(colourways)],
    )
    conn.executemany(
        "INSERT INTO lot_check (checked_at, master_swatch_id, swatch_id, lot_id, verdict, "
        "tolerance, k_l, delta_e_00, capture, words, detail) "
        "VALUES ('2024-02-01T10:00:00Z', ?, ?, ?, 'within', 2, 2, 0.8, 'other', 'near', '{}')",
        [
            (first, first + 1, first + 1)
            for first in (1 + n * LOTS_OF_A_COLOURWAY for n in range(colourways))
        ],
    )


def _many(conn: sqlite3.Connection, table: str, template: dict[str, object], rows: object) -> None:
    names = list(template)
    sql = f"INSERT INTO {table} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})"
    conn.executemany(sql, ([{**template, **row}[k] for k in names] for row in rows))  # type: ignore[attr-defined]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--measurements", type=int, default=100_000)
    asked = parser.parse_args()
    made = make(asked.folder, asked.measurements)
    size = (made / "archive.db").stat().st_size
    print(f"{made}: {asked.measurements} measurements, {size / asked.measurements:.0f} bytes each")


if __name__ == "__main__":
    main()

"""Make the demo: ``python -m tests.render.demo --to example_archive`` from the repository root.

Writes photos, their marks, photos.csv, studio.toml, truth.json and NOTE.txt. The same program
writes the same photos. ``--only NAME`` renders some photos to look at and writes no notes.
"""

from __future__ import annotations

import argparse
import csv
import io
import json
from pathlib import Path
from typing import Any

from ingest.colour import delta_e_2000
from tests.render.demo_notes import studio_toml
from tests.render.demo_photos import ITEMS, PLANS, SETTINGS, Plan, file_style, scene_of
from tests.render.demo_studio import LOT_BY_CODE, MASTERS, base_of
from tests.render.scene import render, save

NOTE = """\
Everything in this folder is invented and rendered by a program.

The studio, its yarns, dyes, colourways, recipes, lots, phones and photos do not exist. The
pictures were drawn by tests/render in the source repository (python -m tests.render.demo) from
spectra, geometry and numbers of our own; the chart's patches alone use published reflectances.
They are here to show how the program is used and to test it. No measured figure in this folder
says anything about a real yarn, dye or camera.

photos.csv and studio.toml are the notes that a dyer would keep. *.marks.json beside a photo say
where things lie in it. truth.json holds what the program that drew the pictures knows and no
dyer could: it is used by tests only.
"""

DEFINITION = (
    "lab_surface: CIELAB D65/2 degrees of the plain mean of XYZ of the dyed surface in the region, "
    "as if flat. lab_seen: the same with the shading between strands, relative to a flat card in "
    "the same light. Sums at 5 nm. depths_percent: mean true depth of shade in the region."
)

COLUMNS = (
    *("photo", "region", "swatch", "colourway", "base", "lot", "skein"),
    *("form", "dry", "light", "setup", "locked", "note"),
)


def rows_of(plan: Plan) -> list[dict[str, str]]:
    """The rows of photos.csv for one photo; an unmarked one leaves its region blank."""
    rows = []
    for region, label in plan.regions:
        item = ITEMS[label]
        undyed = item.lot.startswith("undyed ")
        row = dict.fromkeys(COLUMNS, "") | {
            "photo": f"{plan.file}.jpg",
            "region": region if plan.marked else "",
            "swatch": label,
            "colourway": "" if undyed else LOT_BY_CODE[item.lot].colourway,
            "base": base_of(item.lot),
            "lot": "" if undyed else item.lot,
            "skein": item.skein,
            "form": item.form,
            "dry": "yes",
            "note": plan.note,
        }
        rows.append(row | dict(SETTINGS[plan.setting].notes))
    return rows


def photos_csv() -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    writer.writeheader()
    for plan in PLANS:
        writer.writerows(rows_of(plan))
    return out.getvalue()


def make_photo(plan: Plan, folder: Path) -> dict[str, Any]:
    """Render one photo into ``folder``; its truth by region."""
    scene = scene_of(plan)
    rendered = render(scene)
    save(folder / f"{plan.file}.jpg", rendered, scene.space, file_style(plan))
    marks = folder / f"{plan.file}.marks.json"
    if plan.marked:
        marks.write_text(json.dumps(rendered.marks, indent=1) + "\n", encoding="utf-8")
    labels = dict(plan.regions)
    return {region: {"swatch": labels[region], **truth} for region, truth in rendered.truth.items()}


def master_differences(truth: dict[str, Any]) -> list[tuple[str, str, str, float]]:
    """(photo, lot's swatch, master's swatch, true ΔE00 at kL = 2) of every lot with a master."""
    seen = {r["swatch"]: r["lab_seen"] for regions in truth.values() for r in regions.values()}
    out = []
    for name, base, form, master, _ in MASTERS:
        for photo, regions in truth.items():
            for r in regions.values():
                item = ITEMS[r["swatch"]]
                lot = LOT_BY_CODE.get(item.lot)
                same = lot and (lot.colourway, base_of(item.lot), item.form) == (name, base, form)
                if not same or r["swatch"] == master:
                    continue
                beside = [m for m in regions.values() if m["swatch"] == master]
                to = beside[0]["lab_seen"] if beside else seen[master]
                apart = float(delta_e_2000(to, r["lab_seen"], k_l=2.0))
                out.append((photo, r["swatch"], master, round(apart, 2)))
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--to", type=Path, required=True)
    parser.add_argument("--only", nargs="*", default=[])
    args = parser.parse_args()
    args.to.mkdir(parents=True, exist_ok=True)
    truth = {}
    for plan in PLANS:
        if not args.only or plan.file in args.only:
            truth[f"{plan.file}.jpg"] = make_photo(plan, args.to)
            print(plan.file, flush=True)
    if args.only:
        return
    differences = master_differences(truth)
    pairs = [
        dict(zip(("photo", "swatch", "master", "delta_e_00_kl2"), d, strict=True))
        for d in differences
    ]
    record = {"definition": DEFINITION, "photos": truth, "lots_to_master": pairs}
    (args.to / "truth.json").write_text(json.dumps(record, indent=1) + "\n", encoding="utf-8")
    (args.to / "photos.csv").write_text(photos_csv(), encoding="utf-8")
    (args.to / "studio.toml").write_text(studio_toml(), encoding="utf-8")
    (args.to / "NOTE.txt").write_text(NOTE, encoding="utf-8")
    for row in differences:
        print(*row)


if __name__ == "__main__":
    main()

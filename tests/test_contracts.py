"""The names that other programs may rely on are where they are promised."""

import inspect
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import ingest
from ingest.errors import IngestError
from ingest.pipeline import measure_photo
from swatchvault import difference, dyeing, shades


def parameters(function):
    return [
        (p.name, p.kind.name, p.default) for p in inspect.signature(function).parameters.values()
    ]


def test_a_photo_is_measured_by_a_name_of_the_package():
    assert ingest.measure_photo is measure_photo
    assert parameters(ingest.measure_photo) == [
        ("path", "POSITIONAL_OR_KEYWORD", inspect.Parameter.empty),
        ("layout", "KEYWORD_ONLY", None),
        ("settings", "KEYWORD_ONLY", None),
    ]
    with pytest.raises(IngestError, match="no"):
        ingest.measure_photo("no.jpg")


def test_every_public_name_of_the_package_is_there():
    assert all(hasattr(ingest, name) for name in ingest.__all__)
    with pytest.raises(AttributeError, match="nothing"):
        _ = ingest.nothing


def test_errors_alone_load_no_arrays():
    said = "import sys, ingest; ingest.PhotoError; print('numpy' in sys.modules)"
    ran = subprocess.run([sys.executable, "-c", said], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "False"


def test_differences_sums_and_searches_are_where_they_are_promised():
    assert [name for name, _, _ in parameters(difference.delta_e_2000)][:5] == [
        *("lab1", "lab2", "k_l", "k_c", "k_h")
    ]
    assert [name for name, _, _ in parameters(dyeing.dye_g)] == ["goods_g", "depth_percent"]
    assert [name for name, _, _ in parameters(dyeing.stock_ml)] == [
        *("goods_g", "depth_percent", "stock_percent")
    ]
    assert [(n, d) for n, _, d in parameters(shades.LabIndex.nearest)][1:] == [
        *(("lab", inspect.Parameter.empty), ("k", 20), ("k_l", 1.0))
    ]


def test_the_example_of_the_readme_runs(tmp_path, monkeypatch, capsys):
    root = Path(__file__).parents[1]
    (code,) = re.findall(r"```python\n(.*?)```", (root / "README.md").read_text("utf-8"), re.DOTALL)
    for suffix in (".jpg", ".marks.json"):
        shutil.copy(root / "example_archive" / f"awning-knit{suffix}", tmp_path / f"moss-7{suffix}")
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {}
    exec(compile(code, "README.md", "exec"), names)
    assert "swatch" in names and capsys.readouterr().out.count("[") >= 1

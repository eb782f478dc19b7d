"""Photos on a local cluster of two processes; the long form is ``python -m tests.cluster_run``."""

from __future__ import annotations

from pathlib import Path

import pytest

from swatchvault.batch import measure_many, measure_one
from swatchvault.errors import SwatchvaultError
from tests.cluster_run import copies, fingerprint, on_cluster
from tests.swatchvault.running import run


@pytest.mark.filterwarnings("ignore")
def test_a_killed_worker_loses_nothing(tmp_path: Path) -> None:
    pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
    jobs = copies(tmp_path, 8)
    there = on_cluster(jobs, kill_after=2)
    assert [o.job.path for o in there] == [j.path for j in jobs]
    assert all(o.error is None for o in there)
    here = [fingerprint(measure_one(j).measurement) for j in jobs]
    assert [fingerprint(o.measurement) for o in there] == here


def test_where_nobody_answers(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
    monkeypatch.setattr("swatchvault.cluster._WAIT_S", 1)
    with pytest.raises(SwatchvaultError, match="no dask scheduler answers"):
        list(measure_many(copies(tmp_path, 1), "dask://127.0.0.1:1"))


@pytest.mark.parametrize("workers", ["0", "-1", "dask://", "many", "http://x", "³"])
def test_workers_that_are_none(capsys: pytest.CaptureFixture[str], workers: str) -> None:
    ran = run(capsys, "add", "x.jpg", "--workers", workers)
    assert ran.code == 2
    assert "neither a number" in ran.err

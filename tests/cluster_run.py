"""Photos measured on two dask workers, one of them killed in the middle, against this process.

``python -m tests.cluster_run --photos 200`` prints whether every measurement is the same bit for
bit and none was lost. The photos are the demo's, again and again under other names.
"""

from __future__ import annotations

import argparse
import dataclasses
import hashlib
import os
import shutil
import signal
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from swatchvault.batch import Job, Outcome, measure_many, measure_one

EXAMPLES = Path(__file__).parents[1] / "example_archive"


def fingerprint(value: Any) -> str:
    """A hash of every figure of an outcome, to the last bit; where the file lay is left out."""
    digest = hashlib.sha256()
    _feed(digest, value)
    return digest.hexdigest()


def _feed(digest: Any, value: Any) -> None:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        for field in dataclasses.fields(value):
            if field.name != "path":
                digest.update(field.name.encode())
                _feed(digest, getattr(value, field.name))
    elif isinstance(value, np.ndarray):
        digest.update(str((value.dtype, value.shape)).encode() + value.tobytes())
    elif isinstance(value, dict):
        for key in sorted(value, key=str):
            digest.update(str(key).encode())
            _feed(digest, value[key])
    elif isinstance(value, tuple | list):
        for item in value:
            _feed(digest, item)
    elif isinstance(value, set | frozenset):
        _feed(digest, sorted(value, key=str))
    elif isinstance(value, float):
        digest.update(value.hex().encode())
    else:
        digest.update(repr(value).encode())


def copies(folder: Path, count: int) -> list[Job]:
    """``count`` jobs on copies of the demo's photos that have marks."""
    marked = sorted(EXAMPLES.glob("*.marks.json"))
    jobs = []
    for n in range(count):
        marks = marked[n % len(marked)]
        name = marks.name.removesuffix(".marks.json")
        photo = folder / f"{n:04d}-{name}.jpg"
        shutil.copy(EXAMPLES / f"{name}.jpg", photo)
        shutil.copy(marks, folder / f"{photo.stem}.marks.json")
        jobs.append(Job(photo))
    return jobs


def on_cluster(jobs: Sequence[Job], kill_after: int | None) -> list[Outcome]:
    """The outcomes from two worker processes; one is killed once so many have arrived."""
    from distributed import Client, LocalCluster

    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        address = cluster.scheduler_address
        found = []
        for outcome in measure_many(jobs, "dask://" + address.removeprefix("tcp://")):
            found.append(outcome)
            if len(found) == kill_after:
                with Client(address, set_as_default=False) as client:
                    pids = client.run(os.getpid)
                os.kill(next(iter(pids.values())), signal.SIGKILL)
        return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--photos", type=int, default=200)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        jobs = copies(Path(scratch), asked.photos)
        start = time.perf_counter()
        here = [fingerprint(measure_one(job).measurement) for job in jobs]
        middle = time.perf_counter()
        there = on_cluster(jobs, kill_after=asked.photos // 3)
        end = time.perf_counter()
    same = sum(a == fingerprint(b.measurement) for a, b in zip(here, there, strict=True))
    print(f"{len(jobs)} photos, two workers, one killed after {asked.photos // 3}")
    print(f"measured {len(there)}, the same to the last bit {same}")
    print(
        f"one process here {middle - start:.1f} s, the cluster {end - middle:.1f} s (its start too)"
    )


if __name__ == "__main__":
    main()

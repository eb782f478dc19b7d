"""Many photos, many workers: each photo is measured on its own, so they map over processes.

Nothing here writes; the caller is the one writer.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from ingest.errors import IngestError
from ingest.exif import clean_text
from ingest.model import Layout, PhotoMeasurement, Settings

#: From so many photos on, starting processes costs less than it saves (a start is about 1 s).
PHOTOS_FOR_PROCESSES = 8
_LINE_SHOWN = 2000  # most characters of an error's line; our choice


@dataclass(frozen=True)
class Job:
    """One photo to measure, where things are in it (``None``: marks beside it, or a search)."""

    path: Path
    layout: Layout | None = None
    settings: Settings = field(default_factory=Settings)
    measured: bool = True  # else the photo is read for its small picture only


@dataclass(frozen=True)
class Outcome:
    """What a job gave: a measurement, or the one line that says why not."""

    job: Job
    measurement: PhotoMeasurement | None
    error: str | None = None


def measure_one(job: Job) -> Outcome:
    """Measure one photo; a mistake in the input becomes a line, never an exception."""
    from ingest.pipeline import measure_photo, read_only

    try:
        if not job.measured:
            return Outcome(job, read_only(job.path))
        return Outcome(job, measure_photo(job.path, layout=job.layout, settings=job.settings))
    except IngestError as error:
        return Outcome(job, None, clean_text(str(error), _LINE_SHOWN))
    except MemoryError:
        said = "the memory of this computer does not suffice for this photo: close other programs"
        return Outcome(job, None, said)


def measure_many(jobs: Sequence[Job], workers: int | str | None = None) -> Iterator[Outcome]:
    """Measure photos in order, over ``workers`` processes (all cores by default).

    ``workers`` may be a cluster's address instead, ``dask://HOST:PORT``.
    """
    if isinstance(workers, str):
        from swatchvault.cluster import map_on_cluster

        yield from map_on_cluster(_measure_in_worker, jobs, workers)
        return
    count = workers or os.cpu_count() or 1
    if count <= 1 or len(jobs) < PHOTOS_FOR_PROCESSES:
        yield from map(measure_one, jobs)
        return
    from joblib import Parallel, delayed

    pool = Parallel(n_jobs=min(count, len(jobs)), return_as="generator", batch_size=1)
    yield from pool(delayed(_measure_in_worker)(job) for job in jobs)


def _measure_in_worker(job: Job) -> Outcome:
    import cv2

    cv2.setNumThreads(1)  # one photo a core: more threads would only wait for each other
    return measure_one(job)

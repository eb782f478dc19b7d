"""Photos measured on a dask cluster, for who measures by the ten thousand.

The workers need this package and the same folders under the same names; nothing is written there.
A worker that dies has its photo measured by another.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

from swatchvault.errors import SwatchvaultError

SCHEME = "dask://"
_WAIT_S = 20  # for the scheduler to answer; our choice

A = TypeVar("A")
B = TypeVar("B")


def map_on_cluster(fn: Callable[[A], B], values: Sequence[A], address: str) -> Iterator[B]:
    """``fn`` of each value, in order, on the cluster whose scheduler is at ``dask://HOST:PORT``.

    Raises ``SwatchvaultError`` where the extra is not installed or nobody answers there.
    """
    try:
        from distributed import Client
    except ImportError as error:
        raise SwatchvaultError(
            "measuring on a cluster needs the extra: pip install 'swatchvault[cluster]'"
        ) from error
    from joblib import Parallel, delayed, parallel_config

    place = "tcp://" + address.removeprefix(SCHEME)
    try:
        client = Client(place, timeout=_WAIT_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise SwatchvaultError(
            f"no dask scheduler answers at {place}: start one there (dask scheduler), or give "
            "--workers a number"
        ) from error
    with client:
        with parallel_config(backend="dask", client=client):
            pool = Parallel(n_jobs=-1, return_as="generator", batch_size=1)
            results = pool(delayed(fn)(value) for value in values)
        yield from results

"""Outlines of flat areas: of nearly the same ones the best filled is kept."""

from types import SimpleNamespace

import numpy as np

from ingest.flatareas import _without_doubles


def test_of_outlines_with_the_same_corners_one_is_kept():
    rng = np.random.default_rng(3)
    square = np.array([[0, 0], [60, 0], [60, 60], [0, 60]], float)
    places = rng.uniform(0, 900, (40, 2))[rng.integers(0, 40, 160)]
    quads = [
        SimpleNamespace(corners=square + place + rng.normal(0, 1.5, (4, 2)), area=3600.0, fill=fill)
        for place, fill in zip(places, rng.permutation(160) / 160, strict=True)
    ]
    kept = []
    for quad in sorted(quads, key=lambda q: -q.fill):
        apart = [
            max(min(np.abs(one - two).max() for two in there.corners) for one in quad.corners)
            for there in kept
        ]
        if not apart or min(apart) >= 4.0:
            kept.append(quad)
    found = _without_doubles(quads)
    assert [q.fill for q in found] == [q.fill for q in kept]
    assert len(found) < 100

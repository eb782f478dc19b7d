"""Every photo of the demo against its spectral truth, which the renderer wrote beside it."""

import json
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from ingest.colour import delta_e_2000
from ingest.model import Settings
from ingest.pipeline import measure_photo

EXAMPLE = Path(str(files("example_archive")))


@pytest.fixture(scope="module")
def against_truth():
    """(reference, measurement, true Lab as seen) of every swatch in every photo."""
    truth = json.loads((EXAMPLE / "truth.json").read_text(encoding="utf-8"))["photos"]
    pairs = []
    for name, regions in truth.items():
        photo = measure_photo(EXAMPLE / name, settings=Settings(light="daylight"))
        assert photo.swatches, name
        for swatch in photo.swatches:
            known = regions[swatch.name] if swatch.name in regions else next(iter(regions.values()))
            pairs.append((swatch.reference, swatch, np.array(known["lab_seen"])))
    return pairs


@pytest.mark.parametrize(("reference", "mean"), [("card", 3.0), ("steps", 1.3), ("chart", 1.3)])
def test_mean_error(against_truth, reference, mean):
    """Bounds: the simulated mean errors of phones by daylight, and their 95 % points for a card."""
    errors = [delta_e_2000(m.lab, lab) for kind, m, lab in against_truth if kind == reference]
    assert len(errors) >= 2
    assert np.mean(errors) < mean


def test_stated_doubt_holds_the_truth(against_truth):
    """7.81: the 95 % point of chi square with three degrees of freedom."""
    held = []
    for _, measured, lab in against_truth:
        off = measured.lab - lab
        held.append(off @ np.linalg.solve(measured.covariance.total, off) < 7.81)
    assert np.mean(held) > 0.93


def test_nothing_that_is_not_there_is_flagged(against_truth):
    never = {"clipped beyond use", "card clipped", "fluorescent", "no reference", "much left out"}
    for _, measured, _ in against_truth:
        assert not measured.flags & never, measured.name

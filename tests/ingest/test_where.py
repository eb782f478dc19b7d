"""Where things are: marks before mat before search, and what lies on the mat's place."""

from dataclasses import replace

import numpy as np
import pytest

from ingest.errors import MarksError, ReferenceMissing
from ingest.mat import find_mat
from ingest.model import Layout, Reference, Settings, SwatchRegion
from ingest.pipeline import measure_decoded
from ingest.where import locate
from tests.ingest.builders import photo_of_light
from tests.render.mat import as_photo, random_view

#: The reflectances of the steps that the renderer lays down.
STEPS_Y = tuple(0.9 * 0.55**j for j in range(6))
BOX = ((0.1, 0.1), (0.3, 0.1), (0.3, 0.3), (0.1, 0.3))


def view(seed):
    return as_photo(random_view(seed, 2000).pixels)


@pytest.mark.parametrize(("seed", "kind"), [(0, "steps"), (2, "card"), (6, "steps"), (3, "card")])
def test_a_card_or_steps_on_the_mat_are_found_in_their_place(seed, kind):
    photo = view(seed)
    found = locate(photo, None, Settings(steps_y=STEPS_Y))
    (reference,) = found.references
    assert (reference.kind, reference.located) == (kind, "mat")
    assert found.scale is not None and found.surround
    place = np.array(find_mat(photo).regions["reference"])
    for patch in reference.patches:
        x, y = np.mean(patch, axis=0)
        assert place[:, 0].min() < x < place[:, 0].max()
        assert place[:, 1].min() < y < place[:, 1].max()


def test_steps_on_the_mat_are_read_light_to_dark_and_measured():
    photo = view(0)
    found = measure_decoded(photo, None, Settings(steps_y=STEPS_Y))
    (reading,) = found.references
    light = [p["corrected_lab"][0] for p in reading.patches]
    assert light == sorted(light, reverse=True)
    assert found.swatches
    assert not any("scale unknown" in s.flags for s in found.swatches)


def test_steps_without_values_are_not_guessed():
    with pytest.raises(ReferenceMissing, match=r"no steps without their values \(--steps\)"):
        locate(view(0), None, Settings())
    with pytest.raises(ReferenceMissing, match="no steps of the values told"):  # there are six
        locate(view(0), None, Settings(steps_y=STEPS_Y[:4]))


def test_a_place_for_the_reference_that_the_pictures_edge_cuts_is_told():
    photo = view(0)
    place = np.array(find_mat(photo).regions["reference"])
    middle = round(float(place[:, 0].mean()) * photo.width)
    left, right = photo.pixels[:, :middle], photo.pixels[:, middle:]
    half = max(left, right, key=lambda pixels: pixels.shape[1])
    cut = replace(photo, pixels=np.ascontiguousarray(half))
    assert "reference" in find_mat(cut).cut_off
    with pytest.raises(ReferenceMissing, match="edge cuts off its place for a reference: go back"):
        locate(cut, None, Settings(steps_y=STEPS_Y))
    assert not locate(cut, None, Settings(allow_uncorrected=True)).references


def test_a_chart_of_other_colours_is_no_chart():
    with pytest.raises(ReferenceMissing):
        locate(view(11), None, Settings(steps_y=STEPS_Y))


def test_marks_are_used_as_they_are():
    photo = photo_of_light(np.full((60, 80, 3), 0.4))
    told = Layout((Reference("card", (BOX,)),), (SwatchRegion("a", BOX),))
    assert locate(photo, told, Settings()) is told


def test_no_search_finds_nothing():
    photo = photo_of_light(np.full((60, 80, 3), 0.4))
    assert locate(photo, None, Settings(search=False)) == Layout()


def test_markers_that_place_no_mat_are_an_error_only_where_the_search_fails_too(monkeypatch):
    from ingest import mat

    def broken(*_args, **_kwargs):
        raise MarksError("2 of the capture mat's 8 black marks were found")

    monkeypatch.setattr(mat, "find_mat", broken)
    photo = photo_of_light(np.full((300, 400, 3), 0.4))
    with pytest.raises(MarksError, match="black marks"):
        locate(photo, None, Settings())

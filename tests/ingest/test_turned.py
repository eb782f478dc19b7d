"""Charts marked from the wrong corner or mirrored are said to be so; right ones never are."""

import numpy as np
import pytest

from ingest.charts import CHART24_LAB_D50
from ingest.colour import SRGB_TO_XYZ, lab_d50_to_d65, lab_to_xyz
from ingest.correct import correct
from ingest.decode import read_photo
from ingest.errors import ReferenceMissing
from ingest.locate import chart_reference, read_marks
from ingest.model import Settings
from ingest.pipeline import prepare_file
from ingest.turned import wrong_way_round

EXPECTED = (
    lab_to_xyz(lab_d50_to_d65(CHART24_LAB_D50["after-2014-11"])) @ np.linalg.inv(SRGB_TO_XYZ).T
)
GRID = np.arange(24).reshape(4, 6)
ORDERS = [
    (GRID, None),
    (GRID[::-1, ::-1], "turned by half"),
    (GRID[:, ::-1], "mirrored:"),
    (GRID[::-1], "mirrored top to bottom"),
]


@pytest.mark.parametrize(("order", "words"), ORDERS, ids=["right", "half", "across", "down"])
def test_each_wrong_order_is_named_under_a_tinted_light(order, words):
    read = 0.4 * np.maximum(EXPECTED, 0.001)[order.ravel()] * [1.4, 1.0, 0.6]
    said = wrong_way_round(read, EXPECTED, SRGB_TO_XYZ)
    assert said is None if words is None else words in said


def test_real_charts_as_marked_and_marked_wrongly(outside_photos):
    marks = sorted(outside_photos.glob("*.marks.json"))
    assert marks
    for path in marks:
        name = path.name.removesuffix(".marks.json")
        photo = read_photo(next(p for p in outside_photos.glob(f"{name}.*") if p != path))
        c = read_marks(path).references[0].corners
        correct(photo, [chart_reference(c)], Settings())
        for turned in (c[2:] + c[:2], (c[1], c[0], c[3], c[2]), (c[3], c[2], c[1], c[0])):
            with pytest.raises(ReferenceMissing, match="corners are marked"):
                correct(photo, [chart_reference(turned)], Settings())


def test_a_chart_of_another_make_is_found_and_its_residuals_raise_the_flag(outside_photos):
    made = prepare_file(outside_photos / "chart_of_another_make.jpg").correction
    assert {"reference does not fit", "reference found by search"} <= made.flags


def test_most_real_charts_fit(outside_photos):
    marks = sorted(outside_photos.glob("*.marks.json"))
    fits = 0
    for path in marks:
        name = path.name.removesuffix(".marks.json")
        photo = next(p for p in outside_photos.glob(f"{name}.*") if p != path)
        fits += "reference does not fit" not in prepare_file(photo).correction.flags
    assert fits >= len(marks) - 2


@pytest.mark.parametrize("name", ["chart_half_hidden.png", "grey_square_on_paper.jpg"])
def test_no_reference_is_claimed_where_none_can_be_read(outside_photos, name):
    with pytest.raises(ReferenceMissing, match="no grey card"):
        prepare_file(outside_photos / name)

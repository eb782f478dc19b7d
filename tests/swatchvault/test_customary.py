"""What is customary stands with its source wherever it is shown, and holds nothing to it."""

import pytest

from swatchvault.customary import CUSTOMS, FIRST, SILK_C
from tests.swatchvault.running import run


def test_the_command_tells_each_with_its_source(capsys):
    said = run(capsys, "sums", "customary").out
    for custom in CUSTOMS:
        assert f"{custom.of}: {custom.usual} ({custom.source})" in said
    assert said.rstrip().endswith(FIRST)


@pytest.mark.parametrize(
    ("of", "usual"),
    [
        ("pH of levelling acid dyes", "2.5 to 4"),
        ("silk and its blends", f"not above {SILK_C:g} °C"),
    ],
)
def test_figures(of, usual):
    assert [c.usual for c in CUSTOMS if c.of == of] == [usual]

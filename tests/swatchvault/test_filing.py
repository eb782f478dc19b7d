"""What is said of a photo that was filed."""

from pathlib import Path

import pytest

from swatchvault.archive import FiledPhoto
from swatchvault.filing import Filing


@pytest.mark.parametrize(
    ("filed", "said"),
    [
        (FiledPhoto("0", True, (1,), 1), "a.jpg: filed, one swatch"),
        (FiledPhoto("0", False, (1,), 0), "a.jpg: was there already, nothing changed"),
        (FiledPhoto("0", False, (1, 2), 2), "a.jpg: was there; measured anew, 2 swatches"),
        (
            FiledPhoto("0", False, (2,), 1, ("moss-1", "moss-2")),
            "a.jpg: was there; measured anew, one swatch; it no longer measures moss-1, moss-2: no "
            "mark of it is left. Its old figures are kept, and count again if you mark it too and "
            "add the photo again",
        ),
    ],
)
def test_words_of_what_was_filed(filed, said):
    assert Filing(Path("x/a.jpg"), filed).words == said


def test_words_of_what_was_not():
    assert Filing(Path("a.jpg"), None, error="a.jpg: no picture").words == "a.jpg: no picture"

"""What is written of a dye, and whether it says that the dye is fluorescent."""

import pytest

from swatchvault.fluorescing import says_fluorescent

YES = [
    *("acid, fluorescent", "Neon", "strong neon pink; keep dry", "contains fluorescein"),
    *("fluorescent. Never boil", "Fluorescent, not for food", "fluoresces in daylight"),
]
NO = [
    *("", "acid", "neonatal blue", "nonfluorescent", "non-fluorescent", "Non fluorescent"),
    *("non\u2011fluorescent", "never fluorescent", "without fluorescence", "not fluorescent"),
    *("not at all fluorescent", "isn't fluorescent", "isn\u2019t neon", "does not fluoresce"),
    *("fluorescence: none", "fluorescence-free", "no fluorescence; not neon"),
]
OPEN = [
    *("fluorescent?", "perhaps fluorescent", "not sure whether fluorescent", "hardly fluorescent"),
    *("not nonfluorescent", "not, as I thought, fluorescent", "fluoresces; not fluorescent"),
    *("not acid but fluorescent", "Neon. Non-fluorescent"),
]


@pytest.mark.parametrize(
    ("words", "said"),
    [*((w, True) for w in YES), *((w, False) for w in NO), *((w, None) for w in OPEN)],
)
def test_words_say_so_or_not_or_leave_it_open(words, said):
    assert says_fluorescent(words) is said
    assert says_fluorescent(f"acid; {words.upper()}") is said

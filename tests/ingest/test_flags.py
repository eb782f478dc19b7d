"""The registry of flags: each is raised somewhere, or named here as a later part's."""

from pathlib import Path

import pytest

import ingest.flags
from ingest.flags import FLAGS, FLAGS_THAT_STOP_A_VERDICT, check_flags

SOURCES = {
    p.name: p.read_text(encoding="utf-8")
    for p in sorted(Path(ingest.flags.__file__).parent.glob("*.py"))
    if p.name != "flags.py"
}

#: Flags whose rule is not written yet. A flag that is raised must leave this list.
LATER_PARTS: frozenset[str] = frozenset()


@pytest.mark.parametrize("name", FLAGS)
def test_every_flag_is_raised_somewhere(name):
    raised = any(f'"{name}"' in text for text in SOURCES.values())
    assert raised != (name in LATER_PARTS)


@pytest.mark.parametrize(("name", "sentence"), FLAGS.items())
def test_every_flag_has_a_plain_sentence(name, sentence):
    assert sentence.endswith(".") and sentence[0].isupper() and "  " not in sentence
    assert name == name.lower() and name.strip() == name
    assert "\n" not in sentence


def test_flags_outside_the_registry_are_a_mistake():
    assert check_flags(frozenset({"clipped"})) == {"clipped"}
    assert check_flags(frozenset()) == frozenset()
    with pytest.raises(KeyError, match="flag 'blurred' is not in the registry"):
        check_flags(frozenset({"clipped", "blurred"}))


def test_flags_that_stop_a_verdict_are_in_the_registry():
    assert set(FLAGS) >= FLAGS_THAT_STOP_A_VERDICT

"""Photos measured one by one: what cannot be measured is a line, and the others go on."""

from pathlib import Path

from swatchvault.batch import Job, measure_one


def test_a_want_of_memory_is_a_line(monkeypatch):
    def full(*_, **__):
        raise MemoryError

    monkeypatch.setattr("ingest.pipeline.measure_photo", full)
    outcome = measure_one(Job(Path("a.jpg")))
    assert outcome.measurement is None and "memory of this computer" in (outcome.error or "")

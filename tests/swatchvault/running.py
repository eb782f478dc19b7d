"""Running the command line in this process, as a person would."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from swatchvault.cli import main


@dataclass(frozen=True)
class Ran:
    code: int
    out: str
    err: str


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> Ran:
    """Run `swatchvault ARGUMENTS` and give back its exit code and what it printed."""
    capsys.readouterr()
    with pytest.raises(SystemExit) as stop:
        main([str(a) for a in arguments])
    said = capsys.readouterr()
    code = stop.value.code
    return Ran(code if isinstance(code, int) else 0, said.out, said.err)

"""Options that several commands share, and how they become settings."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any, TypeVar

import click

from swatchvault.amounts import SiUnit, after_one, parse_amount
from swatchvault.errors import AmountError, ArchiveError
from swatchvault.typed_numbers import read_number, row_number

F = TypeVar("F", bound=Callable[..., Any])
T = TypeVar("T")


class Workers(click.ParamType):  # type: ignore[type-arg]
    """A number of processes, or a cluster's address."""

    name = "NUMBER or dask://HOST:PORT"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> int | str:
        from swatchvault.cluster import SCHEME

        text = str(value)
        if text.startswith(SCHEME) and len(text) > len(SCHEME):
            return text
        count = row_number(text)
        if count is not None and 1 <= count <= 256:
            return count
        raise click.BadParameter(
            f"{text!r} is neither a number from 1 to 256 nor dask://HOST:PORT", ctx, param
        )


WORKERS = Workers()


class Whole(click.ParamType):  # type: ignore[type-arg]
    """A whole number of a version or a step."""

    name = "integer"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        found = row_number(str(value))
        if found is None:
            self.fail(f"{value!r} is no whole number: write it as 2", param, ctx)
        return found


WHOLE = Whole()


class Number(click.ParamType):  # type: ignore[type-arg]
    """A number with a point or a comma, ``above`` some other if told."""

    name = "number"

    def __init__(self, above: float | None = None) -> None:
        self.above = above

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        try:
            told = read_number(str(value))
        except AmountError as error:
            self.fail(str(error), param, ctx)
        if self.above is not None and not told > self.above:
            self.fail(f"{value} is not above {self.above:g}", param, ctx)
        return told


NUMBER = Number()


class Measured(click.ParamType):  # type: ignore[type-arg]
    """A mass in g or a volume in mL: a number alone, or with a unit that can be turned into it."""

    name = "amount"

    def __init__(self, unit: SiUnit) -> None:
        self.unit = unit

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        try:
            told = parse_amount(str(value), bare=self.unit)
            return told.g if self.unit == "g" else told.ml
        except AmountError as error:
            self.fail(str(error), param, ctx)


GRAMS, MILLILITRES = Measured("g"), Measured("mL")


class Ratio(Number):
    """A liquor ratio: 30, or 1:30."""

    name = "ratio"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        return super().convert(after_one(str(value)), param, ctx)


RATIO = Ratio()


def archive_option(command: F) -> F:
    """``--archive FOLDER``, or the environment's ``SWATCHVAULT_ARCHIVE``."""
    return click.option(
        "--archive",
        "archive_folder",
        type=click.Path(path_type=Path),
        envvar="SWATCHVAULT_ARCHIVE",
        help="The archive's folder; SWATCHVAULT_ARCHIVE names it when this is not given.",
    )(command)


def json_option(command: F) -> F:
    return click.option("--json", "as_json", is_flag=True, help="Print JSON for a program.")(
        command
    )


def verdict_options(command: F) -> F:
    """Tolerance and kL of a comparison."""
    command = click.option(
        "--tolerance",
        type=NUMBER,
        help="Largest ΔE00 that still counts as the same; 2.0 unless the master states another.",
    )(command)
    return click.option(
        "--k-l", type=NUMBER, help="kL of ΔE00; 2 (customary for textiles) unless stated."
    )(command)


def light_option(command: F) -> F:
    return click.option(
        "--light",
        type=click.Choice(["daylight", "other"]),
        help="The light the photo was taken in; other if not said.",
    )(command)


def reference_options(command: F) -> F:
    """What is known of the references and of the printed mat."""
    command = click.option(
        "--card-lab", "card_lab", type=NUMBER, nargs=3, help="Or its L* a* b* under D50."
    )(command)
    command = click.option(
        "--card-y",
        type=NUMBER,
        help="The card's reflectance; where it is not said, that of marks or set-up, else 0.18.",
    )(command)
    command = click.option(
        "--steps",
        "steps_y",
        help="Reflectances of neutral steps, searched for or marked: 0.9,0.59,0.36,0.2,0.09,0.03.",
    )(command)
    return click.option(
        "--bar-mm",
        type=NUMBER,
        default=100.0,
        show_default=True,
        help="The mat's check bar as measured on your print, in millimetres.",
    )(command)


def need_archive(folder: Path | None) -> Path:
    """The archive's folder, or the line that says how to name one."""
    if folder is None:
        raise ArchiveError(
            "no archive named: give --archive FOLDER, or set SWATCHVAULT_ARCHIVE; "
            "`swatchvault new FOLDER` makes one"
        )
    return folder


def show_progress(items: Iterable[T], total: int, what: str) -> Iterator[T]:
    """Pass items on; on a terminal, with a bar on standard error for long work."""
    if total < 3 or not sys.stderr.isatty():
        yield from items
        return
    from rich.console import Console
    from rich.progress import track

    yield from track(items, description=what, total=total, console=Console(stderr=True))

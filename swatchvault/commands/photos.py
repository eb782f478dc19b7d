"""`measure` and `compare`: photos without an archive."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Literal, NamedTuple

import click

from ingest.marks_values import CARD_CHROMA, no_reflectance
from ingest.model import Layout, Light, Measurement, PhotoMeasurement, ReferenceKind, Settings
from swatchvault.commands.options import (
    json_option,
    light_option,
    reference_options,
    show_progress,
    verdict_options,
)
from swatchvault.errors import AmountError, CompareError
from swatchvault.typed_numbers import reflectances

FILE = click.Path(path_type=Path)


@click.command("measure")
@click.argument("photos", nargs=-1, required=True, type=FILE)
@click.option("--marks", type=FILE, help="Where things are, for one photo; see the README.")
@reference_options
@light_option
@click.option("--no-card", is_flag=True, help="Measure even where no reference is found.")
@click.option("--show", type=FILE, help="Draw what was located over the photo, into this file.")
@json_option
def measure_command(
    photos: tuple[Path, ...],
    marks: Path | None,
    light: Light | None,
    no_card: bool,
    show: Path | None,
    as_json: bool,
    **known: Any,
) -> None:
    """Measure the swatches in PHOTOS.

    Where things are is read from NAME.marks.json beside NAME.jpg, or from --marks; without
    marks the picture is searched for a grey card and a swatch, and the result says so.
    """
    from swatchvault.batch import Job, measure_many
    from swatchvault.report import photo_lines

    settings = make_settings(known, light, no_card)
    layout = one_layout(marks, photos)
    if show is not None:
        draw_located(photos, layout, settings, show)
    jobs = [Job(path, layout, settings) for path in photos]
    failed, measured = [], False
    for outcome in show_progress(measure_many(jobs), len(jobs), "measuring"):
        if outcome.measurement is None:
            failed.append(outcome.error)
        elif as_json:
            click.echo(json.dumps(outcome.measurement.record(), ensure_ascii=False))
        else:
            click.echo("\n".join(photo_lines(outcome.measurement)))
            measured = measured or bool(outcome.measurement.swatches)
    if measured and light is None:
        click.echo("± is that of any light, since none was told: --light daylight where it was")
    leave_with_failures(failed)


@click.command("compare")
@click.argument("photo_a")
@click.argument("photo_b", required=False)
@click.option("--marks", type=FILE, help="Where things are, where one photo is given.")
@click.option(
    "--capture",
    type=click.Choice(["same frame", "locked set-up", "same set-up", "other"]),
    help="How two photos belong together; other if not said. One photo is the same frame.",
)
@verdict_options
@reference_options
@light_option
@click.option(
    "--same-dyes/--other-dyes",
    default=None,
    help="Whether both were dyed with the same dyes and packets; unknown if not said.",
)
@json_option
def compare_command(
    photo_a: str,
    photo_b: str | None,
    marks: Path | None,
    capture: str | None,
    tolerance: float | None,
    k_l: float | None,
    light: Light | None,
    same_dyes: bool | None,
    as_json: bool,
    **known: Any,
) -> None:
    """Hold a new swatch to a master: PHOTO_A is the master's photo, PHOTO_B the new one's.

    Or one photo that shows both: the swatch named "master" is the master, else the first.
    PHOTO:NAME picks a swatch by name. Every verdict leaves with exit code 0.
    """
    from swatchvault.compare import as_record, compare
    from swatchvault.pair import Capture, Colour, Conditions
    from swatchvault.report import STANDING_FLAGS, comparison_lines, flag_lines

    settings = make_settings(known, light)
    named = [split_name(p) for p in (photo_a, photo_b) if p is not None]
    layout = one_layout(marks, [path for path, _ in named])
    master, new, same_photo = pick_pair(named, layout, settings)
    sides = [
        Colour.from_measurement(
            side.swatch,
            photo_ids=frozenset({side.photo.sha256}),
            light=light,
            greys=side.photo.greys,
        )
        for side in (master, new)
    ]
    conditions = Conditions(
        Capture.SAME_FRAME if same_photo else Capture.named(capture or "other"),
        tolerance=2.0 if tolerance is None else tolerance,
        k_l=2.0 if k_l is None else k_l,
        light=light,
        same_dyes=same_dyes,
    )
    comparison = compare(sides[0], sides[1], conditions)
    if as_json:
        swatches = {"master": master.swatch.record(), "new": new.swatch.record()}
        click.echo(json.dumps({**as_record(comparison), **swatches}, ensure_ascii=False))
    else:
        click.echo("\n".join(comparison_lines(comparison)))
        weak = (master.swatch.flags | new.swatch.flags) - STANDING_FLAGS
        click.echo("\n".join(flag_lines(weak)), nl=bool(weak))


# ---------------------------------------------------------------------------------------------


def make_settings(
    known: Mapping[str, Any], light: Light | None = None, no_card: bool = False
) -> Settings:
    """Settings from the reference options; nonsense is one line. What is told here is not gone
    over in silence: marks and set-ups that say otherwise are an error."""
    card_y, card_lab = known["card_y"], known["card_lab"]
    if card_y is not None and card_lab is not None:
        raise click.UsageError("--card-y and --card-lab are both of the card: give one of them")
    told: set[ReferenceKind | Literal["mat"]] = set()
    told |= {"card"} if (card_y, card_lab) != (None, None) else set()
    told |= {"steps"} if known["steps_y"] is not None else set()
    told |= {"mat"} if known["bar_mm"] != Settings.bar_mm else set()
    card_y = Settings.card_y if card_y is None else float(card_y)
    if not (math.isfinite(card_y) and 0.0 < card_y <= 1.0):
        raise AmountError(f"--card-y is {card_y:g}; {no_reflectance([card_y])}")
    if card_lab is not None and not (0.0 < card_lab[0] <= 100.0):
        raise AmountError(f"--card-lab has L* {card_lab[0]:g}; it lies above 0 and up to 100")
    if card_lab is not None and not math.hypot(*card_lab[1:]) <= CARD_CHROMA:
        raise AmountError(
            f"--card-lab has a* {card_lab[1]:g}, b* {card_lab[2]:g}; of a grey card both lie near 0"
        )
    return Settings(
        card_y=card_y,
        card_lab_d50=card_lab,
        light=light,
        allow_uncorrected=no_card,
        bar_mm=float(known["bar_mm"]),
        steps_y=steps_of(known["steps_y"]),
        told=frozenset(told),
    )


def steps_of(text: str | None) -> tuple[float, ...] | None:
    """What neutral steps reflect, from ``--steps``; nonsense is one line."""
    if text is None:
        return None
    found = reflectances(text, "steps", "--steps")
    if len(found) < 3:
        raise AmountError(f"--steps is {text!r}; give three or more reflectances")
    return found


def one_layout(marks: Path | None, photos: Sequence[Path]) -> Layout | None:
    """The marks given by option; they go with one photo only."""
    if marks is None:
        return None
    if len(set(photos)) != 1:
        raise click.UsageError(f"--marks goes with one photo only; {len(photos)} were given")
    from ingest.locate import read_marks

    return read_marks(marks)


def draw_located(
    photos: Sequence[Path], layout: Layout | None, settings: Settings, to: Path
) -> None:
    """Draw what was located in one photo over it."""
    if len(photos) != 1:
        raise click.UsageError(f"--show goes with one photo only; {len(photos)} were given")
    from ingest.icc_write import display_profile
    from ingest.pipeline import locate_file
    from swatchvault.pictures import draw_layout, save_picture

    photo, located = locate_file(photos[0], layout=layout, settings=settings)
    save_picture(to, draw_layout(photo, located), display_profile("srgb"))


def leave_with_failures(failed: Sequence[str | None]) -> None:
    """List what could not be measured and leave with 1; do nothing where all went well."""
    for line in failed:
        click.echo(line, err=True)
    if failed:
        raise click.exceptions.Exit(1)


def split_name(text: str) -> tuple[Path, str | None]:
    """``PHOTO:NAME`` as path and swatch name; a file whose name holds a colon wins."""
    if not Path(text).exists() and ":" in text:
        path, _, name = text.rpartition(":")
        if name and path and not (len(path) == 1 and text[2:3] == "\\"):
            return Path(path), name
    return Path(text), None


class Side(NamedTuple):
    """One side of a comparison: a swatch and the photo that shows it."""

    photo: PhotoMeasurement
    swatch: Measurement


def pick_pair(
    named: Sequence[tuple[Path, str | None]], layout: Layout | None, settings: Settings
) -> tuple[Side, Side, bool]:
    """Master and new, and whether one photo shows both."""
    from ingest.pipeline import measure_photo

    photos: dict[Path, PhotoMeasurement] = {}
    for path, _ in named:
        if path not in photos:
            photos[path] = measure_photo(path, layout=layout, settings=settings)
    if len(named) == 1:
        path, name = named[0]
        photo = photos[path]
        if name is not None or len(photo.swatches) != 2:
            have = ", ".join(s.name for s in photo.swatches) or "none"
            raise CompareError(
                f"{path.name}: one photo must show two swatches; it has {have}; "
                f"name two: {path.name}:NAME {path.name}:NAME"
            )
        pair = [Side(photo, s) for s in photo.swatches]
    else:
        pair = [Side(photos[p], _pick(photos[p], name)) for p, name in named]
    same_photo = pair[0].photo.sha256 == pair[1].photo.sha256
    if same_photo and pair[0].swatch.polygon == pair[1].swatch.polygon:
        raise CompareError(
            f"both sides are the swatch {pair[0].swatch.name!r} of the same photo; "
            "name two swatches"
        )
    if pair[1].swatch.name == "master" and pair[0].swatch.name != "master":
        pair.reverse()
    return pair[0], pair[1], same_photo


def _pick(photo: PhotoMeasurement, name: str | None) -> Measurement:
    file = Path(photo.path).name
    have = ", ".join(s.name for s in photo.swatches) or "none"
    if name is None:
        if len(photo.swatches) == 1:
            return photo.swatches[0]
        raise CompareError(
            f"{file}: has {len(photo.swatches)} swatches ({have}); pick one as {file}:NAME"
        )
    for swatch in photo.swatches:
        if swatch.name == name:
            return swatch
    raise CompareError(f"{file}: has no swatch named {name!r}; it has {have}")

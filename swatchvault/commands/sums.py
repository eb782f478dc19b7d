"""`sums` and `cautions`: the arithmetic of the dye kitchen, and its card of cautions."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from swatchvault.amounts import Amount, SpoonSizes, parse_amount
from swatchvault.commands.options import NUMBER, RATIO, archive_option, json_option
from swatchvault.errors import AmountError
from swatchvault.measuring import SMALLEST_ML

_NEGATIVE = re.compile(r"-[0-9.,]")

smallest_option = click.option(
    "--smallest",
    type=NUMBER,
    default=SMALLEST_ML,
    show_default=True,
    help="The least volume in mL that you can measure well.",
)


@click.command("cautions")
def cautions_command() -> None:
    """Print the full card of cautions."""
    from swatchvault.cautions import CAUTION_CARD

    click.echo(CAUTION_CARD)


class _Sum(click.Command):
    """A sum; a negative amount is told as one, and not taken for an option."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        for text in args:
            if _NEGATIVE.match(text):
                raise AmountError(f"{text!r} is negative: 0 or more is needed")
        return super().parse_args(ctx, args)


class _Sums(click.Group):
    command_class = _Sum


@click.group("sums", cls=_Sums)
@archive_option
@click.pass_context
def sums_command(context: click.Context, archive_folder: Path | None) -> None:
    """Sums of the dye kitchen. An archive, if named, says the sizes of spoon and cup.

    Amounts carry a unit, such as "100 g", "1/2 lb", "12 mL" or "2 tsp"; weights without one are
    in grams. Volumes are rounded to what can be measured; --json has them in full.
    """
    if archive_folder is not None and context.invoked_subcommand is not None:
        from swatchvault.archive import open_archive, spoons_of

        with open_archive(archive_folder) as archive:
            context.obj = spoons_of(archive.conn)


def _spoons() -> SpoonSizes | None:
    """The sizes of spoon and cup in the archive, where one is named."""
    return click.get_current_context().find_object(SpoonSizes)


def _amount(text: str) -> Amount:
    return parse_amount(text, _spoons())


def _grams(text: str) -> float:
    """A weight; a bare number is in grams."""
    return parse_amount(text, bare="g").g


@sums_command.command("dye")
@click.argument("goods")
@click.argument("dyes", nargs=-1, required=True)
@smallest_option
@json_option
def dye_sum(goods: str, dyes: tuple[str, ...], smallest: float, as_json: bool) -> None:
    """Dye and stock for GOODS (dry) at a depth of shade in %.

    DYES: "Ember 0.8 from 1" is 0.8 % depth from a stock of 1 %; "Ember 0.8" is weighed as powder.
    """
    from swatchvault.dyeing import dye_doses
    from swatchvault.sums_typed import read_dye
    from swatchvault.sums_words import dose_lines

    wanted = [read_dye(text, i) for i, text in enumerate(dyes, 1)]
    doses = dye_doses(_grams(goods), wanted)
    _say(*dose_lines(doses, smallest), doses, as_json)


@sums_command.command("stock")
@click.argument("goods")
@click.argument("went_in", nargs=-1, required=True)
@json_option
def stock_sum(goods: str, went_in: tuple[str, ...], as_json: bool) -> None:
    """The depth of shade that stocks come to on GOODS (dry).

    WENT_IN: "80 mL of 1" is 80 mL of a stock of 1 % (1 g of powder made up to 100 mL).
    """
    from swatchvault.dyeing import depth_from_stocks, question_depth
    from swatchvault.sums_typed import read_went_in
    from swatchvault.sums_words import together_line

    pairs = [read_went_in(text, _spoons()) for text in went_in]
    goods_g = _grams(goods)
    depth = depth_from_stocks(goods_g, pairs)
    lines = [
        f"{text}: {each:.3g} % depth of shade"
        for text, each in zip(went_in, depth.each_percent, strict=True)
    ]
    lines.append(together_line(depth.total_percent, goods_g))
    _say(lines, [question_depth(depth.total_percent)], depth, as_json)


@sums_command.command("mix")
@click.argument("volume")
@click.argument("strength_percent", type=NUMBER, required=False)
@click.option("--powder", help='Powder already weighed, such as "15 g": says the strength.')
@json_option
def mix_sum(volume: str, strength_percent: float | None, powder: str | None, as_json: bool) -> None:
    """Powder for a stock of STRENGTH_PERCENT made up to VOLUME.

    A stock of 1 % is 1 g of powder made up to 100 mL.
    """
    from swatchvault.dyeing import mix_stock, stock_strength_percent
    from swatchvault.sums_words import mix_lines

    if (strength_percent is None) == (powder is None):
        raise click.UsageError("give either STRENGTH_PERCENT or --powder")
    ml = _amount(volume).ml
    if powder is not None:
        strength_percent = stock_strength_percent(_grams(powder), ml)
    assert strength_percent is not None
    mix = mix_stock(ml, strength_percent)
    _say(*mix_lines(mix), mix, as_json)


@sums_command.command("acid")
@click.argument("have")
@click.option("--amount", help='How much of it, such as "20 mL".')
@click.option("--as", "other", help="The acid to use instead, told as HAVE is.")
@click.option("--dilute-to", type=NUMBER, help="Strength wanted, in g/100 mL.")
@click.option("--make-up-to", help='Volume of that to make, such as "500 mL".')
@smallest_option
@json_option
def acid_sum(
    have: str,
    amount: str | None,
    other: str | None,
    dilute_to: float | None,
    make_up_to: str | None,
    smallest: float,
    as_json: bool,
) -> None:
    """One acid in terms of another (--amount, --as), or its dilution (--dilute-to, --make-up-to).

    HAVE: "acetic 5 g/100 mL", or by mass with its density, "acetic 56 g/100 g density 1.06" or
    "acetic 56 % by mass density 1.06".
    Acids: acetic, citric anhydrous, citric monohydrate, formic.
    """
    from swatchvault.acids import dilute_acid, swap_acid
    from swatchvault.sums_typed import read_acid
    from swatchvault.sums_words import dilution_lines, swap_lines

    solution = read_acid(have)
    if other and amount and dilute_to is None:
        swap = swap_acid(_amount(amount).ml, solution, read_acid(other))
        _say(*swap_lines(swap, amount, have, other, smallest), swap, as_json)
    elif dilute_to is not None and make_up_to and not other:
        dilution = dilute_acid(solution, dilute_to, _amount(make_up_to).ml)
        _say(*dilution_lines(dilution, have, smallest), dilution, as_json)
    else:
        raise click.UsageError("give --amount and --as, or --dilute-to and --make-up-to")


@sums_command.command("water")
@click.argument("goods")
@click.argument("ratio", type=RATIO)
@click.argument("added", nargs=-1)
@json_option
def water_sum(goods: str, ratio: float, added: tuple[str, ...], as_json: bool) -> None:
    """Liquor of GOODS at 1:RATIO, and the water left after all that is ADDED ("80 mL" ...)."""
    from swatchvault.dyeing import water_left
    from swatchvault.sums_words import water_lines

    goods_g = _grams(goods)
    water = water_left(goods_g, ratio, [_amount(a).ml for a in added])
    _say(water_lines(water, goods_g, ratio), [], water, as_json)


@sums_command.command("cost")
@click.option("--powder", multiple=True, help='"Ember 2.5 g at 90": the price of 1000 g.')
@click.option("--base", "bases", multiple=True, help='"Lumme 200 g at 58".')
@click.option("--auxiliary", multiple=True, help='"vinegar 40 mL at 1.2": of 1000 g or mL.')
@click.option("--skein", "skeins", multiple=True, help='A skein, "100 g"; give each.')
@click.option("--minutes", type=NUMBER, help="Time spent, if it is to count.")
@click.option("--per-hour", type=NUMBER, help="What an hour costs.")
@json_option
def cost_sum(
    powder: tuple[str, ...],
    bases: tuple[str, ...],
    auxiliary: tuple[str, ...],
    skeins: tuple[str, ...],
    minutes: float | None,
    per_hour: float | None,
    as_json: bool,
) -> None:
    """What a lot costs, and each skein by its weight. Prices are for a kilogram or a litre.

    Powder and base are told by weight, an auxiliary by weight or volume.
    """
    from swatchvault.costs import Kind, cost_of_lot
    from swatchvault.sums_typed import read_used
    from swatchvault.sums_words import cost_lines

    told: Mapping[Kind, tuple[str, ...]] = {
        "powder": powder,
        "base": bases,
        "auxiliary": auxiliary,
    }
    items = [read_used(kind, text, _spoons()) for kind, texts in told.items() for text in texts]
    if not items:
        raise click.UsageError("name at least one --powder, --base or --auxiliary")
    weights = [_grams(s) for s in skeins]
    cost = cost_of_lot(items, weights, minutes=minutes, price_per_hour=per_hour)
    _say(*cost_lines(cost, weights), cost, as_json, caution=False)


def _say(
    lines: Sequence[str],
    hints: Iterable[str | None],
    result: Any,
    as_json: bool,
    caution: bool = True,
) -> None:
    """Print a result with its hints and the caution, or all of it in full precision."""
    from dataclasses import asdict

    from swatchvault.cautions import CAUTION_LINE

    told = [h for h in hints if h]
    if as_json:
        record = {**asdict(result), "hints": told}
        click.echo(json.dumps({**record, "caution": CAUTION_LINE} if caution else record))
        return
    click.echo("\n".join([*lines, *(f"note: {h}" for h in told)]))
    if caution:
        say_caution()


def say_caution() -> None:
    """The caution in one line, and where the full card is."""
    from swatchvault.cautions import CAUTION_LINE

    click.echo(f"caution: {CAUTION_LINE} Full card: swatchvault cautions")


@sums_command.command("customary")
def customary_sum() -> None:
    """What is usual of depth, pH and heat, with where it is from. Nothing is held to it."""
    from swatchvault.customary import FIRST, customary_lines

    click.echo("\n".join([*customary_lines(), FIRST]))

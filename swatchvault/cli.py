"""The command line: which commands there are, and how a mistake is told.

Each command lives in `swatchvault.commands` and is imported only when it is called, so that
`--help` and small commands start fast. Exit codes: 0 done, 1 a mistake in the input (one line
on standard error), 2 wrong use of the command.
"""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Sequence

import click

from swatchvault import __version__

#: Command name, module in `swatchvault.commands`, and the line that `--help` shows.
COMMANDS: dict[str, tuple[str, str]] = {
    "new": ("archive", "Make an archive: a folder for photos, colours and recipes."),
    "add": ("add", "File photos in the archive, with what they are of."),
    "remeasure": ("remeasure", "Measure stored photos anew after the method has changed."),
    "reference": ("owned", "Keep a card, steps or chart that you own, with its values."),
    "setup": ("owned", "Keep phone, light and reference together as a set-up."),
    "measure": ("photos", "Measure photos without an archive."),
    "compare": ("photos", "Hold one swatch to another, from photos, without an archive."),
    "mat": ("instrument", "Write the capture mat as a PDF to print."),
    "calibration": ("instrument", "Report how a photo was corrected, and what limits it."),
    "picture": ("instrument", "Write a photo as the measurement sees it."),
    "tonal": ("tonal", "Say how tonal a swatch came out: text, and a card with photo and map."),
    "repeat": ("repeat", "Learn from repeat photos how well a set-up tells lots apart."),
    "master": ("lots", "Say which swatch later lots of a colourway are held to."),
    "check": ("lots", "Hold a lot to its master: within, outside, or cannot tell."),
    "lots": ("lots", "All lots of a colourway against each other, and their course over time."),
    "recipe": ("making", "A recipe on a weight of goods, what changed in it, a page to print."),
    "pot": (
        "pots",
        "Record a lot as made: start, began, did, look, hold, time, edit, undo, log, skein, end.",
    ),
    "revise": ("revise", "Make the next version of a recipe, and say what changed."),
    "sums": ("sums", "Sums: dye, stock, mix, acid, water, cost; what is customary."),
    "spoons": ("spoons", "Show or set the sizes of spoon and cup."),
    "cautions": ("sums", "Print the full card of cautions."),
    "near": ("find", "Find the swatches nearest to a colour, and how they were made."),
    "predict": ("shade", "Say what a recipe will give on a base, from the lots dyed on it."),
    "correct": ("shade", "Say what to add to a pot to bring it nearer to its master."),
    "reach": ("shade", "Say which dyes of yours get nearest to a colour on a base."),
    "liquor": ("liquor", "Read from photos how much colour is left in the liquor."),
    "like": ("find", "Find swatches that look like another, or like a photo."),
    "groups": ("groups", "Say which lots or skeins can go together, and in which order."),
    "drift": ("together", "Chart a colourway's lots over time, with limits and what changed."),
    "gaps": ("together", "Show where a base has not been."),
    "bases": ("together", "Set side by side what a colourway gave on each base."),
    "eye": ("eye", "Say how even a swatch looks to you, and fit the rule to your eye."),
    "list": ("look", "List what the archive holds."),
    "show": (
        "look",
        "Show a base, dye, colourway, lot, swatch, set-up or reference with all that is its.",
    ),
    "export": ("look", "Write a table or view of the archive as CSV or JSON."),
    "rename": ("rename", "Mend a name that was typed wrong: a colourway's, lot's, swatch's ..."),
    "mend": (
        "mend",
        "Put right a stock, swatch, lot, base, colourway, reference, set-up; let a dye, recipe go.",
    ),
    "aside": ("aside", "Let a measurement count nowhere, with the reason, or count again."),
    "share": ("exchange", "Write recipes and lots to a file, nothing left out."),
    "import": ("exchange", "Read recipes and lots from such a file into the archive."),
    "verify": ("archive", "Look for anything in the archive that does not fit the rest."),
    "backup": ("archive", "Make a consistent copy of the archive's database."),
    "publish": ("publish", "Write a read-only copy for others, without recipes unless asked."),
    "serve": ("serve", "Open the archive in a browser."),
    "demo": ("demo", "Build the demo archive, measure its photos, and check its lots."),
}


class CommandList(click.Group):
    """A group that imports a command's module only when the command is used."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"swatchvault.commands.{COMMANDS[cmd_name][0]}")
        command = getattr(module, f"{cmd_name}_command".replace("-", "_"))
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


@click.command(cls=CommandList, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="swatchvault")
def group() -> None:
    """Measured colours of hand-dyed yarn, kept with their recipes.

    Photos of swatches with a grey card become CIELAB colours that say how far they can be
    trusted; new lots are held to a master swatch. The archive is a folder of yours.
    """


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and leave with its exit code."""
    from ingest.errors import IngestError
    from swatchvault.errors import SwatchvaultError

    try:
        code = group.main(args=arguments, prog_name="swatchvault", standalone_mode=False)
    except click.exceptions.Exit as stop:
        code = stop.exit_code
    except click.UsageError as error:
        error.show()
        code = 2
    except (click.Abort, KeyboardInterrupt):
        click.echo("stopped", err=True)
        code = 1
    except click.ClickException as error:
        click.echo(error.format_message(), err=True)
        code = 1
    except (IngestError, SwatchvaultError) as error:
        click.echo(one_line(error), err=True)
        code = 1
    except Exception as error:
        code = system_refused(error)
    sys.exit(code if isinstance(code, int) else 0)


def system_refused(error: Exception) -> int:
    """Tell of a full disk, a file that cannot be written, a database that cannot be read.

    Gives the exit code; anything else is a mistake of this program and is raised again.
    """
    if isinstance(error, BrokenPipeError):  # who read our words has left: `... | head`
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    elif isinstance(error, OSError):
        where = f"{error.filename}: " if error.filename else ""
        click.echo(f"{where}{one_line(error)}; make that possible and try again", err=True)
    elif type(error).__module__ == "sqlite3":  # not imported here: it would slow every start
        click.echo(
            f"the archive's database: {one_line(error)}; make room if the disk is full, "
            "else see what `swatchvault verify` says",
            err=True,
        )
    else:
        raise error
    return 1


def one_line(error: BaseException) -> str:
    """An error's message on one line."""
    said = (error.strerror if isinstance(error, OSError) else None) or str(error)
    return " ".join(said.split()) or type(error).__name__


if __name__ == "__main__":
    main()

"""``python -m tests.reliability kills | steps | mutants | at-once``: long runs with a log."""

from __future__ import annotations

import argparse
import re
import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

from tests.reliability.kills import Round, run_kills
from tests.reliability.steps import run_steps


def main(arguments: list[str] | None = None) -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.reliability", description=__doc__)
    asked = parser.add_subparsers(dest="what", required=True)
    kills = asked.add_parser("kills", help="add photos, kill -9 at a random moment, look")
    kills.add_argument("--times", type=int, default=1000)
    kills.add_argument("--photos", type=int, default=40)
    steps = asked.add_parser("steps", help="the same, killed before each change of the disk")
    steps.add_argument("--photos", type=int, default=3)
    mutants = asked.add_parser("mutants", help="measure pictures that were broken on purpose")
    mutants.add_argument("--count", type=int, default=20_000)
    mutants.add_argument("--first", type=int, default=0)
    mutants.add_argument("--keep", type=Path, help="a folder for the files that went wrong")
    for each in (kills, steps, mutants):
        each.add_argument("--lanes", type=int, default=2, help="how many at once")
    at_once = asked.add_parser("at-once", help="four writers and many readers on one archive")
    at_once.add_argument("--minutes", type=float, default=5.0)
    at_once.add_argument("--writers", type=int, default=4)
    at_once.add_argument("--readers", type=int, default=50)
    for each in asked.choices.values():
        each.add_argument("--seed", type=int, default=1)
        each.add_argument("--log", type=Path, help="a file for a line each; the screen if absent")
    given = parser.parse_args(arguments)
    with given.log.open("w") if given.log else open_screen() as log:
        ran = TELL[given.what](given, log)
    sys.exit(0 if ran else 1)


def open_screen() -> TextIO:
    return open(sys.stdout.fileno(), "w", closefd=False)


def tell_kills(given: argparse.Namespace, log: TextIO) -> bool:
    return tell_rounds(run_kills(given.times, given.photos, given.lanes, given.seed), log)


def tell_steps(given: argparse.Namespace, log: TextIO) -> bool:
    return tell_rounds(run_steps(given.photos, given.lanes), log)


def tell_rounds(rounds: Iterator[Round], log: TextIO) -> bool:
    """A line for each round, and the sums; whether nothing was wrong."""
    began, all_rounds = time.monotonic(), []
    for each in rounds:
        all_rounds.append(each)
        print(each.line(), file=log, flush=True)
    killed = [r for r in all_rounds if r.killed]
    bad = [r for r in all_rounds if r.wrong]
    print(
        f"{len(all_rounds)} rounds in {time.monotonic() - began:.0f} s: {len(killed)} killed "
        f"({sum(r.whole for r in killed)} of them whole programs with two workers), "
        f"{sum(r.said for r in killed)} photos said to be filed before a kill, "
        f"{sum(bool(r.strays) for r in killed)} kills left files without a row until the re-run; "
        f"{len(bad)} rounds with anything wrong",
        file=log,
        flush=True,
    )
    return not bad


def tell_mutants(given: argparse.Namespace, log: TextIO) -> bool:
    """A line for each mutant that went wrong and each thousandth; whether none did."""
    from tests.reliability.mutants import mutant
    from tests.reliability.pool import HANG_S, MEMORY_MB, try_many

    began, outcomes, words = time.monotonic(), Counter[str](), Counter[str]()
    slowest = largest = 0.0
    wrong = 0
    numbers = range(given.first, given.first + given.count)
    for done, verdict in enumerate(try_many(numbers, given.seed, given.lanes), 1):
        outcomes[f"{verdict.kind} {verdict.outcome}"] += 1
        if verdict.outcome == "refused":
            words[re.sub(r"\d+", "N", verdict.words)[:90]] += 1
        slowest, largest = max(slowest, verdict.seconds), max(largest, verdict.peak_mb)
        if verdict.wrong:
            wrong += 1
            print(f"{verdict.number} {verdict.kind} {verdict.outcome}: {verdict.wrong}", file=log)
            if given.keep:
                kind, data = mutant(verdict.number, given.seed)
                (given.keep / f"{verdict.number}.{kind.lower()}").write_bytes(data)
        if done % 1000 == 0:
            print(f"{done} done in {time.monotonic() - began:.0f} s, {wrong} wrong", file=log)
        log.flush()
    for line, count in words.most_common(60):
        print(f"{count:6d} {line}", file=log)
    for name, count in sorted(outcomes.items()):
        print(f"{count:6d} {name}", file=log)
    print(
        f"{given.count} mutants (seed {given.seed}) in {time.monotonic() - began:.0f} s; slowest "
        f"{slowest:.2f} s (limit {HANG_S:g}), largest process {largest:.0f} MB (limit "
        f"{MEMORY_MB:g}); {wrong} went wrong",
        file=log,
    )
    return not wrong


def tell_at_once(given: argparse.Namespace, log: TextIO) -> bool:
    from tests.reliability.at_once import run_by_command

    report, wrong = run_by_command(given.writers, given.readers, 60.0 * given.minutes)
    for line in wrong:
        print(line, file=log)
    print(
        f"{given.writers} writers and {given.readers} readers for {given.minutes:g} minutes: "
        f"{report.line()}; {len(wrong)} things wrong",
        file=log,
    )
    return not wrong


TELL = {
    "kills": tell_kills,
    "steps": tell_steps,
    "mutants": tell_mutants,
    "at-once": tell_at_once,
}

if __name__ == "__main__":
    main()

"""Writers and readers over the web beside those of the command line, on one served archive.

``python -m tests.reliability.over_the_web --minutes 5`` runs four writers (two by each way) and
fifty readers. Every form is sent twice, as a phone with a bad line would.
"""

from __future__ import annotations

import argparse
import socket
import tempfile
import time
import urllib.error
import urllib.parse
import urllib.request
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from tests.reliability.at_once import (
    SHARED_POT,
    AtOnceError,
    Read,
    Report,
    Write,
    Written,
    make_shared_archive,
    missing_or_doubled,
    read_by_command,
    run_at_once,
    write_by_command,
)
from tests.reliability.running import preload

PAGES = ("/", "/pots", "/lot/1", "/colourway/1", "/swatch/1", "/shelf", "/archive/lots.json")


class _Stay(urllib.request.HTTPRedirectHandler):
    """Redirects are answers here."""

    def redirect_request(self, *_: Any) -> None:
        return None


def serve(archive: Path, port: int) -> None:
    """Serve until killed."""
    import uvicorn

    from swatchvault.web.studio import datasette_of

    uvicorn.run(datasette_of(archive).app(), host="127.0.0.1", port=port, log_level="error")


def ask(url: str, cookie: str, form: dict[str, str] | None = None) -> tuple[int, str]:
    """Status and text; AtOnceError where nobody answers."""
    data = None if form is None else urllib.parse.urlencode(form).encode()
    request = urllib.request.Request(url, data=data, headers={"Cookie": f"ds_actor={cookie}"})
    try:
        with urllib.request.build_opener(_Stay).open(request, timeout=120) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as error:
        return error.code, error.read().decode(errors="replace")
    except OSError as error:
        raise AtOnceError(f"{url}: {error}") from error


def write_over_web(url: str, cookie: str, pot: str, name: str, number: int) -> Written:
    """A look into the shared pot, sent twice with one token."""
    note = f"{name} over the web {number}"
    token = f"token-of-{name}-{number:08d}"
    form = {"once": token, "do": "step", "kind": "look", "left": "some", "note": note}
    for _ in range(2):
        status, text = ask(url + pot, cookie, form)
        if status != 303:
            raise AtOnceError(f"{pot}: status {status}: {text[-400:]}")
    return Written("pot step", note)


def read_over_web(url: str, cookie: str, shift: int, number: int) -> None:
    """One of :data:`PAGES`."""
    path = PAGES[(number + shift) % len(PAGES)]
    status, text = ask(url + path, cookie)
    if status != 200 or "went wrong" in text:
        raise AtOnceError(f"{path}: status {status}: {text[-400:]}")


def run_both_ways(
    writers: int, readers: int, seconds: float, by_command: int = 5
) -> tuple[Report, list[str]]:
    """Half of the writers and all but ``by_command`` of the readers over the web."""
    preload(*(f"swatchvault.commands.{m}" for m in ("look", "pots", "find")))
    with tempfile.TemporaryDirectory() as folder:
        archive = make_shared_archive(Path(folder) / "archive")
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        server = get_context("spawn").Process(target=serve, args=(archive, port), daemon=True)
        server.start()
        try:
            url, cookie, pot = f"http://127.0.0.1:{port}", _cookie(archive), _pot(archive)
            _await(url, cookie)
            over = writers // 2
            write: list[Write] = [
                partial(write_over_web, url, cookie, pot, f"v{i}") for i in range(over)
            ]
            write += [
                partial(write_by_command, archive, Path(folder), f"w{i}")
                for i in range(writers - over)
            ]
            read: list[Read] = [
                partial(read_over_web, url, cookie, i) for i in range(max(readers - by_command, 1))
            ]
            read += [partial(read_by_command, archive) for _ in range(min(by_command, readers))]
            report = run_at_once(write, read, seconds)
        finally:
            server.kill()
            server.join()
        return report, [*report.errors, *missing_or_doubled(archive, report.written)]


def _cookie(archive: Path) -> str:
    from swatchvault.web.studio import datasette_of

    return str(datasette_of(archive).sign({"a": {"id": "helper"}}, "actor"))


def _pot(archive: Path) -> str:
    import sqlite3

    with sqlite3.connect(archive / "archive.db") as conn:
        (found,) = conn.execute("SELECT id FROM lot WHERE code = ?", (SHARED_POT,)).fetchone()
    return f"/pot/{found}"


def _await(url: str, cookie: str) -> None:
    until = time.monotonic() + 60
    while time.monotonic() < until:
        try:
            if ask(url + "/", cookie)[0] == 200:
                return
        except AtOnceError:
            time.sleep(0.2)
    raise AtOnceError("the server did not start within a minute")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--writers", type=int, default=4)
    parser.add_argument("--readers", type=int, default=50)
    asked = parser.parse_args()
    report, wrong = run_both_ways(asked.writers, asked.readers, 60.0 * asked.minutes)
    for line in wrong:
        print(line)
    print(f"{asked.writers} writers, {asked.readers} readers, {asked.minutes:g} minutes: ", end="")
    print(f"{report.line()}; {len(wrong)} things wrong")


if __name__ == "__main__":
    main()

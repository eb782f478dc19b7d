"""`serve`: the archive in a browser, for this machine or for the phone beside the pot."""

from __future__ import annotations

import socket
from pathlib import Path

import click

from swatchvault.commands.options import archive_option, need_archive
from swatchvault.errors import ArchiveError


@click.command("serve")
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@archive_option
@click.option("--port", type=click.IntRange(1, 65535), default=8000, show_default=True)
@click.option("--lan", is_flag=True, help="Let phones in the same network reach it.")
@click.option("--open", "open_browser", is_flag=True, help="Open the browser, signed in.")
def serve_command(
    folder: Path | None, archive_folder: Path | None, port: int, lan: bool, open_browser: bool
) -> None:
    """Open the archive in a browser: wall, lots, checks, pots, photos, and its tables.

    Only this machine can reach it, unless --lan is given; then the link is shown as a code to
    scan too. A sign-in link opens once; who has none sees nothing.
    """
    import uvicorn

    from swatchvault.archive import open_archive
    from swatchvault.web.studio import datasette_of

    chosen = need_archive(folder or archive_folder)
    open_archive(chosen).close()
    host = "0.0.0.0" if lan else "127.0.0.1"
    refuse_taken(host, port)
    served = datasette_of(chosen)
    name = address_in_network() if lan else "127.0.0.1"
    link = f"http://{name}:{port}/enter?key={served.swatchvault.links.make('dyer')}"
    click.echo(f"Sign in once with this link (it works for 15 minutes; Ctrl-C stops):\n{link}")
    if lan:
        click.echo(code_of(link))
        click.echo("Anyone in this network who sees the link can use it. The connection is not")
        click.echo("encrypted: use it in a network that you trust.")
    if open_browser:
        click.launch(link)
    uvicorn.run(served.app(), host=host, port=port, log_level="warning", lifespan="on")


def refuse_taken(host: str, port: int) -> None:
    """Raise ``ArchiveError`` if something listens on the port already."""
    with socket.socket() as tried:
        tried.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            tried.bind((host, port))
        except OSError as error:
            raise ArchiveError(
                f"port {port} cannot be used ({error.strerror}): choose another with --port"
            ) from error


def address_in_network() -> str:
    """This machine's address in the local network; nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(("192.0.2.1", 9))  # RFC 5737: an address for examples only
            return str(asked.getsockname()[0])
        except OSError:
            return socket.gethostbyname(socket.gethostname())


def code_of(text: str) -> str:
    """A QR code in characters."""
    import io

    import segno

    drawn = io.StringIO()
    segno.make(text, error="l").terminal(drawn, compact=True)
    return drawn.getvalue()

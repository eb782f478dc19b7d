"""`serve`: the archive in a browser, through plain Datasette."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import click

from swatchvault.commands.options import archive_option, need_archive


@click.command("serve")
@click.argument("folder", type=click.Path(path_type=Path), required=False)
@archive_option
@click.option("--port", type=click.IntRange(1, 65535), default=8000, show_default=True)
def serve_command(folder: Path | None, archive_folder: Path | None, port: int) -> None:
    """Open the archive in a browser on this machine: tables, views, CSV and JSON.

    Only this machine can reach it, and nothing is written through it.
    """
    from swatchvault.archive import DATABASE, open_archive
    from swatchvault.web.settings import metadata

    chosen = need_archive(folder or archive_folder)
    open_archive(chosen).close()
    with tempfile.TemporaryDirectory() as scratch:
        described = Path(scratch) / "metadata.json"
        described.write_text(json.dumps(metadata()), encoding="utf-8")
        command = [sys.executable, "-m", "datasette", "serve", str(chosen / DATABASE)]
        command += ["--metadata", str(described), "--host", "127.0.0.1", "--port", str(port)]
        click.echo(f"http://127.0.0.1:{port}/  (Ctrl-C stops)")
        code = subprocess.call(command)
    raise click.exceptions.Exit(code)

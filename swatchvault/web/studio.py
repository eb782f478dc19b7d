"""The archive as it is served: its folder, its secret, its sign-in links, and what it allows."""

from __future__ import annotations

import os
import secrets
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote

from swatchvault.archive import DATABASE
from swatchvault.archive.files import whole_file
from swatchvault.errors import ArchiveError
from swatchvault.web.who import SignInLinks

#: Name of the database in Datasette, so of its address: ``/archive``.
DATABASE_NAME = "archive"
SECRET_FILE = ".cookie-secret"
HELPERS_FILE = ".helpers"
PLUGIN = "swatchvault"


class DatabasePath(str):
    """A path that stands in an address as the path that it is, and is itself everywhere else.

    Datasette writes ``file:{path}?mode=ro``, in which ``#``, ``?`` and ``%20`` of a folder's name
    would end the path or change it, and another file would be opened, or made.
    """

    def __format__(self, spec: str) -> str:
        return quote(str(self))


@dataclass
class Studio:
    """One served archive. ``public``: a published copy that anyone may look at, and no more."""

    folder: Path
    public: bool = False
    links: SignInLinks = field(default_factory=SignInLinks)
    state: dict[str, Any] = field(default_factory=dict)  # what pages keep while the server runs

    def helpers(self) -> str:
        """The word that a helper's cookie must hold; blank where helpers were never signed out.

        Read anew each time, so that several servers on one archive agree.
        """
        try:
            return (self.folder / HELPERS_FILE).read_text(encoding="ascii").strip()
        except FileNotFoundError:
            return ""

    def sign_helpers_out(self) -> None:
        """From now on no helper's cookie or link made so far opens anything.

        Raises ``ArchiveError`` where that cannot be written down: then nobody is signed out.
        """
        path = self.folder / HELPERS_FILE
        try:
            with whole_file(path) as file:
                file.write(secrets.token_hex(16).encode("ascii"))
        except OSError as error:
            raise ArchiveError(
                f"cannot write {path.name} ({error.strerror}): no helper was signed out"
            ) from error
        self.links.drop("helper")


def secret_of(folder: Path) -> str:
    """The secret that signs cookies, made at first use and readable by its owner only."""
    path = folder / SECRET_FILE
    try:
        number = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        said = path.read_text(encoding="ascii").strip()
        if len(said) < 32:
            raise ArchiveError(
                f"{path} is too short to sign cookies: delete it, and sign in anew"
            ) from None
        return said
    except OSError as error:
        raise ArchiveError(f"cannot write {path}: {error.strerror}") from error
    said = secrets.token_hex(32)
    with os.fdopen(number, "w", encoding="ascii") as file:
        file.write(said)
    return said


def datasette_of(folder: Path, *, public: bool = False) -> Any:
    """A Datasette on the archive in ``folder``, with our pages and permissions; not yet started."""
    from datasette.app import Datasette
    from datasette.plugins import pm

    import swatchvault.web as plugin
    from swatchvault.web.settings import config, metadata

    if not pm.is_registered(plugin):
        pm.register(plugin, name=PLUGIN)
    served = Datasette(
        [DatabasePath(folder / DATABASE)],
        metadata=metadata(),
        config=config(),
        settings={
            "allow_download": False,
            "allow_signed_tokens": False,
            "sql_time_limit_ms": 10_000,  # a large archive's views take seconds; the dyer waits
            "max_post_body_bytes": 2 * 1024 * 1024,
        },
        secret=secret_of(folder),
        default_deny=True,
    )
    served.swatchvault = Studio(folder, public)
    return served


def studio_of(datasette: Any) -> Studio | None:
    """The studio that a Datasette serves, or ``None``: a Datasette that is not ours."""
    made = getattr(datasette, "swatchvault", None)
    if isinstance(made, Studio):
        return made
    config = datasette.plugin_config(PLUGIN) or {}
    if not config.get("public") or DATABASE_NAME not in datasette.databases:
        return None
    path = datasette.databases[DATABASE_NAME].path
    datasette.swatchvault = Studio(Path(path).parent, public=True)
    return datasette.swatchvault  # type: ignore[no-any-return]

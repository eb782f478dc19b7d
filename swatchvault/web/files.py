"""Small pictures and originals, by their sha256 alone."""

from __future__ import annotations

from pathlib import Path

from datasette import Response

from swatchvault.errors import NotFound
from swatchvault.web.visit import Visit

_TYPES = {
    ".jpg": "image/jpeg",
    ".png": "image/png",
    ".webp": "image/webp",
    ".avif": "image/avif",
    ".heic": "image/heic",
    ".tif": "image/tiff",
}
#: A file under its content's name never changes.
_FOR_EVER = "private, max-age=31536000, immutable"


async def thumb(visit: Visit) -> Response:
    """A photo's small picture."""
    sha256 = visit.part("sha256")
    return await file_answer(visit, visit.folder / "thumbs" / f"{sha256}.jpg", "image/jpeg")


async def original(visit: Visit) -> Response:
    """A photo as it was added, byte for byte."""
    from swatchvault.archive.pages_photo import suffix_of_photo

    sha256 = visit.part("sha256")
    suffix = await visit.read(suffix_of_photo, sha256)
    kind = _TYPES.get(suffix, "application/octet-stream")
    path = visit.folder / "photos" / f"{sha256}{suffix}"
    if visit.studio.public and not path.is_file():
        raise NotFound("a published copy holds small pictures only")
    return await file_answer(visit, path, kind)


async def file_answer(visit: Visit, path: Path, kind: str) -> Response:
    """A file's bytes, to be shown and never run."""
    try:
        body = await visit.work(path.read_bytes)
    except OSError as error:
        raise NotFound("the picture's file is not in the archive: run verify") from error
    headers = {
        "Cache-Control": _FOR_EVER,
        "X-Content-Type-Options": "nosniff",
        "Content-Security-Policy": "default-src 'none'; sandbox",
        "Content-Disposition": f'inline; filename="{path.name}"',
    }
    return Response(body, headers=headers, content_type=kind)

"""Find by photo: one that is measured and not filed, and what was located in it."""

from __future__ import annotations

import hashlib
import secrets
import sqlite3
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from datasette import Response

from swatchvault.errors import IngestError
from swatchvault.web.findasked import Asked
from swatchvault.web.incoming import safe_name
from swatchvault.web.said import on_page
from swatchvault.web.visit import Form, RefusedError, Visit

if TYPE_CHECKING:
    from ingest.model import PhotoMeasurement
    from swatchvault.taken import Taken

    Found = tuple[PhotoMeasurement, Taken]

_PHOTOS_KEPT = 12  # measured and not filed; our choice


async def measure_sent(visit: Visit, form: Form) -> Response:
    """Measure the photo that a form sends, and go to the search near it; nothing is filed."""
    from swatchvault.taken import taken_with

    sent = form.files("photo")
    if len(sent) != 1:
        raise RefusedError(
            "No photo came with the form: choose one, and send it again."
            if not sent
            else f"{len(sent)} photos came: send one at a time."
        )
    marks = form.files("marks")
    data = await sent[0].read()
    sha256 = await visit.work(lambda: hashlib.sha256(data).hexdigest())
    filed = {} if marks else await visit.read(_swatches_of, sha256)  # marks say what is meant
    if len(filed) == 1:
        return visit.go(_near_swatch(*filed.values()))
    if filed:
        raise RefusedError(
            f"This photo is in the archive already. It shows {', '.join(filed)}: choose which one "
            "to look for.",
            links=[(_near_swatch(number), f"Find near {label}") for label, number in filed.items()],
        )
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / ("photo" + _suffix(str(sent[0].filename)))
        path.write_bytes(data)
        if marks:
            (Path(place) / "photo.marks.json").write_bytes(await marks[0].read())
        setup, light = form.text("setup"), form.text("light")
        if light not in ("", "daylight", "other"):
            raise RefusedError("light is daylight, other, or left open")
        taken = await visit.read(taken_with, setup or None, light or None)
        photo = await visit.work(measured, path, taken)
    if not photo.swatches:
        raise RefusedError(
            "No yarn was found in this photo: lay it on the mat or on plain grey, or send a marks "
            "file with it; or add it under Photo, where you mark it by hand."
        )
    key = secrets.token_urlsafe(8)
    kept: dict[str, Found] = visit.studio.state.setdefault("photos to find", {})
    names: dict[str, str] = visit.studio.state.setdefault("names of photos", {})
    kept[key], names[key] = (photo, taken), safe_name(str(sent[0].filename))
    while len(kept) > _PHOTOS_KEPT:
        names.pop(next(iter(kept)), None)
        kept.pop(next(iter(kept)))
    if len(photo.swatches) > 1:
        return visit.go(f"/find?by=photo&photo={key}#sent")
    return visit.go(f"/find?by=photo&photo={key}&region={_quoted(photo.swatches[0].name)}#found")


def _swatches_of(conn: sqlite3.Connection, sha256: str) -> dict[str, int]:
    """The swatches that a filed photo measures, label to number; none where it is not filed."""
    from swatchvault.archive import colours

    return {c.swatch: c.swatch_id for c in colours(conn, photo_sha256=sha256)}


def _near_swatch(number: int) -> str:
    return f"/find?by=swatch&swatch={number}#found"


def picture_of(state: dict[str, Any], asked: Asked) -> dict[str, Any]:
    """The photo that was sent, small, with what was located in it; ``None`` where there is none."""
    import base64

    from swatchvault.corrected import jpeg_of
    from swatchvault.web.outlines import shapes

    kept = state.get("photos to find", {}).get(asked["photo"])
    if asked.by != "photo" or kept is None:
        return {"picture": None}
    photo, (height, width) = kept[0], kept[0].preview.shape[:2]
    data = base64.b64encode(jpeg_of(photo.preview)).decode("ascii")
    searched = photo.layout.located == "search" and len(photo.swatches) == 1
    return {
        "picture": {
            "address": f"data:image/jpeg;base64,{data}",
            "width": width,
            "height": height,
            "shapes": shapes(photo.layout, float(width), float(height)),
            "one_found": searched,
        }
    }


def measured(path: Path, taken: Taken) -> PhotoMeasurement:
    """A photo measured as `near` does it: without a card its colours are the camera's own."""
    from swatchvault.taken import measure_taken

    try:
        return measure_taken(path, taken)
    except IngestError as error:
        raise RefusedError(on_page(str(error).replace(f"{path.name}: ", "", 1))) from error


def _suffix(name: str) -> str:
    suffix = Path(name).suffix.lower()
    return suffix if suffix.isascii() and suffix[1:].isalnum() and len(suffix) <= 6 else ".jpg"


def _quoted(text: str) -> str:
    from urllib.parse import quote

    return quote(text, safe="")

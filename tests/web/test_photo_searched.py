"""A reference that was taken away by hand is not found again behind the dyer's back."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive import OwnedReference, Setup, add_reference, add_setup, open_archive
from swatchvault.web import measuring
from swatchvault.web.marking import references_removed
from swatchvault.web.said import NO_CARD
from tests.web.newphotos import jpeg, marks
from tests.web.test_photos import marked, measured, once, sent, told

pytestmark = pytest.mark.anyio
Visitor = Callable[[str], Any]


@pytest.fixture
def own_steps(studio: Path) -> None:
    """The demo archive with its steps as the dyer's own, so that they are looked for."""
    y = tuple(marks("harbour-parcel")["references"][0]["y"])
    with open_archive(studio) as archive:
        add_reference(archive.conn, OwnedReference("my steps", "steps", y=y))
        add_setup(archive.conn, Setup("table", reference="my steps"))


async def offered(dyer: Any, sha256: str) -> dict[str, Any]:
    page = (await dyer.get(f"/photos/{sha256}/mark")).text
    found = re.search(r'<textarea id="marks"[^>]*>(.*?)</textarea>', page, re.DOTALL)
    assert found
    said: dict[str, Any] = json.loads(html.unescape(found.group(1)))
    return said


async def shown(dyer: Any, sha256: str) -> str:
    return html.unescape((await dyer.get(f"/photos/{sha256}/shows")).text)


@pytest.mark.usefixtures("own_steps")
async def test_a_reference_that_was_removed_stays_away(visitor: Visitor) -> None:
    dyer = visitor("dyer")
    sha256 = await sent(dyer, jpeg("harbour-parcel"))
    found = await offered(dyer, sha256)
    assert found["references"] and found["swatches"]
    await marked(dyer, sha256, found, setup="table")
    with_it = await measured(dyer, sha256)
    assert with_it["state"] == "measured"
    bare = {**found, "references": []}
    await marked(dyer, sha256, bare, setup="table")
    assert (await measured(dyer, sha256))["state"] == "failed"
    assert f"tick “{NO_CARD}”" in await shown(dyer, sha256)
    await marked(dyer, sha256, bare, setup="table", no_card="yes")
    without = await measured(dyer, sha256)
    assert without["state"] == "measured"
    page = await shown(dyer, sha256)
    assert "no reference" in page and "found by search" not in page
    assert without["regions"][0]["lab"] != with_it["regions"][0]["lab"]


@pytest.mark.usefixtures("own_steps")
async def test_a_filed_photos_marks_say_all_that_it_is_measured_by(visitor: Visitor) -> None:
    dyer = visitor("dyer")
    sha256 = await sent(dyer, jpeg("harbour-parcel"))
    said = marks("harbour-parcel")
    await marked(dyer, sha256, said, setup="table")
    assert (await measured(dyer, sha256))["state"] == "measured"
    token = once(await shown(dyer, sha256))
    await dyer.post(f"/photos/{sha256}/shows", told(token))
    await marked(dyer, sha256, {**said, "references": []}, setup="table")
    assert (await measured(dyer, sha256))["state"] == "failed"


ONE = {"references": [{"kind": "card", "polygon": [[0.1, 0.1], [0.2, 0.1], [0.2, 0.2]]}]}
NONE: dict[str, Any] = {"references": []}


@pytest.mark.parametrize(
    ("marks_now", "found", "draft", "removed"),
    [
        (NONE, NONE, {}, False),  # as it was found: the set-up that is chosen may say more
        (ONE, ONE, {}, False),
        (NONE, ONE, {}, True),
        (NONE, {}, {"marks": ONE}, True),  # marked by hand, and taken away again
        (NONE, NONE, {"marks": NONE, "removed": True}, True),  # measured so before
        (ONE, NONE, {"removed": True}, False),
    ],
)
def test_when_a_reference_was_removed(
    marks_now: dict[str, Any], found: dict[str, Any], draft: dict[str, Any], removed: bool
) -> None:
    assert references_removed(marks_now, {"marks": found}, draft) is removed


@pytest.mark.parametrize(
    ("draft", "folder", "may"),
    [
        ({"about": {"light": "daylight"}}, "incoming/ab", True),
        ({"removed": True}, "incoming/ab", False),
        ({"about": {"no_card": True}}, "incoming/ab", False),
        ({}, "photos", False),
    ],
)
def test_when_a_reference_may_be_looked_for(draft: dict[str, Any], folder: str, may: bool) -> None:
    assert measuring.may_search(draft, Path("/studio") / folder / "one.jpg") is may

"""Roles, verbs and sign-in links: pure decisions."""

from __future__ import annotations

import pytest

from swatchvault.web.who import LINK_LASTS_S, SignInError, SignInLinks, may, role_of


@pytest.mark.parametrize(
    ("role", "verbs"),
    [("anyone", ""), ("helper", "look log"), ("dyer", "look log change own")],
)
def test_who_may(role: str, verbs: str) -> None:
    allowed = [v for v in ("look", "log", "change", "own") if may(role, v)]  # type: ignore[arg-type]
    assert allowed == verbs.split()


@pytest.mark.parametrize("role", ["anyone", "helper", "dyer"])
def test_a_published_copy_is_looked_at_and_no_more(role: str) -> None:
    allowed = [v for v in ("look", "log", "change", "own") if may(role, v, public=True)]  # type: ignore[arg-type]
    assert allowed == ["look"]


@pytest.mark.parametrize("actor", [None, {}, {"id": "root"}, {"id": None}, {"name": "dyer"}])
def test_an_unknown_actor_is_anyone(actor: dict[str, object] | None) -> None:
    assert role_of(actor) == "anyone"


@pytest.mark.parametrize(
    ("actor", "helpers", "role"),
    [
        ({"id": "helper"}, "", "helper"),
        ({"id": "helper"}, "two", "anyone"),
        ({"id": "helper", "helpers": "one"}, "two", "anyone"),
        ({"id": "helper", "helpers": "two"}, "two", "helper"),
        ({"id": "dyer"}, "two", "dyer"),
        ({"id": "dyer", "helpers": "one"}, "two", "dyer"),
    ],
)
def test_a_new_word_signs_helpers_out(actor: dict[str, object], helpers: str, role: str) -> None:
    assert role_of(actor, helpers) == role


def test_a_link_opens_once() -> None:
    links = SignInLinks()
    key = links.make("helper")
    assert links.good(key)
    assert links.use(key) == "helper"
    assert not links.good(key)
    with pytest.raises(SignInError, match="used already"):
        links.use(key)


def test_a_link_grows_old() -> None:
    now = 0.0
    links = SignInLinks(clock=lambda: now)
    key = links.make("dyer")
    now = LINK_LASTS_S + 1.0
    with pytest.raises(SignInError, match="too old"):
        links.use(key)


def test_a_guessed_key_opens_nothing() -> None:
    links = SignInLinks()
    links.make("dyer")
    for guess in ("", "a", "\ud800", "x" * 10_000):
        with pytest.raises(SignInError):
            links.use(guess)

"""Who may do what: roles, what each may, and one-time sign-in links. No web framework here."""

from __future__ import annotations

import hashlib
import secrets
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from swatchvault.errors import SwatchvaultError

Role = Literal["anyone", "helper", "dyer"]
#: look: read pages; log: pots and photos; change: masters, recipes, names; own: SQL, downloads,
#: letting others in.
Verb = Literal["look", "log", "change", "own"]

_MAY: Mapping[Role, frozenset[Verb]] = {
    "anyone": frozenset(),
    "helper": frozenset({"look", "log"}),
    "dyer": frozenset({"look", "log", "change", "own"}),
}

LINK_LASTS_S = 15 * 60  # our choice: long enough to fetch the phone
COOKIE_LASTS_S = 180 * 24 * 3600  # our choice: half a year


class SignInError(SwatchvaultError):
    """A sign-in link that lets nobody in."""


def may(role: Role, verb: Verb, *, public: bool = False) -> bool:
    """Whether ``role`` may do ``verb``; a published copy may be looked at by anyone, no more."""
    if public:
        return verb == "look"
    return verb in _MAY[role]


def actor_of(role: Role, helpers: str = "") -> dict[str, str]:
    """What a signed cookie holds of a device that is let in. ``helpers``: see :func:`role_of`."""
    return {"id": role, "helpers": helpers} if role == "helper" and helpers else {"id": role}


def role_of(actor: Mapping[str, object] | None, helpers: str = "") -> Role:
    """The role that a signed cookie's content names; anything else is ``anyone``.

    ``helpers``: the word that a helper's cookie must hold; blank until helpers are signed out for
    the first time. A new word signs them all out.
    """
    said = actor or {}
    if said.get("id") == "dyer":
        return "dyer"
    let_in = said.get("id") == "helper" and said.get("helpers", "") == helpers
    return "helper" if let_in else "anyone"


@dataclass
class SignInLinks:
    """One-time keys, held only while the server runs and only as hashes; each opens once."""

    clock: Callable[[], float] = time.monotonic
    _waiting: dict[str, tuple[Role, float]] = field(default_factory=dict)

    def make(self, role: Role) -> str:
        """A new key for ``role``, to be used once within :data:`LINK_LASTS_S`."""
        key = secrets.token_urlsafe(32)
        self._drop_old()
        self._waiting[_hash(key)] = (role, self.clock() + LINK_LASTS_S)
        return key

    def good(self, key: str) -> bool:
        """Whether ``key`` would open; it is not used up."""
        self._drop_old()
        return _hash(key) in self._waiting

    def use(self, key: str) -> Role:
        """The role that ``key`` opens; it opens nothing afterwards. Raises ``SignInError``."""
        self._drop_old()
        found = self._waiting.pop(_hash(key), None)
        if found is None:
            raise SignInError(
                "this sign-in link was used already, is too old, or is not one of ours: "
                "make a new one on a device that is signed in, or start the server again"
            )
        return found[0]

    def drop(self, role: Role) -> None:
        """Let no waiting key of that role open any more."""
        for key in [k for k, (of, _) in self._waiting.items() if of == role]:
            del self._waiting[key]

    def _drop_old(self) -> None:
        now = self.clock()
        for old in [k for k, (_, until) in self._waiting.items() if until < now]:
            del self._waiting[old]


def _hash(key: str) -> str:
    return hashlib.sha256(key.encode("utf-8", "replace")).hexdigest()

"""Whether what is written of a dye says that it gives light of its own: pure."""

from __future__ import annotations

import re

#: What is said of a dye whose lots teach nothing, behind its name.
IS_FLUORESCENT = "is fluorescent"
MAY_BE_FLUORESCENT = (
    'may be fluorescent, as its family and note leave open (write "fluorescent" or "not '
    'fluorescent" there)'
)
_SAID = re.compile(r"(?P<none>\bnon[\s‐‑-]*)?(?:fluoresc\w*|\bneon\b)", re.IGNORECASE)
_SENTENCES = re.compile(r"[.;!\n]+")
_CLAUSES = re.compile(r",|\(|\bbut\b", re.IGNORECASE)
_NEGATED = re.compile(
    r"\b(?:no|not|non|nor|neither|never|without|lacks?|free of|cannot)\b|n['’]t\b", re.IGNORECASE
)
#: Straight behind the word: "fluorescence: none", "fluorescence-free".
_NEGATED_AFTER = re.compile(r"[\s:=‐‑-]*(?:no|none|not|never|free)\b", re.IGNORECASE)
_OPEN = re.compile(
    r"\?|\b(?:maybe|perhaps|possibl[ey]|probably|might|may|could|should|sure|unsure|certain|"
    r"unknown|know|whether|if|seems?|looks?|like|almost|nearly|hardly|barely|scarcely|slightly|"
    r"weakly|faintly|little)\b",
    re.IGNORECASE,
)


def says_fluorescent(words: str) -> bool | None:
    """Whether words say that a dye is fluorescent, ``None`` where they leave it open.

    >>> [says_fluorescent(w) for w in ("acid, neon", "nonfluorescent", "fluorescent?", "acid")]
    [True, False, None, False]
    """
    found = {
        _of_mention(sentence, mention)
        for sentence in _SENTENCES.split(words)
        for mention in _SAID.finditer(sentence)
    }
    return found.pop() if len(found) == 1 else None if found else False


def _of_mention(sentence: str, mention: re.Match[str]) -> bool | None:
    if _OPEN.search(sentence):
        return None
    *earlier, clause = _CLAUSES.split(sentence[: mention.start()])
    negations = (
        mention["none"] is not None,
        _NEGATED.search(clause) is not None,
        _NEGATED_AFTER.match(sentence, mention.end()) is not None,
    )
    if any(negations):
        return False if sum(negations) == 1 else None
    return None if any(map(_NEGATED.search, earlier)) else True

"""The table that keeps a form sent twice from doing its work twice, as migration 4 makes it."""

from __future__ import annotations

WEB = (
    """CREATE TABLE form_sent (
    token TEXT PRIMARY KEY CONSTRAINT "a form's token is 16 to 64 characters"
        CHECK (length(token) BETWEEN 16 AND 64),
    at TEXT NOT NULL,
    outcome TEXT NOT NULL
) STRICT""",
    "CREATE INDEX form_sent_by_time ON form_sent (at)",
)

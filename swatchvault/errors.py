"""Errors of the archive and its sums. Messages are one line: found, needed, what to do."""

from ingest.errors import IngestError


class SwatchvaultError(ValueError):
    """Base of all errors of this package: a mistake in the input, told in one line."""


class AmountError(SwatchvaultError):
    """An amount, unit or strength that cannot be."""


class ArchiveError(SwatchvaultError):
    """The archive folder or its database cannot be used as asked."""


class NotFound(ArchiveError):  # noqa: N818 - reads as the sentence it is
    """A name that the archive does not hold."""


class CompareError(SwatchvaultError):
    """Two measurements that cannot be compared as asked."""


__all__ = [
    "AmountError",
    "ArchiveError",
    "CompareError",
    "IngestError",
    "NotFound",
    "SwatchvaultError",
]

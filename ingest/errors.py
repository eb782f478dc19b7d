"""Every error that a photo can cause, as one small tree.

The message of each is one line for a person: what was found, what was needed, what to do.
"""


class IngestError(ValueError):
    """Base of all errors of this package: a mistake in the input, told in one line."""


class PhotoError(IngestError):
    """The file cannot be read as a photo of known colour."""


class MarksError(IngestError):
    """The marks do not describe regions of this photo."""


class ReferenceMissing(IngestError):  # noqa: N818 - reads as the sentence it is
    """No reference, or one that cannot correct this photo."""


class PictureMirrored(ReferenceMissing):
    """A chart is there, and can be read only the other way round."""


class SwatchError(IngestError):
    """A swatch region holds too little to measure."""

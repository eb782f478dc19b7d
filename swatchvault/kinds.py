"""Words that the archive, commands and pages choose from. CHECKs of released tables are built from
the first two: another word there is a new migration."""

from __future__ import annotations

#: What yarn is photographed as.
FORMS = ("skein", "wound card", "knit")
#: How even a swatch is.
CLASSES = ("solid", "semi-solid", "variegated", "speckled", "gradient")
#: Light by which a photo is measured.
LIGHTS = ("daylight", "other")
#: What is shown of a lot "as tonal" as its master where only that it is no more so was tested.
NO_MORE_TONAL = "no more tonal"
#: Editions of the 24-patch chart, that of charts sold today first; `ingest.charts` has both.
EDITIONS = ("after-2014-11", "before-2014-11")

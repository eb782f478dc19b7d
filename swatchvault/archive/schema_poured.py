"""What went in of a dye and of a stock, told by their indexes alone, as migration 11 has it."""

from __future__ import annotations

# A dye goes into thousands of lots, a stock into dozens: with these columns in the index none of
# those rows is looked up to count them or to add them up.
POURED = (
    "DROP INDEX lot_dye_by_dye",
    "DROP INDEX lot_dye_by_stock",
    "CREATE INDEX lot_dye_by_dye ON lot_dye (dye_id, lot_id, dye_g, amount_g, amount_ml)",
    "CREATE INDEX lot_dye_by_stock ON lot_dye (stock_id, lot_id, amount_ml, amount_g, dye_g)",
)

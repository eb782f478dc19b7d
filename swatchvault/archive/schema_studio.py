"""Tables of yarn, dyes, recipes and lots, as migration 1 makes them.

A released statement is never edited: a change is a new migration (see ``migrate.py``). Names of
constraints are sentences, because SQLite prints them when a row is refused.
"""

from __future__ import annotations

from swatchvault.kinds import FORMS

#: Words that a column may hold; the CHECKs below are built from them.
HALOS = ("none", "slight", "strong")
STEP_KINDS = (
    "soak",
    "dye in",
    "acid in",
    "salt in",
    "levelling agent in",
    "other auxiliary in",
    "heat",
    "hold",
    "cool",
    "rinse",
    "dry",
    "look",
    "other",
)


def one_of(words: tuple[str, ...]) -> str:
    """The words as an SQL list."""
    return "(" + ", ".join(f"'{word}'" for word in words) + ")"


def is_date(column: str) -> str:
    """A CHECK: the column is unknown or a date of the calendar."""
    # With a modifier SQLite counts on from 30 February; without one it takes it as it is.
    return (
        f'CONSTRAINT "{column} must be a date such as 2026-03-01" '
        f"CHECK ({column} IS date({column}, '+0 days'))"
    )


def is_time(column: str) -> str:
    """A CHECK: the column is unknown or a date, with or without a time of day."""
    day = f"substr({column}, 1, 10)"
    return (
        f'CONSTRAINT "{column} must be a date or time such as 2026-03-01T10:05" '
        f"CHECK ({column} IS NULL OR "
        f"({day} IS date({day}, '+0 days') AND datetime({column}) IS NOT NULL))"
    )


def above_zero(column: str) -> str:
    """A CHECK: the column is unknown or more than nothing."""
    return f'CONSTRAINT "{column} must be above 0" CHECK ({column} > 0)'


def not_below_zero(column: str) -> str:
    """A CHECK: the column is unknown, nothing or more."""
    return f'CONSTRAINT "{column} must not be below 0" CHECK ({column} >= 0)'


_NAME = "TEXT NOT NULL COLLATE NOCASE"
_TEMPERATURE = (
    'CONSTRAINT "temperature_c must be between -5 and 110" CHECK (temperature_c BETWEEN -5 AND 110)'
)

YARN = (
    f"""CREATE TABLE base (
    id INTEGER PRIMARY KEY,
    name {_NAME} UNIQUE,
    superwash INTEGER CHECK (superwash IN (0, 1)),
    construction TEXT,
    halo TEXT CONSTRAINT "halo must be none, slight or strong" CHECK (halo IN {one_of(HALOS)}),
    price_per_kg REAL {not_below_zero("price_per_kg")},
    note TEXT
) STRICT""",
    """CREATE TABLE base_fibre (
    base_id INTEGER NOT NULL REFERENCES base (id),
    fibre TEXT NOT NULL COLLATE NOCASE,
    percent REAL NOT NULL
        CONSTRAINT "percent of a fibre must be above 0 and at most 100"
        CHECK (percent > 0 AND percent <= 100),
    PRIMARY KEY (base_id, fibre)
) STRICT""",
    f"""CREATE TABLE base_lot (
    id INTEGER PRIMARY KEY,
    base_id INTEGER NOT NULL REFERENCES base (id),
    label {_NAME},
    received_on TEXT {is_date("received_on")},
    note TEXT,
    UNIQUE (base_id, label),
    UNIQUE (id, base_id)
) STRICT""",
)

DYES = (
    f"""CREATE TABLE dye (
    id INTEGER PRIMARY KEY,
    name {_NAME} UNIQUE,
    family TEXT,
    note TEXT
) STRICT""",
    f"""CREATE TABLE dye_pack (
    id INTEGER PRIMARY KEY,
    dye_id INTEGER NOT NULL REFERENCES dye (id),
    code {_NAME},
    opened_on TEXT {is_date("opened_on")},
    note TEXT,
    UNIQUE (dye_id, code),
    UNIQUE (id, dye_id)
) STRICT""",
    f"""CREATE TABLE stock (
    id INTEGER PRIMARY KEY,
    dye_id INTEGER NOT NULL REFERENCES dye (id),
    dye_pack_id INTEGER REFERENCES dye_pack (id),
    code {_NAME},
    grams REAL NOT NULL {above_zero("grams")},
    made_up_to_ml REAL NOT NULL {above_zero("made_up_to_ml")},
    mixed_on TEXT {is_date("mixed_on")},
    left_ml REAL {not_below_zero("left_ml")},
    left_seen_on TEXT {is_date("left_seen_on")},
    note TEXT,
    UNIQUE (dye_id, code),
    UNIQUE (id, dye_id),
    FOREIGN KEY (dye_pack_id, dye_id) REFERENCES dye_pack (id, dye_id)
) STRICT""",
)

RECIPES = (
    f"""CREATE TABLE colourway (
    id INTEGER PRIMARY KEY,
    name {_NAME} UNIQUE,
    note TEXT
) STRICT""",
    """CREATE TABLE recipe (
    id INTEGER PRIMARY KEY,
    colourway_id INTEGER NOT NULL REFERENCES colourway (id),
    base_id INTEGER NOT NULL REFERENCES base (id),
    version INTEGER NOT NULL CONSTRAINT "version must be 1 or more" CHECK (version >= 1),
    parent_id INTEGER REFERENCES recipe (id)
        CONSTRAINT "a recipe cannot come from itself" CHECK (parent_id <> id),
    added_at TEXT NOT NULL,
    note TEXT,
    UNIQUE (colourway_id, base_id, version)
) STRICT""",
    f"""CREATE TABLE recipe_part (
    id INTEGER PRIMARY KEY,
    recipe_id INTEGER NOT NULL REFERENCES recipe (id),
    position INTEGER NOT NULL,
    name {_NAME},
    share_percent REAL NOT NULL
        CONSTRAINT "share_percent must be above 0 and at most 100"
        CHECK (share_percent > 0 AND share_percent <= 100),
    note TEXT,
    UNIQUE (recipe_id, position),
    UNIQUE (recipe_id, name)
) STRICT""",
    f"""CREATE TABLE recipe_dye (
    id INTEGER PRIMARY KEY,
    recipe_part_id INTEGER NOT NULL REFERENCES recipe_part (id),
    position INTEGER NOT NULL,
    dye_id INTEGER NOT NULL REFERENCES dye (id),
    depth_percent REAL NOT NULL {above_zero("depth_percent")},
    UNIQUE (recipe_part_id, position),
    UNIQUE (recipe_part_id, dye_id)
) STRICT""",
    f"""CREATE TABLE recipe_step (
    id INTEGER PRIMARY KEY,
    recipe_part_id INTEGER NOT NULL REFERENCES recipe_part (id),
    position INTEGER NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN {one_of(STEP_KINDS)}),
    amount TEXT,
    amount_g REAL {not_below_zero("amount_g")},
    amount_ml REAL {not_below_zero("amount_ml")},
    percent_of_goods REAL {not_below_zero("percent_of_goods")},
    ml_per_100_g REAL {not_below_zero("ml_per_100_g")},
    temperature_c REAL {_TEMPERATURE},
    minutes REAL {not_below_zero("minutes")},
    note TEXT,
    UNIQUE (recipe_part_id, position)
) STRICT""",
)

LOTS = (
    f"""CREATE TABLE lot (
    id INTEGER PRIMARY KEY,
    code {_NAME} UNIQUE,
    colourway_id INTEGER REFERENCES colourway (id),
    recipe_id INTEGER REFERENCES recipe (id),
    overdyes_lot_id INTEGER REFERENCES lot (id)
        CONSTRAINT "a lot cannot overdye itself" CHECK (overdyes_lot_id <> id),
    dyed_on TEXT {is_date("dyed_on")},
    dry_g REAL {above_zero("dry_g")},
    liquor_ml REAL {above_zero("liquor_ml")},
    water TEXT,
    note TEXT
) STRICT""",
    """CREATE TABLE lot_base (
    lot_id INTEGER NOT NULL REFERENCES lot (id),
    base_id INTEGER NOT NULL REFERENCES base (id),
    PRIMARY KEY (lot_id, base_id)
) STRICT""",
    f"""CREATE TABLE lot_dye (
    id INTEGER PRIMARY KEY,
    lot_id INTEGER NOT NULL REFERENCES lot (id),
    position INTEGER NOT NULL,
    dye_id INTEGER NOT NULL REFERENCES dye (id),
    dye_pack_id INTEGER REFERENCES dye_pack (id),
    stock_id INTEGER REFERENCES stock (id),
    amount TEXT,
    amount_g REAL {not_below_zero("amount_g")},
    amount_ml REAL {not_below_zero("amount_ml")},
    dye_g REAL {not_below_zero("dye_g")},
    UNIQUE (lot_id, position),
    FOREIGN KEY (dye_pack_id, dye_id) REFERENCES dye_pack (id, dye_id),
    FOREIGN KEY (stock_id, dye_id) REFERENCES stock (id, dye_id)
) STRICT""",
    f"""CREATE TABLE pot_step (
    id INTEGER PRIMARY KEY,
    lot_id INTEGER NOT NULL REFERENCES lot (id),
    position INTEGER NOT NULL,
    at TEXT {is_time("at")},
    kind TEXT NOT NULL CHECK (kind IN {one_of(STEP_KINDS)}),
    recipe_step_id INTEGER REFERENCES recipe_step (id),
    amount TEXT,
    amount_g REAL {not_below_zero("amount_g")},
    amount_ml REAL {not_below_zero("amount_ml")},
    temperature_c REAL {_TEMPERATURE},
    minutes REAL {not_below_zero("minutes")},
    ph REAL CONSTRAINT "pH must be between 0 and 14" CHECK (ph BETWEEN 0 AND 14),
    colour_left TEXT,
    colour_left_percent REAL CONSTRAINT "colour left must be between 0 and 100 %"
        CHECK (colour_left_percent BETWEEN 0 AND 100),
    note TEXT,
    UNIQUE (lot_id, position)
) STRICT""",
    f"""CREATE TABLE skein (
    id INTEGER PRIMARY KEY,
    lot_id INTEGER NOT NULL REFERENCES lot (id),
    base_id INTEGER NOT NULL REFERENCES base (id),
    base_lot_id INTEGER REFERENCES base_lot (id),
    label {_NAME},
    grams_in REAL {above_zero("grams_in")},
    grams_out REAL {above_zero("grams_out")},
    from_skein_id INTEGER REFERENCES skein (id)
        CONSTRAINT "a skein cannot come from itself" CHECK (from_skein_id <> id),
    note TEXT,
    UNIQUE (lot_id, label),
    UNIQUE (id, lot_id, base_id),
    FOREIGN KEY (lot_id, base_id) REFERENCES lot_base (lot_id, base_id),
    FOREIGN KEY (base_lot_id, base_id) REFERENCES base_lot (id, base_id)
) STRICT""",
    f"""CREATE TABLE swatch (
    id INTEGER PRIMARY KEY,
    label {_NAME} UNIQUE,
    base_id INTEGER NOT NULL REFERENCES base (id),
    base_lot_id INTEGER REFERENCES base_lot (id),
    lot_id INTEGER REFERENCES lot (id),
    skein_id INTEGER REFERENCES skein (id)
        CONSTRAINT "a swatch of a skein needs its lot"
        CHECK (skein_id IS NULL OR lot_id IS NOT NULL),
    form TEXT NOT NULL
        CONSTRAINT "form must be skein, wound card or knit" CHECK (form IN {one_of(FORMS)}),
    dry INTEGER CHECK (dry IN (0, 1)),
    note TEXT,
    FOREIGN KEY (base_lot_id, base_id) REFERENCES base_lot (id, base_id),
    FOREIGN KEY (lot_id, base_id) REFERENCES lot_base (lot_id, base_id),
    FOREIGN KEY (skein_id, lot_id, base_id) REFERENCES skein (id, lot_id, base_id)
) STRICT""",
)

INDEXES = (
    "CREATE INDEX recipe_by_parent ON recipe (parent_id)",
    "CREATE INDEX recipe_by_base ON recipe (base_id)",
    "CREATE INDEX recipe_dye_by_dye ON recipe_dye (dye_id)",
    "CREATE INDEX stock_by_pack ON stock (dye_pack_id)",
    "CREATE INDEX lot_by_colourway ON lot (colourway_id, dyed_on)",
    "CREATE INDEX lot_by_recipe ON lot (recipe_id)",
    "CREATE INDEX lot_by_overdyed ON lot (overdyes_lot_id)",
    "CREATE INDEX lot_base_by_base ON lot_base (base_id)",
    "CREATE INDEX lot_dye_by_dye ON lot_dye (dye_id)",
    "CREATE INDEX lot_dye_by_pack ON lot_dye (dye_pack_id)",
    "CREATE INDEX lot_dye_by_stock ON lot_dye (stock_id)",
    "CREATE INDEX pot_step_by_plan ON pot_step (recipe_step_id)",
    "CREATE INDEX skein_by_base_lot ON skein (base_lot_id)",
    "CREATE INDEX skein_by_before ON skein (from_skein_id)",
    "CREATE INDEX swatch_by_lot ON swatch (lot_id)",
    "CREATE INDEX swatch_by_skein ON swatch (skein_id)",
    "CREATE INDEX swatch_by_base ON swatch (base_id, form)",
)

STUDIO = (*YARN, *DYES, *RECIPES, *LOTS, *INDEXES)

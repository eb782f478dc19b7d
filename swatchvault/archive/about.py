"""One line on every table and view, for the documentation and for plain Datasette."""

from __future__ import annotations

from collections.abc import Mapping

TABLES: Mapping[str, str] = {
    "base": "A yarn before dyeing.",
    "base_fibre": "The fibres of a base in percent; they sum to 100.",
    "base_lot": "One delivery of a base, so that drift can be traced to it.",
    "dye": "A dye by its name.",
    "dye_pack": "One jar or packet of a dye's powder; a new packet is a new row.",
    "stock": "A mixed stock solution: grams of powder made up to millilitres.",
    "colourway": "A name that the dyer sells or remembers.",
    "recipe": "A colourway on a base in a version, and the version it came from; never rewritten.",
    "recipe_part": "A part of the goods or a stage of a recipe, with its share of the goods.",
    "recipe_dye": "A planned dye of a recipe's part: depth of shade in percent.",
    "recipe_step": "A planned step of a recipe's part: amount as typed and worked out.",
    "lot": "What came out of one pot in one go.",
    "lot_base": "Which bases were in a lot; usually one.",
    "lot_dye": "A dye that really went into a lot, from which pack or stock, and its dry grams.",
    "pot_step": "One thing done or seen in a pot, as it happened.",
    "pot": "When a lot's pot was started, how it ended, and what to try next time.",
    "setting": "Sizes of spoon and cup in mL, where they are not the usual ones.",
    "skein": "One hank of a lot, with its grams before and after.",
    "swatch": "A piece kept for measurement: of a lot, or of undyed yarn where it names no lot.",
    "reference": "A grey card, steps or chart that the dyer owns, and where its values are from.",
    "setup": "Phone, light and reference together, with the camera's settings locked or not.",
    "photo": "A photo's file by its sha256; the original lies in the folder photos.",
    "photo_swatch": "Which swatches a photo shows that is kept to be seen and never measured.",
    "repeat_set": "What repeat photos of one set-up taught of its doubt.",
    "repeat_photo": "Which photos a set of repeats was learned from.",
    "layout": "Where references and swatches are in a photo; superseded, never changed.",
    "correction": "How a photo was corrected, once for all that was measured in it.",
    "measurement": "What one photo says of one swatch, D65/2°; superseded, never changed.",
    "master": "Which swatch a colourway on a base in a form is held to, since when; history kept.",
    "lot_check": "A verdict that was given, kept as given.",
    "lot_check_measurement": "Which measurements a verdict was given on.",
    "master_evenness": "How even a master is stated to be, its tolerance, and what it is from.",
    "evenness_check": "The verdict on a lot's evenness, apart from its colour's, as given.",
    "form_sent": "Forms of the web pages that were sent lately, so that none works twice.",
    "renamed": "Names that were mended: the old one, the new one, and when.",
    "named_class": "The dyer's own word for how even a swatch is; superseded, never changed.",
    "eye_rule": "A rule of evenness fitted to the dyer's own words: when taken, when undone.",
    "eye_rule_swatch": "Which named swatches and measurements a rule of the dyer's is from.",
    "eye_class": "The class of a measurement by a rule of the dyer's; null: cannot tell.",
}

VIEWS_ABOUT: Mapping[str, str] = {
    "current_measurement": "Measurements that nothing has superseded, with all their columns.",
    "colours": "Every current colour of every swatch, with names, doubt and flags.",
    "latest_colours": "The newest colour of each swatch.",
    "current_masters": "The swatch that each colourway on each base in each form is held to now.",
    "lots_against_master": "Each lot that has a master, and the last verdict given on it.",
    "checks_given": "Verdicts given, with the lots' names and the figures behind them.",
    "how_even": "How even each swatch is by its newest photo: class, figures and their doubt.",
    "evenness_checks_given": "Verdicts on evenness, with the lots' names and the figures.",
    "lots": "Lots with their colourway, bases, recipe and liquor ratio.",
    "skeins": "Skeins with grams in and out, and what was lost.",
    "recipes": "Recipes, one line for each dye of each part.",
    "recipe_plans": "The planned steps of every recipe, in order.",
    "pot_logs": "What was done and seen in every pot, in order.",
    "dyes_used": "Dyes that really went into each lot, as depth of shade, beside the plan.",
    "shades_made": "What went into each lot and the colour that came out.",
    "stocks": "Stock solutions: strength, and how much should be left.",
    "photos": "Photos with their set-up and the swatches on them.",
    "undyed_over_time": "Colours of undyed yarn by date: does the base or the set-up drift?",
    "what_followed": "What came from what: versions, lots, overdyeing, skeins, masters.",
}

#: Every table and view of an archive with its line.
ABOUT: Mapping[str, str] = {**TABLES, **VIEWS_ABOUT}

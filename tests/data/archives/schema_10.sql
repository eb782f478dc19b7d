-- An archive of schema 10; where it is from: SOURCE.md beside it
PRAGMA application_id = 1400329825;
PRAGMA user_version = 10;
BEGIN TRANSACTION;
CREATE TABLE base (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL COLLATE NOCASE UNIQUE,
    superwash INTEGER CHECK (superwash IN (0, 1)),
    construction TEXT,
    halo TEXT CONSTRAINT "halo must be none, slight or strong" CHECK (halo IN ('none', 'slight', 'strong')),
    price_per_kg REAL CONSTRAINT "price_per_kg must not be below 0" CHECK (price_per_kg >= 0),
    note TEXT
) STRICT;
INSERT INTO "base" VALUES(1,'Lumme',1,'3 ply','slight',48.0,NULL);
INSERT INTO "base" VALUES(2,'Torva',NULL,NULL,NULL,NULL,NULL);
CREATE TABLE base_fibre (
    base_id INTEGER NOT NULL REFERENCES base (id),
    fibre TEXT NOT NULL COLLATE NOCASE,
    percent REAL NOT NULL
        CONSTRAINT "percent of a fibre must be above 0 and at most 100"
        CHECK (percent > 0 AND percent <= 100),
    PRIMARY KEY (base_id, fibre)
) STRICT;
INSERT INTO "base_fibre" VALUES(1,'wool',80.0);
INSERT INTO "base_fibre" VALUES(1,'silk',20.0);
INSERT INTO "base_fibre" VALUES(2,'mohair',100.0);
CREATE TABLE base_lot (
    id INTEGER PRIMARY KEY,
    base_id INTEGER NOT NULL REFERENCES base (id),
    label TEXT NOT NULL COLLATE NOCASE,
    received_on TEXT CONSTRAINT "received_on must be a date such as 2026-03-01" CHECK (received_on IS date(received_on, '+0 days')),
    note TEXT,
    UNIQUE (base_id, label),
    UNIQUE (id, base_id)
) STRICT;
CREATE TABLE colourway (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL COLLATE NOCASE UNIQUE,
    note TEXT
) STRICT;
INSERT INTO "colourway" VALUES(1,'Low sun',NULL);
INSERT INTO "colourway" VALUES(2,'Wet slates',NULL);
CREATE TABLE "correction" (
    id INTEGER PRIMARY KEY,
    layout_id INTEGER NOT NULL REFERENCES layout (id),
    provenance TEXT NOT NULL CONSTRAINT "provenance must be JSON" CHECK (provenance IS NULL OR json_valid(provenance))
) STRICT;
INSERT INTO "correction" VALUES(1,1,'{"steps":[{"name":"tone curve","left_over":0.004}],"references":[{"kind":"steps","located":"marks","confidence":1.0,"used":true,"edition":null,"flags":[],"neutral":null,"patches":[]}],"flags":["light uneven"],"encoding":"sRGB","version":"1"}');
INSERT INTO "correction" VALUES(2,1,'{"steps":[{"name":"tone curve","left_over":0.004}],"references":[{"kind":"steps","located":"marks","confidence":1.0,"used":true,"edition":null,"flags":[],"neutral":null,"patches":[]}],"flags":["light uneven"],"encoding":"sRGB","version":"2"}');
INSERT INTO "correction" VALUES(3,2,'{"steps":[{"name":"tone curve","left_over":0.004}],"references":[{"kind":"steps","located":"marks","confidence":1.0,"used":true,"edition":null,"flags":[],"neutral":null,"patches":[]}],"flags":["light uneven"],"encoding":"sRGB","version":"2"}');
INSERT INTO "correction" VALUES(4,4,'{"steps":[{"name":"encoding undone","encoding":"sRGB"},{"name":"tone curve, exposure and white through neutrals","neutrals":6,"delta_e_00_left_out":[0.0091,0.0144,0.0126,0.0109,0.0496,0.0716],"mean_delta_e_00_left_out":0.028,"tried":{"none":0.028}}],"flags":["light uneven"],"encoding":"sRGB","version":"2","references":[{"kind":"steps","located":"marks","confidence":1.0,"used":true,"edition":null,"flags":["camera colours not corrected"],"neutral":[0.200001,0.2,0.21],"expected_lab":[[90.0,0.0,0.0],[80.0,0.0,0.0],[70.0,0.0,0.0],[60.0,0.0,0.0],[50.0,0.0,0.0],[40.0,0.0,0.0]]}]}');
INSERT INTO "correction" VALUES(5,5,'{"steps":[{"name":"tone curve","left_over":0.004}],"flags":["light uneven"],"references":[{"kind":"steps","used":true,"flags":[]}]}');
CREATE TABLE dye (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL COLLATE NOCASE UNIQUE,
    family TEXT,
    note TEXT
) STRICT;
INSERT INTO "dye" VALUES(1,'Ember','levelling acid',NULL);
INSERT INTO "dye" VALUES(2,'Tarn',NULL,NULL);
CREATE TABLE dye_pack (
    id INTEGER PRIMARY KEY,
    dye_id INTEGER NOT NULL REFERENCES dye (id),
    code TEXT NOT NULL COLLATE NOCASE,
    opened_on TEXT CONSTRAINT "opened_on must be a date such as 2026-03-01" CHECK (opened_on IS date(opened_on, '+0 days')),
    note TEXT,
    UNIQUE (dye_id, code),
    UNIQUE (id, dye_id)
) STRICT;
INSERT INTO "dye_pack" VALUES(1,1,'E1','2026-01-05',NULL);
INSERT INTO "dye_pack" VALUES(2,1,'E2',NULL,NULL);
INSERT INTO "dye_pack" VALUES(3,2,'T1',NULL,NULL);
CREATE TABLE evenness_check (
    lot_check_id INTEGER PRIMARY KEY REFERENCES lot_check (id),
    master_evenness_id INTEGER NOT NULL REFERENCES master_evenness (id),
    measurement_id INTEGER REFERENCES measurement (id),
    verdict TEXT NOT NULL CHECK (verdict IN ('as tonal', 'more tonal', 'less tonal', 'cannot tell')),
    unevenness REAL CONSTRAINT "unevenness must not be below 0" CHECK (unevenness >= 0),
    u_unevenness REAL CONSTRAINT "u_unevenness must not be below 0" CHECK (u_unevenness >= 0),
    tolerance REAL NOT NULL CONSTRAINT "tolerance must be above 0" CHECK (tolerance > 0),
    p_as REAL CONSTRAINT "a share must be between 0 and 1" CHECK (p_as BETWEEN 0 AND 1),
    p_more REAL CONSTRAINT "a share must be between 0 and 1" CHECK (p_more BETWEEN 0 AND 1),
    p_less REAL CONSTRAINT "a share must be between 0 and 1" CHECK (p_less BETWEEN 0 AND 1),
    method TEXT,
    words TEXT NOT NULL,
    detail TEXT NOT NULL CONSTRAINT "detail must be JSON" CHECK (detail IS NULL OR json_valid(detail))
) STRICT;
INSERT INTO "evenness_check" VALUES(1,1,3,'cannot tell',1.2,0.18,0.6,0.2,0.3,0.8,'evenness 3','it cannot be told','{"reasons":["few texture lengths"]}');
CREATE TABLE eye_class (
    eye_rule_id INTEGER NOT NULL REFERENCES eye_rule (id),
    measurement_id INTEGER NOT NULL REFERENCES measurement (id),
    class TEXT CONSTRAINT "class must be solid, semi-solid, variegated, speckled or gradient" CHECK (class IN ('solid', 'semi-solid', 'variegated', 'speckled', 'gradient')),
    PRIMARY KEY (eye_rule_id, measurement_id)
) STRICT;
INSERT INTO "eye_class" VALUES(1,8,'semi-solid');
INSERT INTO "eye_class" VALUES(1,9,'semi-solid');
INSERT INTO "eye_class" VALUES(2,8,'semi-solid');
INSERT INTO "eye_class" VALUES(2,9,'semi-solid');
CREATE TABLE eye_rule (
    id INTEGER PRIMARY KEY,
    taken_at TEXT NOT NULL CONSTRAINT "taken_at must be a date or time such as 2026-03-01T10:05" CHECK (taken_at IS NULL OR (substr(taken_at, 1, 10) IS date(substr(taken_at, 1, 10), '+0 days') AND datetime(taken_at) IS NOT NULL)),
    undone_at TEXT CONSTRAINT "undone_at must be a date or time such as 2026-03-01T10:05" CHECK (undone_at IS NULL OR (substr(undone_at, 1, 10) IS date(substr(undone_at, 1, 10), '+0 days') AND datetime(undone_at) IS NOT NULL)),
    method TEXT NOT NULL,
    thresholds TEXT NOT NULL CONSTRAINT "thresholds must be JSON" CHECK (thresholds IS NULL OR json_valid(thresholds)),
    swatches INTEGER NOT NULL CONSTRAINT "swatches must be above 0" CHECK (swatches > 0),
    right_before INTEGER NOT NULL CONSTRAINT "right_before must not be below 0" CHECK (right_before >= 0),
    right_after INTEGER NOT NULL CONSTRAINT "right_after must not be below 0" CHECK (right_after >= 0),
    detail TEXT NOT NULL CONSTRAINT "detail must be JSON" CHECK (detail IS NULL OR json_valid(detail))
) STRICT;
INSERT INTO "eye_rule" VALUES(1,'2026-06-01T09:00:11Z','2026-06-01T09:00:12Z','evenness 3','{"gradient_rank":0.85,"gradient_plane":0.6,"gradient_span":1.0,"gradient_least":0.5,"dots_percent":2.0,"dots_most":22.0,"dots_tail":3.5,"dots_ground":0.77,"small_ground":0.66,"small_dots_mm":3.2,"largest_dots_mm":5.0,"variegated_reach":7.5,"two_colours_reach":5.0,"floor":0.36,"floor_per_contrast":0.72,"floor_most":0.8,"solid_share":0.78,"margin":0.1,"depth_hidden":0.1,"hidden_whole":1.6}',2,1,2,'{"moved":["solid up to 0.8"]}');
INSERT INTO "eye_rule" VALUES(2,'2026-06-01T09:00:13Z',NULL,'evenness 3','{"gradient_rank":0.85,"gradient_plane":0.6,"gradient_span":1.0,"gradient_least":0.5,"dots_percent":2.0,"dots_most":22.0,"dots_tail":3.5,"dots_ground":0.77,"small_ground":0.66,"small_dots_mm":3.2,"largest_dots_mm":5.0,"variegated_reach":7.5,"two_colours_reach":5.0,"floor":0.36,"floor_per_contrast":0.72,"floor_most":0.8,"solid_share":0.78,"margin":0.1,"depth_hidden":0.1,"hidden_whole":1.6}',2,1,2,'{"moved":[]}');
CREATE TABLE eye_rule_swatch (
    eye_rule_id INTEGER NOT NULL REFERENCES eye_rule (id),
    named_class_id INTEGER NOT NULL REFERENCES named_class (id),
    measurement_id INTEGER NOT NULL REFERENCES measurement (id),
    PRIMARY KEY (eye_rule_id, named_class_id)
) STRICT;
INSERT INTO "eye_rule_swatch" VALUES(1,2,4);
INSERT INTO "eye_rule_swatch" VALUES(1,3,3);
INSERT INTO "eye_rule_swatch" VALUES(2,2,4);
INSERT INTO "eye_rule_swatch" VALUES(2,3,3);
CREATE TABLE form_sent (
    token TEXT PRIMARY KEY CONSTRAINT "a form's token is 16 to 64 characters"
        CHECK (length(token) BETWEEN 16 AND 64),
    at TEXT NOT NULL,
    outcome TEXT NOT NULL
) STRICT;
INSERT INTO "form_sent" VALUES('aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa','2026-06-01T09:00:14Z','/photos');
CREATE TABLE "layout" (
    id INTEGER PRIMARY KEY,
    photo_id INTEGER NOT NULL REFERENCES photo (id),
    located TEXT NOT NULL CHECK (located IN ('marks', 'mat', 'search')),
    marks TEXT NOT NULL CONSTRAINT "marks must be JSON" CHECK (marks IS NULL OR json_valid(marks)),
    added_at TEXT NOT NULL,
    superseded_by INTEGER REFERENCES layout (id) DEFERRABLE INITIALLY DEFERRED
        CHECK (superseded_by > id)
) STRICT;
INSERT INTO "layout" VALUES(1,1,'marks','{"located":"marks","references":[{"kind":"steps","patches":[[[0.1,0.1],[0.3,0.1],[0.3,0.3],[0.1,0.3]],[[0.5,0.1],[0.7,0.1],[0.7,0.3],[0.5,0.3]],[[0.1,0.1],[0.3,0.1],[0.3,0.3],[0.1,0.3]]],"y":[0.9,0.2,0.04],"located":"marks","confidence":1.0}],"swatches":[{"name":"new","polygon":[[0.1,0.1],[0.3,0.1],[0.3,0.3],[0.1,0.3]],"located":"marks","confidence":0.75},{"name":"master","polygon":[[0.1,0.1],[0.3,0.1],[0.3,0.3],[0.1,0.3]],"located":"marks","confidence":0.75}],"scale":{"from":[0.0,0.0],"to":[1.0,0.0],"mm":120.0}}','2026-05-01T10:00:04Z',NULL);
INSERT INTO "layout" VALUES(2,2,'marks','{"located":"marks","references":[{"kind":"steps","patches":[[[0.1,0.1],[0.3,0.1],[0.3,0.3],[0.1,0.3]],[[0.5,0.1],[0.7,0.1],[0.7,0.3],[0.5,0.3]],[[0.1,0.1],[0.3,0.1],[0.3,0.3],[0.1,0.3]]],"y":[0.9,0.2,0.04],"located":"marks","confidence":1.0}],"swatches":[{"name":"new","polygon":[[0.1,0.1],[0.3,0.1],[0.3,0.3],[0.1,0.3]],"located":"marks","confidence":0.75}],"scale":{"from":[0.0,0.0],"to":[1.0,0.0],"mm":120.0}}','2026-05-01T10:00:10Z',NULL);
INSERT INTO "layout" VALUES(3,3,'marks','{"located":"marks","references":[{"kind":"steps","patches":[[[0.1,0.1],[0.3,0.1],[0.3,0.3],[0.1,0.3]],[[0.5,0.1],[0.7,0.1],[0.7,0.3],[0.5,0.3]],[[0.1,0.1],[0.3,0.1],[0.3,0.3],[0.1,0.3]]],"y":[0.9,0.2,0.04],"located":"marks","confidence":1.0}],"swatches":[],"scale":{"from":[0.0,0.0],"to":[1.0,0.0],"mm":120.0}}','2026-05-01T10:00:13Z',NULL);
INSERT INTO "layout" VALUES(4,4,'marks','{"located":"marks","references":[{"kind":"steps","patches":[[[0.03333333333333333,0.07142857142857142],[0.08,0.07142857142857142],[0.08,0.21428571428571427],[0.03333333333333333,0.21428571428571427]],[[0.13333333333333333,0.07142857142857142],[0.18,0.07142857142857142],[0.18,0.21428571428571427],[0.13333333333333333,0.21428571428571427]],[[0.23333333333333334,0.07142857142857142],[0.28,0.07142857142857142],[0.28,0.21428571428571427],[0.23333333333333334,0.21428571428571427]],[[0.33333333333333337,0.07142857142857142],[0.38000000000000006,0.07142857142857142],[0.38000000000000006,0.21428571428571427],[0.33333333333333337,0.21428571428571427]],[[0.43333333333333335,0.07142857142857142],[0.48000000000000004,0.07142857142857142],[0.48000000000000004,0.21428571428571427],[0.43333333333333335,0.21428571428571427]],[[0.5333333333333333,0.07142857142857142],[0.58,0.07142857142857142],[0.58,0.21428571428571427],[0.5333333333333333,0.21428571428571427]]],"y":[0.9,0.59,0.36,0.2,0.09,0.03],"located":"marks","confidence":1.0}],"swatches":[{"name":"master","polygon":[[0.3,0.4],[0.5,0.4],[0.5,0.8],[0.3,0.8]],"located":"marks","confidence":1.0},{"name":"new","polygon":[[0.6,0.4],[0.7,0.4],[0.8,0.8],[0.6,0.6666666666666666]],"located":"search","confidence":0.8125}],"scale":{"from":[0.0,0.5],"to":[1.0,0.5],"mm":100.0},"flags":["light uneven"]}','2026-06-01T09:00:02Z',NULL);
INSERT INTO "layout" VALUES(5,5,'marks','{"references":[{"kind":"steps","patches":[[[0.1,0.1],[0.3,0.1],[0.3,0.3],[0.1,0.3]],[[0.5,0.1],[0.7,0.1],[0.7,0.3],[0.5,0.3]],[[0.1,0.1],[0.3,0.1],[0.3,0.3],[0.1,0.3]]],"y":[0.9,0.2,0.04]}],"swatches":[{"name":"new","polygon":[[0.1,0.1],[0.3,0.1],[0.3,0.3],[0.1,0.3]],"confidence":0.75},{"name":"other","polygon":[[0.1,0.1],[0.3,0.1],[0.3,0.3],[0.1,0.3]],"confidence":0.75}],"scale":{"from":[0.0,0.0],"to":[1.0,0.0],"mm":120.0}}','2026-11-26T12:57:37Z',NULL);
CREATE TABLE lot (
    id INTEGER PRIMARY KEY,
    code TEXT NOT NULL COLLATE NOCASE UNIQUE,
    colourway_id INTEGER REFERENCES colourway (id),
    recipe_id INTEGER REFERENCES recipe (id),
    overdyes_lot_id INTEGER REFERENCES lot (id)
        CONSTRAINT "a lot cannot overdye itself" CHECK (overdyes_lot_id <> id),
    dyed_on TEXT CONSTRAINT "dyed_on must be a date such as 2026-03-01" CHECK (dyed_on IS date(dyed_on, '+0 days')),
    dry_g REAL CONSTRAINT "dry_g must be above 0" CHECK (dry_g > 0),
    liquor_ml REAL CONSTRAINT "liquor_ml must be above 0" CHECK (liquor_ml > 0),
    water TEXT,
    note TEXT
) STRICT;
INSERT INTO "lot" VALUES(1,'L1',1,1,NULL,'2026-03-01',100.0,3000.0,'tap',NULL);
INSERT INTO "lot" VALUES(2,'L2',1,NULL,NULL,'2026-04-01',100.0,NULL,NULL,NULL);
INSERT INTO "lot" VALUES(3,'W1',2,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
CREATE TABLE lot_base (
    lot_id INTEGER NOT NULL REFERENCES lot (id),
    base_id INTEGER NOT NULL REFERENCES base (id),
    PRIMARY KEY (lot_id, base_id)
) STRICT;
INSERT INTO "lot_base" VALUES(1,1);
INSERT INTO "lot_base" VALUES(2,1);
INSERT INTO "lot_base" VALUES(3,1);
INSERT INTO "lot_base" VALUES(3,2);
CREATE TABLE lot_check (
    id INTEGER PRIMARY KEY,
    checked_at TEXT NOT NULL CONSTRAINT "checked_at must be a date or time such as 2026-03-01T10:05" CHECK (checked_at IS NULL OR (substr(checked_at, 1, 10) IS date(substr(checked_at, 1, 10), '+0 days') AND datetime(checked_at) IS NOT NULL)),
    master_id INTEGER REFERENCES master (id),
    master_swatch_id INTEGER NOT NULL REFERENCES swatch (id),
    swatch_id INTEGER NOT NULL REFERENCES swatch (id),
    lot_id INTEGER REFERENCES lot (id),
    verdict TEXT NOT NULL CHECK (verdict IN ('within', 'outside', 'cannot tell')),
    tolerance REAL NOT NULL CONSTRAINT "tolerance must be above 0" CHECK (tolerance > 0),
    k_l REAL NOT NULL CONSTRAINT "k_l must be above 0" CHECK (k_l > 0),
    delta_e_00 REAL NOT NULL CONSTRAINT "delta_e_00 must not be below 0" CHECK (delta_e_00 >= 0),
    delta_l REAL,
    delta_c REAL,
    delta_h REAL,
    u_reading REAL CONSTRAINT "u_reading must not be below 0" CHECK (u_reading >= 0),
    u_at_tolerance REAL CONSTRAINT "u_at_tolerance must not be below 0" CHECK (u_at_tolerance >= 0),
    p_within REAL CONSTRAINT "a share must be between 0 and 1" CHECK (p_within BETWEEN 0 AND 1),
    p_outside REAL CONSTRAINT "a share must be between 0 and 1" CHECK (p_outside BETWEEN 0 AND 1),
    capture TEXT NOT NULL,
    same_dyes INTEGER CHECK (same_dyes IN (0, 1)),
    words TEXT NOT NULL,
    detail TEXT NOT NULL CONSTRAINT "detail must be JSON" CHECK (detail IS NULL OR json_valid(detail))
) STRICT;
INSERT INTO "lot_check" VALUES(1,'2026-05-01T10:00:14Z',1,1,2,2,'cannot tell',1.5,2.0,0.9,0.5,-0.4,0.2,0.4,0.6,0.2,0.7,'same frame',NULL,'a touch lighter','{"reasons":["few texture lengths"]}');
CREATE TABLE lot_check_measurement (
    lot_check_id INTEGER NOT NULL REFERENCES lot_check (id),
    measurement_id INTEGER NOT NULL REFERENCES measurement (id),
    side TEXT NOT NULL CHECK (side IN ('master', 'lot')),
    PRIMARY KEY (lot_check_id, measurement_id)
) STRICT;
INSERT INTO "lot_check_measurement" VALUES(1,4,'master');
INSERT INTO "lot_check_measurement" VALUES(1,3,'lot');
CREATE TABLE lot_dye (
    id INTEGER PRIMARY KEY,
    lot_id INTEGER NOT NULL REFERENCES lot (id),
    position INTEGER NOT NULL,
    dye_id INTEGER NOT NULL REFERENCES dye (id),
    dye_pack_id INTEGER REFERENCES dye_pack (id),
    stock_id INTEGER REFERENCES stock (id),
    amount TEXT,
    amount_g REAL CONSTRAINT "amount_g must not be below 0" CHECK (amount_g >= 0),
    amount_ml REAL CONSTRAINT "amount_ml must not be below 0" CHECK (amount_ml >= 0),
    dye_g REAL CONSTRAINT "dye_g must not be below 0" CHECK (dye_g >= 0), pot_step_id INTEGER REFERENCES pot_step (id),
    UNIQUE (lot_id, position),
    FOREIGN KEY (dye_pack_id, dye_id) REFERENCES dye_pack (id, dye_id),
    FOREIGN KEY (stock_id, dye_id) REFERENCES stock (id, dye_id)
) STRICT;
INSERT INTO "lot_dye" VALUES(1,1,1,1,NULL,1,'80 mL',NULL,80.0,0.8,NULL);
INSERT INTO "lot_dye" VALUES(2,1,2,2,NULL,3,'20 mL',NULL,20.0,0.2,NULL);
CREATE TABLE master (
    id INTEGER PRIMARY KEY,
    colourway_id INTEGER NOT NULL REFERENCES colourway (id),
    base_id INTEGER NOT NULL REFERENCES base (id),
    form TEXT NOT NULL CHECK (form IN ('skein', 'wound card', 'knit')),
    swatch_id INTEGER NOT NULL REFERENCES swatch (id),
    tolerance REAL NOT NULL CONSTRAINT "tolerance must be above 0" CHECK (tolerance > 0),
    k_l REAL NOT NULL CONSTRAINT "k_l must be above 0" CHECK (k_l > 0),
    since TEXT NOT NULL CONSTRAINT "since must be a date or time such as 2026-03-01T10:05" CHECK (since IS NULL OR (substr(since, 1, 10) IS date(substr(since, 1, 10), '+0 days') AND datetime(since) IS NOT NULL)),
    reason TEXT
) STRICT;
INSERT INTO "master" VALUES(1,1,1,'skein',1,1.5,2.0,'2026-03-10','the first that sold');
CREATE TABLE master_evenness (
    id INTEGER PRIMARY KEY,
    master_id INTEGER NOT NULL REFERENCES master (id),
    stated_at TEXT NOT NULL CONSTRAINT "stated_at must be a date or time such as 2026-03-01T10:05" CHECK (stated_at IS NULL OR (substr(stated_at, 1, 10) IS date(substr(stated_at, 1, 10), '+0 days') AND datetime(stated_at) IS NOT NULL)),
    unevenness REAL CONSTRAINT "unevenness must not be below 0" CHECK (unevenness >= 0),
    u_unevenness REAL CONSTRAINT "u_unevenness must not be below 0" CHECK (u_unevenness >= 0),
    tolerance REAL CONSTRAINT "tolerance must be above 0" CHECK (tolerance > 0),
    method TEXT,
    measurement_id INTEGER REFERENCES measurement (id),
    reason TEXT,
    CONSTRAINT "evenness is stated whole, or not at all" CHECK (
        (unevenness IS NULL) = (u_unevenness IS NULL)
        AND (unevenness IS NULL) = (tolerance IS NULL) AND (unevenness IS NULL) = (method IS NULL))
) STRICT;
INSERT INTO "master_evenness" VALUES(1,1,'2026-06-01T09:00:07Z',0.9,0.2,0.6,'evenness 3',4,'as the first that sold');
CREATE TABLE "measurement" (
    id INTEGER PRIMARY KEY,
    layout_id INTEGER NOT NULL REFERENCES layout (id),
    correction_id INTEGER NOT NULL REFERENCES correction (id),
    region TEXT NOT NULL,
    swatch_id INTEGER NOT NULL REFERENCES swatch (id),
    dry INTEGER CHECK (dry IN (0, 1)),
    lab_l REAL NOT NULL,
    lab_a REAL NOT NULL,
    lab_b REAL NOT NULL,
    cov_region TEXT NOT NULL CONSTRAINT "cov_region must be JSON" CHECK (cov_region IS NULL OR json_valid(cov_region)),
    cov_frame TEXT NOT NULL CONSTRAINT "cov_frame must be JSON" CHECK (cov_frame IS NULL OR json_valid(cov_frame)),
    cov_setup TEXT NOT NULL CONSTRAINT "cov_setup must be JSON" CHECK (cov_setup IS NULL OR json_valid(cov_setup)),
    cov_profile TEXT NOT NULL CONSTRAINT "cov_profile must be JSON" CHECK (cov_profile IS NULL OR json_valid(cov_profile)),
    flags TEXT NOT NULL CONSTRAINT "flags must be JSON" CHECK (flags IS NULL OR json_valid(flags)),
    reference TEXT NOT NULL CHECK (reference IN ('chart', 'steps', 'card', 'none')),
    pixels INTEGER NOT NULL CONSTRAINT "pixels must be above 0" CHECK (pixels > 0),
    left_out TEXT NOT NULL CONSTRAINT "left_out must be JSON" CHECK (left_out IS NULL OR json_valid(left_out)),
    clipped_share REAL CONSTRAINT "a share must be between 0 and 1" CHECK (clipped_share BETWEEN 0 AND 1),
    shadow_sd REAL CONSTRAINT "shadow_sd must not be below 0" CHECK (shadow_sd >= 0),
    mm_per_px REAL CONSTRAINT "mm_per_px must be above 0" CHECK (mm_per_px > 0),
    tonality TEXT CONSTRAINT "tonality must be JSON" CHECK (tonality IS NULL OR json_valid(tonality)),
    version TEXT NOT NULL,
    measured_at TEXT NOT NULL,
    superseded_by INTEGER REFERENCES measurement (id) DEFERRABLE INITIALLY DEFERRED
        CHECK (superseded_by > id)
) STRICT;
INSERT INTO "measurement" VALUES(1,1,1,'new',2,1,42.25,31.5,-8.125,'[[0.1,0.0,0.0],[0.0,0.2,0.0],[0.0,0.0,0.3]]','[[0.2,0.0,0.0],[0.0,0.4,0.0],[0.0,0.0,0.6]]','[[0.30000000000000004,0.0,0.0],[0.0,0.6000000000000001,0.0],[0.0,0.0,0.8999999999999999]]','[[0.4,0.0,0.0],[0.0,0.8,0.0],[0.0,0.0,1.2]]','["glare","scale unknown"]','steps',12000,'{"clipped":0.01}',0.01,0.12,NULL,'{"unevenness":1.204,"u_unevenness":0.183,"range":[0.86,1.58],"off_light_line":0.911,"cell_unevenness":1.732,"strand_contrast":0.214,"patch_length":"medium","palette":[{"lab":[42.25,31.5,-8.13],"share":1.0}],"dots_percent":0.41,"class":"semi-solid","between":null,"mm_per_px":0.1,"method":"evenness 1","reasons":[],"light_only":false,"depth_off":0.21,"dots":{"per_dm2":3.0,"mean_mm":1.2,"lab":null},"gradient":null,"difference_shares":{"lightness":0.7,"chroma":0.2,"hue":0.1}}','1','2026-05-01T10:00:05Z',3);
INSERT INTO "measurement" VALUES(2,1,1,'master',1,1,42.5,30.75,-8.0,'[[0.1,0.0,0.0],[0.0,0.2,0.0],[0.0,0.0,0.3]]','[[0.2,0.0,0.0],[0.0,0.4,0.0],[0.0,0.0,0.6]]','[[0.30000000000000004,0.0,0.0],[0.0,0.6000000000000001,0.0],[0.0,0.0,0.8999999999999999]]','[[0.4,0.0,0.0],[0.0,0.8,0.0],[0.0,0.0,1.2]]','["glare","scale unknown"]','steps',12000,'{"clipped":0.01}',0.01,0.12,NULL,NULL,'1','2026-05-01T10:00:06Z',4);
INSERT INTO "measurement" VALUES(3,1,2,'new',2,1,42.0,31.25,-8.5,'[[0.1,0.0,0.0],[0.0,0.2,0.0],[0.0,0.0,0.3]]','[[0.2,0.0,0.0],[0.0,0.4,0.0],[0.0,0.0,0.6]]','[[0.30000000000000004,0.0,0.0],[0.0,0.6000000000000001,0.0],[0.0,0.0,0.8999999999999999]]','[[0.4,0.0,0.0],[0.0,0.8,0.0],[0.0,0.0,1.2]]','["glare","scale unknown"]','steps',12000,'{"clipped":0.01}',0.01,0.12,NULL,'{"unevenness":1.204,"u_unevenness":0.183,"range":[0.86,1.58],"off_light_line":0.911,"cell_unevenness":1.732,"strand_contrast":0.214,"patch_length":"medium","palette":[{"lab":[42.25,31.5,-8.13],"share":1.0}],"dots_percent":0.41,"class":"semi-solid","between":null,"mm_per_px":0.1,"method":"evenness 1","reasons":[],"light_only":false,"depth_off":0.21,"dots":{"per_dm2":3.0,"mean_mm":1.2,"lab":null},"gradient":null,"difference_shares":{"lightness":0.7,"chroma":0.2,"hue":0.1}}','2','2026-05-01T10:00:07Z',NULL);
INSERT INTO "measurement" VALUES(4,1,2,'master',1,1,42.4,30.7,-8.1,'[[0.1,0.0,0.0],[0.0,0.2,0.0],[0.0,0.0,0.3]]','[[0.2,0.0,0.0],[0.0,0.4,0.0],[0.0,0.0,0.6]]','[[0.30000000000000004,0.0,0.0],[0.0,0.6000000000000001,0.0],[0.0,0.0,0.8999999999999999]]','[[0.4,0.0,0.0],[0.0,0.8,0.0],[0.0,0.0,1.2]]','["glare","scale unknown"]','steps',12000,'{"clipped":0.01}',0.01,0.12,NULL,'{"unevenness":1.204,"u_unevenness":0.183,"range":[0.86,1.58],"off_light_line":0.911,"cell_unevenness":1.732,"strand_contrast":0.214,"patch_length":"medium","palette":[{"lab":[42.25,31.5,-8.13],"share":1.0}],"dots_percent":0.41,"class":"semi-solid","between":null,"mm_per_px":0.1,"method":"evenness 1","reasons":[],"light_only":false,"depth_off":0.21,"dots":{"per_dm2":3.0,"mean_mm":1.2,"lab":null},"gradient":null,"difference_shares":{"lightness":0.7,"chroma":0.2,"hue":0.1}}','2','2026-05-01T10:00:08Z',NULL);
INSERT INTO "measurement" VALUES(5,2,3,'new',3,NULL,91.0,0.5,8.0,'[[0.1,0.0,0.0],[0.0,0.2,0.0],[0.0,0.0,0.3]]','[[0.2,0.0,0.0],[0.0,0.4,0.0],[0.0,0.0,0.6]]','[[0.30000000000000004,0.0,0.0],[0.0,0.6000000000000001,0.0],[0.0,0.0,0.8999999999999999]]','[[0.4,0.0,0.0],[0.0,0.8,0.0],[0.0,0.0,1.2]]','["glare","scale unknown"]','steps',12000,'{"clipped":0.01}',NULL,0.12,NULL,'{"evenness":1.5}','2','2026-05-01T10:00:11Z',NULL);
INSERT INTO "measurement" VALUES(6,4,4,'master',1,1,42.0,31.0,-8.0,'[[0.0227609,-0.00616637,0.00977515],[-0.00616637,0.0025161,-0.00260077],[0.00977515,-0.00260077,0.00454422]]','[[0.0682827,-0.0184991,0.0293254],[-0.0184991,0.0075483,-0.00780231],[0.0293254,-0.00780231,0.0136327]]','[[0.159326,-0.0431646,0.0684261],[-0.0431646,0.0176127,-0.0182054],[0.0684261,-0.0182054,0.0318095]]','[[0.25037,-0.0678301,0.107527],[-0.0678301,0.0276771,-0.0286085],[0.107527,-0.0286085,0.0499864]]','["no profile"]','steps',12000,'{"clipped":0.01}',0.01,8.18778723478317260742e-02,8.33333333333333287074e-02,'{"unevenness":0.919,"u_unevenness":0.139,"range":[0.602,1.2],"off_light_line":0.622,"cell_unevenness":1.286,"strand_contrast":0.177,"patch_length":null,"palette":[{"lab":[47.39,27.23,-9.25],"share":1.0}],"dots_percent":0.0,"class":null,"between":["solid","semi-solid"],"mm_per_px":0.083333,"method":"evenness 3","reasons":["few texture lengths"],"difference_shares":null,"light_only":false,"depth_off":0.472,"dots":{"per_dm2":0.0,"mean_mm":0.0,"lab":null},"gradient":null,"off95":0.17,"signature":[{"lab":[47.41,27.23,-9.25],"share":1.0}],"rule":{"rank":0.134723,"plane":0.0101558,"span":0.00952886,"tied":0.0224142,"dots_percent":0.0,"dots_mm":0.0,"tail":0.566638,"reach":0.169991,"ground":1.0,"colours":1,"unevenness":0.918945,"strand_contrast":0.17747,"depth_off":0.471591,"whole":0.925205}}','2','2026-06-01T09:00:03Z',8);
INSERT INTO "measurement" VALUES(7,4,4,'new',2,NULL,4.23333333333333357035e+01,31.0,-8.14285714285714234961e+00,'[[0.0227609,-0.00616637,0.00977515],[-0.00616637,0.0025161,-0.00260077],[0.00977515,-0.00260077,0.00454422]]','[[0.0682827,-0.0184991,0.0293254],[-0.0184991,0.0075483,-0.00780231],[0.0293254,-0.00780231,0.0136327]]','[[0.159326,-0.0431646,0.0684261],[-0.0431646,0.0176127,-0.0182054],[0.0684261,-0.0182054,0.0318095]]','[[0.25037,-0.0678301,0.107527],[-0.0678301,0.0276771,-0.0286085],[0.107527,-0.0286085,0.0499864]]','["no profile"]','steps',12000,'{"clipped":0.01}',0.01,8.18778723478317260742e-02,8.33333333333333287074e-02,'{"unevenness":0.919,"u_unevenness":0.139,"range":[0.602,1.2],"off_light_line":0.622,"cell_unevenness":1.286,"strand_contrast":0.177,"patch_length":null,"palette":[{"lab":[47.39,27.23,-9.25],"share":1.0}],"dots_percent":0.0,"class":null,"between":["solid","semi-solid"],"mm_per_px":0.083333,"method":"evenness 3","reasons":["few texture lengths"],"difference_shares":null,"light_only":false,"depth_off":0.472,"dots":{"per_dm2":0.0,"mean_mm":0.0,"lab":null},"gradient":null,"off95":0.17,"signature":[{"lab":[47.41,27.23,-9.25],"share":1.0}],"rule":{"rank":0.134723,"plane":0.0101558,"span":0.00952886,"tied":0.0224142,"dots_percent":0.0,"dots_mm":0.0,"tail":0.566638,"reach":0.169991,"ground":1.0,"colours":1,"unevenness":0.918945,"strand_contrast":0.17747,"depth_off":0.471591,"whole":0.925205}}','2','2026-06-01T09:00:04Z',9);
INSERT INTO "measurement" VALUES(8,4,4,'master',1,1,42.25,31.25,-7.75,'[[0.0227609,-0.00616637,0.00977515],[-0.00616637,0.0025161,-0.00260077],[0.00977515,-0.00260077,0.00454422]]','[[0.0682827,-0.0184991,0.0293254],[-0.0184991,0.0075483,-0.00780231],[0.0293254,-0.00780231,0.0136327]]','[[0.159326,-0.0431646,0.0684261],[-0.0431646,0.0176127,-0.0182054],[0.0684261,-0.0182054,0.0318095]]','[[0.25037,-0.0678301,0.107527],[-0.0678301,0.0276771,-0.0286085],[0.107527,-0.0286085,0.0499864]]','["no profile"]','steps',12000,'{"clipped":0.01}',0.01,8.18778723478317260742e-02,8.33333333333333287074e-02,'{"unevenness":0.919,"u_unevenness":0.139,"range":[0.602,1.2],"off_light_line":0.622,"cell_unevenness":1.286,"strand_contrast":0.177,"patch_length":null,"palette":[{"lab":[47.39,27.23,-9.25],"share":1.0}],"dots_percent":0.0,"class":null,"between":["solid","semi-solid"],"mm_per_px":0.083333,"method":"evenness 3","reasons":["few texture lengths"],"difference_shares":null,"light_only":false,"depth_off":0.472,"dots":{"per_dm2":0.0,"mean_mm":0.0,"lab":null},"gradient":null,"off95":0.17,"signature":[{"lab":[47.41,27.23,-9.25],"share":1.0}],"rule":{"rank":0.134723,"plane":0.0101558,"span":0.00952886,"tied":0.0224142,"dots_percent":0.0,"dots_mm":0.0,"tail":0.566638,"reach":0.169991,"ground":1.0,"colours":1,"unevenness":0.918945,"strand_contrast":0.17747,"depth_off":0.471591,"whole":0.925205}}','2','2026-06-01T09:00:05Z',NULL);
INSERT INTO "measurement" VALUES(9,4,4,'new',2,NULL,4.25833333333333357e+01,31.25,-7.89285714285714234961e+00,'[[0.0227609,-0.00616637,0.00977515],[-0.00616637,0.0025161,-0.00260077],[0.00977515,-0.00260077,0.00454422]]','[[0.0682827,-0.0184991,0.0293254],[-0.0184991,0.0075483,-0.00780231],[0.0293254,-0.00780231,0.0136327]]','[[0.159326,-0.0431646,0.0684261],[-0.0431646,0.0176127,-0.0182054],[0.0684261,-0.0182054,0.0318095]]','[[0.25037,-0.0678301,0.107527],[-0.0678301,0.0276771,-0.0286085],[0.107527,-0.0286085,0.0499864]]','["no profile"]','steps',12000,'{"clipped":0.01}',0.01,8.18778723478317260742e-02,8.33333333333333287074e-02,'{"unevenness":0.919,"u_unevenness":0.139,"range":[0.602,1.2],"off_light_line":0.622,"cell_unevenness":1.286,"strand_contrast":0.177,"patch_length":null,"palette":[{"lab":[47.39,27.23,-9.25],"share":1.0}],"dots_percent":0.0,"class":null,"between":["solid","semi-solid"],"mm_per_px":0.083333,"method":"evenness 3","reasons":["few texture lengths"],"difference_shares":null,"light_only":false,"depth_off":0.472,"dots":{"per_dm2":0.0,"mean_mm":0.0,"lab":null},"gradient":null,"off95":0.17,"signature":[{"lab":[47.41,27.23,-9.25],"share":1.0}],"rule":{"rank":0.134723,"plane":0.0101558,"span":0.00952886,"tied":0.0224142,"dots_percent":0.0,"dots_mm":0.0,"tail":0.566638,"reach":0.169991,"ground":1.0,"colours":1,"unevenness":0.918945,"strand_contrast":0.17747,"depth_off":0.471591,"whole":0.925205}}','2','2026-06-01T09:00:06Z',NULL);
INSERT INTO "measurement" VALUES(10,5,5,'new',4,1,42.25,31.5,-8.125,'[[0.1,0.0,0.0],[0.0,0.2,0.0],[0.0,0.0,0.3]]','[[0.2,0.0,0.0],[0.0,0.4,0.0],[0.0,0.0,0.6]]','[[0.3,0.0,0.0],[0.0,0.6,0.0],[0.0,0.0,0.9]]','[[0.4,0.0,0.0],[0.0,0.8,0.0],[0.0,0.0,1.2]]','["glare","scale unknown"]','steps',12000,'{"clipped":0.01}',0.01,0.12,NULL,'{"evenness":1.5}','2','2026-11-26T12:57:37Z',NULL);
INSERT INTO "measurement" VALUES(11,5,5,'other',5,NULL,42.25,31.5,-8.125,'[[0.1,0.0,0.0],[0.0,0.2,0.0],[0.0,0.0,0.3]]','[[0.2,0.0,0.0],[0.0,0.4,0.0],[0.0,0.0,0.6]]','[[0.3,0.0,0.0],[0.0,0.6,0.0],[0.0,0.0,0.9]]','[[0.4,0.0,0.0],[0.0,0.8,0.0],[0.0,0.0,1.2]]','["glare","scale unknown"]','steps',12000,'{"clipped":0.01}',0.01,0.12,NULL,'{"evenness":1.5}','2','2026-11-26T12:57:37Z',NULL);
CREATE TABLE named_class (
    id INTEGER PRIMARY KEY,
    swatch_id INTEGER NOT NULL REFERENCES swatch (id),
    class TEXT CONSTRAINT "class must be solid, semi-solid, variegated, speckled or gradient" CHECK (class IN ('solid', 'semi-solid', 'variegated', 'speckled', 'gradient')),
    named_at TEXT NOT NULL CONSTRAINT "named_at must be a date or time such as 2026-03-01T10:05" CHECK (named_at IS NULL OR (substr(named_at, 1, 10) IS date(substr(named_at, 1, 10), '+0 days') AND datetime(named_at) IS NOT NULL)),
    note TEXT,
    superseded_by INTEGER REFERENCES named_class (id) DEFERRABLE INITIALLY DEFERRED
        CHECK (superseded_by > id)
) STRICT;
INSERT INTO "named_class" VALUES(1,1,'semi-solid','2026-06-01T09:00:08Z','from across the room',2);
INSERT INTO "named_class" VALUES(2,1,'solid','2026-06-01T09:00:09Z',NULL,NULL);
INSERT INTO "named_class" VALUES(3,2,'semi-solid','2026-06-01T09:00:10Z',NULL,NULL);
CREATE TABLE "photo" (
    id INTEGER PRIMARY KEY,
    sha256 TEXT NOT NULL UNIQUE
        CONSTRAINT "sha256 must be 64 hexadecimal digits"
        CHECK (length(sha256) = 64 AND sha256 NOT GLOB '*[^0-9a-f]*'),
    suffix TEXT NOT NULL CHECK (suffix GLOB '.[a-z0-9]*'),
    original_name TEXT,
    bytes INTEGER NOT NULL CONSTRAINT "bytes must be above 0" CHECK (bytes > 0),
    width INTEGER NOT NULL CONSTRAINT "width must be above 0" CHECK (width > 0),
    height INTEGER NOT NULL CONSTRAINT "height must be above 0" CHECK (height > 0),
    format TEXT NOT NULL,
    encoding TEXT NOT NULL,
    taken_at TEXT,
    camera TEXT,
    setup_id INTEGER REFERENCES setup (id),
    light TEXT CONSTRAINT "light must be daylight, other or black light"
        CHECK (light IN ('daylight', 'other', 'black light')),
    added_at TEXT NOT NULL,
    note TEXT
) STRICT;
INSERT INTO "photo" VALUES(1,'a7937b64b8caa58f03721bb6bacf5c78cb235febe0e70b1b84cd99541461a08e','.jpg','IMG_1.JPG',5,1600,1200,'JPEG','sRGB','2026-03-02T11:00:00','a phone',1,'daylight','2026-05-01T10:00:03Z','O''Neill''s window, ½ open');
INSERT INTO "photo" VALUES(2,'018fa96a44715c90bf93be148069cb28dd45d398f2cc75aa1565311f6e55d174','.jpg','white.jpg',5,1600,1200,'JPEG','sRGB','2026-03-02T11:00:00','a phone',NULL,NULL,'2026-05-01T10:00:09Z',NULL);
INSERT INTO "photo" VALUES(3,'f6ece1ce43c16ba9a816889885c1d5d6818551a4be1f29bdbcb97c783a39d764','.jpg','seen.jpg',17,1600,1200,'JPEG','sRGB','2026-03-02T11:00:00','a phone',NULL,'black light','2026-05-01T10:00:12Z',NULL);
INSERT INTO "photo" VALUES(4,'3ba8d02b16fd2a01c1a8ba1a1f036d7ce386ed953696fa57331c2ac48a80b255','.jpg','IMG_7.jpg',5,1600,1200,'JPEG','sRGB','2026-03-01T08:00:00','a phone',NULL,'daylight','2026-06-01T09:00:01Z','by the north window');
INSERT INTO "photo" VALUES(5,'58eef072bcc80695fb7663065e00a20cdf42d9aefd2cb0be8dc486f654af0588','.jpg','pair.jpg',676,1600,1200,'JPEG','sRGB','2026-03-02T11:00:00','a phone',NULL,'daylight','2026-11-26T12:57:37Z',NULL);
CREATE TABLE photo_swatch (
    photo_sha256 TEXT NOT NULL REFERENCES photo (sha256),
    swatch_id INTEGER NOT NULL REFERENCES swatch (id),
    PRIMARY KEY (photo_sha256, swatch_id)
) STRICT;
INSERT INTO "photo_swatch" VALUES('f6ece1ce43c16ba9a816889885c1d5d6818551a4be1f29bdbcb97c783a39d764',1);
CREATE TABLE pot (
    id INTEGER PRIMARY KEY,
    lot_id INTEGER NOT NULL UNIQUE REFERENCES lot (id),
    started_at TEXT CONSTRAINT "started_at must be a date or time such as 2026-03-01T10:05" CHECK (started_at IS NULL OR (substr(started_at, 1, 10) IS date(substr(started_at, 1, 10), '+0 days') AND datetime(started_at) IS NOT NULL)),
    ended_at TEXT CONSTRAINT "ended_at must be a date or time such as 2026-03-01T10:05" CHECK (ended_at IS NULL OR (substr(ended_at, 1, 10) IS date(substr(ended_at, 1, 10), '+0 days') AND datetime(ended_at) IS NOT NULL)),
    planned_from TEXT CONSTRAINT "planned_from must be JSON" CHECK (json_valid(planned_from)),
    bled TEXT,
    handle TEXT,
    success TEXT,
    next_time TEXT
) STRICT;
INSERT INTO "pot" VALUES(1,1,'2026-03-01T10:00',NULL,'{}',NULL,NULL,NULL,NULL);
CREATE TABLE pot_step (
    id INTEGER PRIMARY KEY,
    lot_id INTEGER NOT NULL REFERENCES lot (id),
    position INTEGER NOT NULL,
    at TEXT CONSTRAINT "at must be a date or time such as 2026-03-01T10:05" CHECK (at IS NULL OR (substr(at, 1, 10) IS date(substr(at, 1, 10), '+0 days') AND datetime(at) IS NOT NULL)),
    kind TEXT NOT NULL CHECK (kind IN ('soak', 'dye in', 'acid in', 'salt in', 'levelling agent in', 'other auxiliary in', 'heat', 'hold', 'cool', 'rinse', 'dry', 'look', 'other')),
    recipe_step_id INTEGER REFERENCES recipe_step (id),
    amount TEXT,
    amount_g REAL CONSTRAINT "amount_g must not be below 0" CHECK (amount_g >= 0),
    amount_ml REAL CONSTRAINT "amount_ml must not be below 0" CHECK (amount_ml >= 0),
    temperature_c REAL CONSTRAINT "temperature_c must be between -5 and 110" CHECK (temperature_c BETWEEN -5 AND 110),
    minutes REAL CONSTRAINT "minutes must not be below 0" CHECK (minutes >= 0),
    ph REAL CONSTRAINT "pH must be between 0 and 14" CHECK (ph BETWEEN 0 AND 14),
    colour_left TEXT,
    colour_left_percent REAL CONSTRAINT "colour left must be between 0 and 100 %"
        CHECK (colour_left_percent BETWEEN 0 AND 100),
    note TEXT,
    UNIQUE (lot_id, position)
) STRICT;
INSERT INTO "pot_step" VALUES(1,1,1,'2026-03-01T10:05','dye in',NULL,'100 mL',NULL,100.0,NULL,NULL,6.5,NULL,NULL,NULL);
INSERT INTO "pot_step" VALUES(2,1,2,'2026-03-01T10:45','look',NULL,NULL,NULL,NULL,NULL,NULL,NULL,'15 %',15.0,NULL);
CREATE TABLE recipe (
    id INTEGER PRIMARY KEY,
    colourway_id INTEGER NOT NULL REFERENCES colourway (id),
    base_id INTEGER NOT NULL REFERENCES base (id),
    version INTEGER NOT NULL CONSTRAINT "version must be 1 or more" CHECK (version >= 1),
    parent_id INTEGER REFERENCES recipe (id)
        CONSTRAINT "a recipe cannot come from itself" CHECK (parent_id <> id),
    added_at TEXT NOT NULL,
    note TEXT,
    UNIQUE (colourway_id, base_id, version)
) STRICT;
INSERT INTO "recipe" VALUES(1,1,1,1,NULL,'2026-05-01T10:00:01Z',NULL);
INSERT INTO "recipe" VALUES(2,1,1,2,1,'2026-05-01T10:00:02Z',NULL);
CREATE TABLE recipe_dye (
    id INTEGER PRIMARY KEY,
    recipe_part_id INTEGER NOT NULL REFERENCES recipe_part (id),
    position INTEGER NOT NULL,
    dye_id INTEGER NOT NULL REFERENCES dye (id),
    depth_percent REAL NOT NULL CONSTRAINT "depth_percent must be above 0" CHECK (depth_percent > 0),
    UNIQUE (recipe_part_id, position),
    UNIQUE (recipe_part_id, dye_id)
) STRICT;
INSERT INTO "recipe_dye" VALUES(1,1,1,1,0.8);
INSERT INTO "recipe_dye" VALUES(2,1,2,2,0.2);
INSERT INTO "recipe_dye" VALUES(3,2,1,1,1.0);
CREATE TABLE recipe_part (
    id INTEGER PRIMARY KEY,
    recipe_id INTEGER NOT NULL REFERENCES recipe (id),
    position INTEGER NOT NULL,
    name TEXT NOT NULL COLLATE NOCASE,
    share_percent REAL NOT NULL
        CONSTRAINT "share_percent must be above 0 and at most 100"
        CHECK (share_percent > 0 AND share_percent <= 100),
    note TEXT,
    UNIQUE (recipe_id, position),
    UNIQUE (recipe_id, name)
) STRICT;
INSERT INTO "recipe_part" VALUES(1,1,1,'whole',100.0,NULL);
INSERT INTO "recipe_part" VALUES(2,2,1,'whole',100.0,NULL);
CREATE TABLE recipe_step (
    id INTEGER PRIMARY KEY,
    recipe_part_id INTEGER NOT NULL REFERENCES recipe_part (id),
    position INTEGER NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('soak', 'dye in', 'acid in', 'salt in', 'levelling agent in', 'other auxiliary in', 'heat', 'hold', 'cool', 'rinse', 'dry', 'look', 'other')),
    amount TEXT,
    amount_g REAL CONSTRAINT "amount_g must not be below 0" CHECK (amount_g >= 0),
    amount_ml REAL CONSTRAINT "amount_ml must not be below 0" CHECK (amount_ml >= 0),
    percent_of_goods REAL CONSTRAINT "percent_of_goods must not be below 0" CHECK (percent_of_goods >= 0),
    ml_per_100_g REAL CONSTRAINT "ml_per_100_g must not be below 0" CHECK (ml_per_100_g >= 0),
    temperature_c REAL CONSTRAINT "temperature_c must be between -5 and 110" CHECK (temperature_c BETWEEN -5 AND 110),
    minutes REAL CONSTRAINT "minutes must not be below 0" CHECK (minutes >= 0),
    note TEXT,
    UNIQUE (recipe_part_id, position)
) STRICT;
INSERT INTO "recipe_step" VALUES(1,1,1,'soak',NULL,NULL,NULL,NULL,NULL,NULL,30.0,NULL);
INSERT INTO "recipe_step" VALUES(2,1,2,'acid in','2 %',NULL,NULL,2.0,NULL,NULL,NULL,NULL);
INSERT INTO "recipe_step" VALUES(3,1,3,'salt in','5 mL per 100 g',NULL,NULL,NULL,5.0,NULL,NULL,NULL);
INSERT INTO "recipe_step" VALUES(4,1,4,'hold',NULL,NULL,NULL,NULL,NULL,85.0,30.0,NULL);
CREATE TABLE reference (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL COLLATE NOCASE UNIQUE,
    kind TEXT NOT NULL CHECK (kind IN ('card', 'steps', 'chart24')),
    known_values TEXT CONSTRAINT "known_values must be JSON" CHECK (known_values IS NULL OR json_valid(known_values)),
    tolerance_delta_e REAL CONSTRAINT "tolerance_delta_e must not be below 0" CHECK (tolerance_delta_e >= 0),
    source TEXT,
    note TEXT
) STRICT;
INSERT INTO "reference" VALUES(1,'steps of mine','steps','{"y":[0.9,0.2,0.04]}',0.7,'measured at home','a line broken');
CREATE TABLE renamed (
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL CHECK (kind IN ('colourway', 'lot', 'skein', 'swatch', 'base', 'base_lot', 'dye', 'dye_pack', 'stock', 'setup', 'reference')),
    row_id INTEGER NOT NULL,
    old_name TEXT NOT NULL COLLATE NOCASE,
    new_name TEXT NOT NULL COLLATE NOCASE,
    renamed_at TEXT NOT NULL CONSTRAINT "renamed_at must be a date or time such as 2026-03-01T10:05" CHECK (renamed_at IS NULL OR (substr(renamed_at, 1, 10) IS date(substr(renamed_at, 1, 10), '+0 days') AND datetime(renamed_at) IS NOT NULL))
) STRICT;
INSERT INTO "renamed" VALUES(1,'colourway',2,'Wet slate','Wet slates','2026-11-26T22:27:04Z');
INSERT INTO "renamed" VALUES(2,'stock',2,'S2','S2 spring','2026-11-26T22:27:04Z');
CREATE TABLE repeat_photo (
    repeat_set_id INTEGER NOT NULL REFERENCES repeat_set (id),
    photo_sha256 TEXT NOT NULL REFERENCES photo (sha256),
    PRIMARY KEY (repeat_set_id, photo_sha256)
) STRICT;
INSERT INTO "repeat_photo" VALUES(1,'a7937b64b8caa58f03721bb6bacf5c78cb235febe0e70b1b84cd99541461a08e');
CREATE TABLE repeat_set (
    id INTEGER PRIMARY KEY,
    setup_id INTEGER NOT NULL REFERENCES setup (id),
    learned_at TEXT NOT NULL CONSTRAINT "learned_at must be a date or time such as 2026-03-01T10:05" CHECK (learned_at IS NULL OR (substr(learned_at, 1, 10) IS date(substr(learned_at, 1, 10), '+0 days') AND datetime(learned_at) IS NOT NULL)),
    frame_variance REAL CONSTRAINT "frame_variance must be above 0" CHECK (frame_variance > 0),
    learned TEXT NOT NULL CONSTRAINT "learned must be JSON" CHECK (learned IS NULL OR json_valid(learned)),
    note TEXT
, taken_back_at TEXT CONSTRAINT "taken_back_at must be a date or time such as 2026-03-01T10:05" CHECK (taken_back_at IS NULL OR (substr(taken_back_at, 1, 10) IS date(substr(taken_back_at, 1, 10), '+0 days') AND datetime(taken_back_at) IS NOT NULL))) STRICT;
INSERT INTO "repeat_set" VALUES(1,1,'2026-05-01T10:00:15Z',0.09,'{"cov":[[0.09,0,0],[0,0.09,0],[0,0,0.09]],"capture":"locked set-up"}',NULL,NULL);
INSERT INTO "repeat_set" VALUES(2,1,'2026-11-27T21:33:38Z',0.25,'{"capture":"locked set-up","cov":[[0.25,0,0],[0,0.25,0],[0,0,0.25]],"swatches":["a","b","c","d"],"photos":["0000000000000000000000000000000000000000000000000000000000000000","0000000000000000000000000000000000000000000000000000000000000001","0000000000000000000000000000000000000000000000000000000000000002","0000000000000000000000000000000000000000000000000000000000000003","0000000000000000000000000000000000000000000000000000000000000004","0000000000000000000000000000000000000000000000000000000000000005","0000000000000000000000000000000000000000000000000000000000000006","0000000000000000000000000000000000000000000000000000000000000007","0000000000000000000000000000000000000000000000000000000000000008","0000000000000000000000000000000000000000000000000000000000000009"],"frame_sd":0.5,"smallest_tolerance":2.6,"default_smallest_tolerance":1.9,"k_l":2.0,"one_shot":[]}',NULL,'2026-11-28T01:11:03Z');
CREATE TABLE set_aside (
    id INTEGER PRIMARY KEY,
    photo_id INTEGER NOT NULL REFERENCES photo (id),
    swatch_id INTEGER NOT NULL REFERENCES swatch (id),
    reason TEXT CONSTRAINT "the reason must say something" CHECK (trim(reason) <> ''),
    set_aside_at TEXT NOT NULL CONSTRAINT "set_aside_at must be a date or time such as 2026-03-01T10:05" CHECK (set_aside_at IS NULL OR (substr(set_aside_at, 1, 10) IS date(substr(set_aside_at, 1, 10), '+0 days') AND datetime(set_aside_at) IS NOT NULL)),
    taken_back_at TEXT CONSTRAINT "taken_back_at must be a date or time such as 2026-03-01T10:05" CHECK (taken_back_at IS NULL OR (substr(taken_back_at, 1, 10) IS date(substr(taken_back_at, 1, 10), '+0 days') AND datetime(taken_back_at) IS NOT NULL))
) STRICT;
INSERT INTO "set_aside" VALUES(1,1,2,'lamp was on','2026-11-27T02:24:27Z','2026-11-27T02:24:27Z');
CREATE TABLE setting (
    name TEXT PRIMARY KEY,
    value REAL NOT NULL CONSTRAINT "value must be above 0" CHECK (value > 0)
) STRICT;
INSERT INTO "setting" VALUES('cup_ml',250.0);
CREATE TABLE setup (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL COLLATE NOCASE UNIQUE,
    phone TEXT,
    light TEXT CONSTRAINT "light must be daylight, other or black light"
        CHECK (light IN ('daylight', 'other', 'black light')),
    locked INTEGER CHECK (locked IN (0, 1)),
    reference_id INTEGER REFERENCES reference (id),
    note TEXT
) STRICT;
INSERT INTO "setup" VALUES(1,'window','a phone','daylight',1,1,NULL);
CREATE TABLE skein (
    id INTEGER PRIMARY KEY,
    lot_id INTEGER NOT NULL REFERENCES lot (id),
    base_id INTEGER NOT NULL REFERENCES base (id),
    base_lot_id INTEGER REFERENCES base_lot (id),
    label TEXT NOT NULL COLLATE NOCASE,
    grams_in REAL CONSTRAINT "grams_in must be above 0" CHECK (grams_in > 0),
    grams_out REAL CONSTRAINT "grams_out must be above 0" CHECK (grams_out > 0),
    from_skein_id INTEGER REFERENCES skein (id)
        CONSTRAINT "a skein cannot come from itself" CHECK (from_skein_id <> id),
    note TEXT,
    UNIQUE (lot_id, label),
    UNIQUE (id, lot_id, base_id),
    FOREIGN KEY (lot_id, base_id) REFERENCES lot_base (lot_id, base_id),
    FOREIGN KEY (base_lot_id, base_id) REFERENCES base_lot (id, base_id)
) STRICT;
INSERT INTO "skein" VALUES(1,1,1,NULL,'a',50.0,49.6,NULL,NULL);
INSERT INTO "skein" VALUES(2,1,1,NULL,'b',50.0,49.5,NULL,NULL);
CREATE TABLE stock (
    id INTEGER PRIMARY KEY,
    dye_id INTEGER NOT NULL REFERENCES dye (id),
    dye_pack_id INTEGER REFERENCES dye_pack (id),
    code TEXT NOT NULL COLLATE NOCASE,
    grams REAL NOT NULL CONSTRAINT "grams must be above 0" CHECK (grams > 0),
    made_up_to_ml REAL NOT NULL CONSTRAINT "made_up_to_ml must be above 0" CHECK (made_up_to_ml > 0),
    mixed_on TEXT CONSTRAINT "mixed_on must be a date such as 2026-03-01" CHECK (mixed_on IS date(mixed_on, '+0 days')),
    left_ml REAL CONSTRAINT "left_ml must not be below 0" CHECK (left_ml >= 0),
    left_seen_on TEXT CONSTRAINT "left_seen_on must be a date such as 2026-03-01" CHECK (left_seen_on IS date(left_seen_on, '+0 days')),
    note TEXT,
    UNIQUE (dye_id, code),
    UNIQUE (id, dye_id),
    FOREIGN KEY (dye_pack_id, dye_id) REFERENCES dye_pack (id, dye_id)
) STRICT;
INSERT INTO "stock" VALUES(1,1,1,'S1',2.0,200.0,'2026-02-01',NULL,NULL,NULL);
INSERT INTO "stock" VALUES(2,1,2,'S2 spring',2.0,200.0,NULL,NULL,NULL,NULL);
INSERT INTO "stock" VALUES(3,2,NULL,'S1',1.0,100.0,NULL,NULL,NULL,NULL);
CREATE TABLE struck_step (
    id INTEGER PRIMARY KEY,
    lot_id INTEGER NOT NULL REFERENCES lot (id),
    position INTEGER NOT NULL,
    step TEXT NOT NULL CONSTRAINT "step must be JSON" CHECK (json_valid(step)),
    dyes TEXT NOT NULL CONSTRAINT "dyes must be JSON" CHECK (json_valid(dyes)),
    struck_at TEXT NOT NULL CONSTRAINT "struck_at must be a date or time such as 2026-03-01T10:05" CHECK (struck_at IS NULL OR (substr(struck_at, 1, 10) IS date(substr(struck_at, 1, 10), '+0 days') AND datetime(struck_at) IS NOT NULL))
) STRICT;
INSERT INTO "struck_step" VALUES(1,1,4,'{"kind":"end","at":"2026-03-01T12:30","note":"bled: none; success: yes; next time: less Tarn"}','[]','2026-11-27T18:49:15Z');
INSERT INTO "struck_step" VALUES(2,1,3,'{"kind":"dye in","at":"2026-03-01T11:00:00+00:00","note":"by mistake"}','[{"dye":"Ember","amount":"10 mL","stock":"S1"}]','2026-11-27T18:49:15Z');
CREATE TABLE swatch (
    id INTEGER PRIMARY KEY,
    label TEXT NOT NULL COLLATE NOCASE UNIQUE,
    base_id INTEGER NOT NULL REFERENCES base (id),
    base_lot_id INTEGER REFERENCES base_lot (id),
    lot_id INTEGER REFERENCES lot (id),
    skein_id INTEGER REFERENCES skein (id)
        CONSTRAINT "a swatch of a skein needs its lot"
        CHECK (skein_id IS NULL OR lot_id IS NOT NULL),
    form TEXT NOT NULL
        CONSTRAINT "form must be skein, wound card or knit" CHECK (form IN ('skein', 'wound card', 'knit')),
    dry INTEGER CHECK (dry IN (0, 1)),
    note TEXT,
    FOREIGN KEY (base_lot_id, base_id) REFERENCES base_lot (id, base_id),
    FOREIGN KEY (lot_id, base_id) REFERENCES lot_base (lot_id, base_id),
    FOREIGN KEY (skein_id, lot_id, base_id) REFERENCES skein (id, lot_id, base_id)
) STRICT;
INSERT INTO "swatch" VALUES(1,'sun 1',1,NULL,1,1,'skein',NULL,NULL);
INSERT INTO "swatch" VALUES(2,'sun 2',1,NULL,2,NULL,'skein',NULL,NULL);
INSERT INTO "swatch" VALUES(3,'white 1',1,NULL,NULL,NULL,'skein',NULL,NULL);
INSERT INTO "swatch" VALUES(4,'sun 3',1,NULL,2,NULL,'knit',NULL,NULL);
INSERT INTO "swatch" VALUES(5,'sun 4',1,NULL,2,NULL,'wound card',NULL,NULL);
CREATE INDEX recipe_by_parent ON recipe (parent_id);
CREATE INDEX recipe_by_base ON recipe (base_id);
CREATE INDEX recipe_dye_by_dye ON recipe_dye (dye_id);
CREATE INDEX stock_by_pack ON stock (dye_pack_id);
CREATE INDEX lot_by_colourway ON lot (colourway_id, dyed_on);
CREATE INDEX lot_base_by_base ON lot_base (base_id);
CREATE INDEX lot_dye_by_dye ON lot_dye (dye_id);
CREATE INDEX lot_dye_by_pack ON lot_dye (dye_pack_id);
CREATE INDEX lot_dye_by_stock ON lot_dye (stock_id);
CREATE INDEX pot_step_by_plan ON pot_step (recipe_step_id);
CREATE INDEX skein_by_base_lot ON skein (base_lot_id);
CREATE INDEX skein_by_before ON skein (from_skein_id);
CREATE INDEX swatch_by_lot ON swatch (lot_id);
CREATE INDEX swatch_by_base ON swatch (base_id, form);
CREATE INDEX setup_by_reference ON setup (reference_id);
CREATE INDEX repeat_set_by_setup ON repeat_set (setup_id);
CREATE INDEX repeat_photo_by_photo ON repeat_photo (photo_sha256);
CREATE INDEX photo_swatch_by_swatch ON photo_swatch (swatch_id);
CREATE INDEX master_by_held ON master (colourway_id, base_id, form, since);
CREATE INDEX master_by_swatch ON master (swatch_id);
CREATE INDEX lot_check_by_lot ON lot_check (lot_id, checked_at);
CREATE INDEX lot_check_by_swatch ON lot_check (swatch_id);
CREATE INDEX lot_check_by_master ON lot_check (master_id);
CREATE INDEX lot_check_by_measurement ON lot_check_measurement (measurement_id);
CREATE TRIGGER master_is_not_changed BEFORE UPDATE ON master BEGIN SELECT RAISE(ABORT, 'a row of master is kept as it was: a newer one supersedes it'); END;
CREATE TRIGGER master_is_not_deleted BEFORE DELETE ON master BEGIN SELECT RAISE(ABORT, 'a row of master is kept as it was: a newer one supersedes it'); END;
CREATE TRIGGER lot_check_is_not_changed BEFORE UPDATE ON lot_check BEGIN SELECT RAISE(ABORT, 'a row of lot_check is kept as it was: a newer one supersedes it'); END;
CREATE TRIGGER lot_check_is_not_deleted BEFORE DELETE ON lot_check BEGIN SELECT RAISE(ABORT, 'a row of lot_check is kept as it was: a newer one supersedes it'); END;
CREATE TRIGGER lot_check_measurement_is_not_changed BEFORE UPDATE ON lot_check_measurement BEGIN SELECT RAISE(ABORT, 'a row of lot_check_measurement is kept as it was: a newer one supersedes it'); END;
CREATE TRIGGER lot_check_measurement_is_not_deleted BEFORE DELETE ON lot_check_measurement BEGIN SELECT RAISE(ABORT, 'a row of lot_check_measurement is kept as it was: a newer one supersedes it'); END;
CREATE INDEX master_evenness_by_master ON master_evenness (master_id, stated_at);
CREATE INDEX master_evenness_by_measurement ON master_evenness (measurement_id);
CREATE INDEX evenness_check_by_statement ON evenness_check (master_evenness_id);
CREATE INDEX evenness_check_by_measurement ON evenness_check (measurement_id);
CREATE UNIQUE INDEX named_class_current ON named_class (swatch_id) WHERE superseded_by IS NULL;
CREATE INDEX named_class_by_swatch ON named_class (swatch_id);
CREATE INDEX eye_rule_swatch_by_name ON eye_rule_swatch (named_class_id);
CREATE INDEX eye_rule_swatch_by_measurement ON eye_rule_swatch (measurement_id);
CREATE INDEX eye_class_by_measurement ON eye_class (measurement_id);
CREATE TRIGGER master_evenness_is_not_changed BEFORE UPDATE ON master_evenness BEGIN SELECT RAISE(ABORT, 'a row of master_evenness is kept as it was: a newer one supersedes it'); END;
CREATE TRIGGER master_evenness_is_not_deleted BEFORE DELETE ON master_evenness BEGIN SELECT RAISE(ABORT, 'a row of master_evenness is kept as it was: a newer one supersedes it'); END;
CREATE TRIGGER evenness_check_is_not_changed BEFORE UPDATE ON evenness_check BEGIN SELECT RAISE(ABORT, 'a row of evenness_check is kept as it was: a newer one supersedes it'); END;
CREATE TRIGGER evenness_check_is_not_deleted BEFORE DELETE ON evenness_check BEGIN SELECT RAISE(ABORT, 'a row of evenness_check is kept as it was: a newer one supersedes it'); END;
CREATE TRIGGER named_class_is_not_changed BEFORE UPDATE OF id, swatch_id, class, named_at, note ON named_class BEGIN SELECT RAISE(ABORT, 'a row of named_class is kept as it was: a newer one supersedes it'); END;
CREATE TRIGGER named_class_is_not_deleted BEFORE DELETE ON named_class BEGIN SELECT RAISE(ABORT, 'a row of named_class is kept as it was: a newer one supersedes it'); END;
CREATE TRIGGER named_class_is_superseded_once BEFORE UPDATE OF superseded_by ON named_class WHEN OLD.superseded_by IS NOT NULL BEGIN SELECT RAISE(ABORT, 'a row of named_class is superseded once'); END;
CREATE TRIGGER eye_rule_is_not_changed BEFORE UPDATE OF id, taken_at, method, thresholds, swatches, right_before, right_after, detail ON eye_rule BEGIN SELECT RAISE(ABORT, 'a row of eye_rule is kept as it was: a newer one supersedes it'); END;
CREATE TRIGGER eye_rule_is_not_deleted BEFORE DELETE ON eye_rule BEGIN SELECT RAISE(ABORT, 'a row of eye_rule is kept as it was: a newer one supersedes it'); END;
CREATE TRIGGER eye_rule_is_undone_once BEFORE UPDATE OF undone_at ON eye_rule WHEN OLD.undone_at IS NOT NULL BEGIN SELECT RAISE(ABORT, 'a rule is undone once'); END;
CREATE TRIGGER eye_rule_swatch_is_not_changed BEFORE UPDATE ON eye_rule_swatch BEGIN SELECT RAISE(ABORT, 'a row of eye_rule_swatch is kept as it was: a newer one supersedes it'); END;
CREATE TRIGGER eye_rule_swatch_is_not_deleted BEFORE DELETE ON eye_rule_swatch BEGIN SELECT RAISE(ABORT, 'a row of eye_rule_swatch is kept as it was: a newer one supersedes it'); END;
CREATE INDEX form_sent_by_time ON form_sent (at);
CREATE UNIQUE INDEX layout_current ON layout (photo_id) WHERE superseded_by IS NULL;
CREATE INDEX layout_by_photo ON layout (photo_id);
CREATE INDEX correction_by_layout ON correction (layout_id);
CREATE UNIQUE INDEX measurement_current ON measurement (layout_id, region) WHERE superseded_by IS NULL;
CREATE INDEX measurement_by_swatch ON measurement (swatch_id);
CREATE INDEX measurement_by_version ON measurement (version) WHERE superseded_by IS NULL;
CREATE INDEX measurement_by_method ON measurement (json_extract(tonality, '$.method')) WHERE superseded_by IS NULL;
CREATE INDEX swatch_by_skein ON swatch (skein_id) WHERE skein_id IS NOT NULL;
CREATE INDEX lot_by_recipe ON lot (recipe_id) WHERE recipe_id IS NOT NULL;
CREATE INDEX lot_by_overdyed ON lot (overdyes_lot_id) WHERE overdyes_lot_id IS NOT NULL;
CREATE INDEX photo_by_setup ON photo (setup_id) WHERE setup_id IS NOT NULL;
CREATE TRIGGER layout_is_not_changed BEFORE UPDATE OF id, photo_id, located, marks, added_at ON layout BEGIN SELECT RAISE(ABORT, 'a row of layout is kept as it was: a newer one supersedes it'); END;
CREATE TRIGGER layout_is_not_deleted BEFORE DELETE ON layout BEGIN SELECT RAISE(ABORT, 'a row of layout is kept as it was: a newer one supersedes it'); END;
CREATE TRIGGER layout_is_superseded_once BEFORE UPDATE OF superseded_by ON layout WHEN OLD.superseded_by IS NOT NULL BEGIN SELECT RAISE(ABORT, 'a row of layout is superseded once'); END;
CREATE TRIGGER correction_is_not_changed BEFORE UPDATE ON correction BEGIN SELECT RAISE(ABORT, 'a row of correction is kept as it was: a newer one supersedes it'); END;
CREATE TRIGGER correction_is_not_deleted BEFORE DELETE ON correction BEGIN SELECT RAISE(ABORT, 'a row of correction is kept as it was: a newer one supersedes it'); END;
CREATE TRIGGER measurement_is_not_changed BEFORE UPDATE OF id, layout_id, correction_id, region, swatch_id, dry, lab_l, lab_a, lab_b, cov_region, cov_frame, cov_setup, cov_profile, flags, reference, pixels, left_out, clipped_share, shadow_sd, mm_per_px, tonality, version, measured_at ON measurement BEGIN SELECT RAISE(ABORT, 'a row of measurement is kept as it was: a newer one supersedes it'); END;
CREATE TRIGGER measurement_is_not_deleted BEFORE DELETE ON measurement BEGIN SELECT RAISE(ABORT, 'a row of measurement is kept as it was: a newer one supersedes it'); END;
CREATE TRIGGER measurement_is_superseded_once BEFORE UPDATE OF superseded_by ON measurement WHEN OLD.superseded_by IS NOT NULL BEGIN SELECT RAISE(ABORT, 'a row of measurement is superseded once'); END;
CREATE INDEX renamed_by_old_name ON renamed (kind, old_name);
CREATE INDEX renamed_by_row ON renamed (kind, row_id);
CREATE UNIQUE INDEX set_aside_in_force ON set_aside (photo_id, swatch_id) WHERE taken_back_at IS NULL;
CREATE INDEX set_aside_by_swatch ON set_aside (swatch_id);
CREATE TRIGGER set_aside_is_not_changed BEFORE UPDATE OF id, photo_id, swatch_id, reason, set_aside_at ON set_aside BEGIN SELECT RAISE(ABORT, 'a row of set_aside is kept as it was: it is taken back, and a newer one says otherwise'); END;
CREATE TRIGGER set_aside_is_not_deleted BEFORE DELETE ON set_aside BEGIN SELECT RAISE(ABORT, 'a row of set_aside is kept: it is taken back'); END;
CREATE TRIGGER set_aside_is_taken_back_once BEFORE UPDATE OF taken_back_at ON set_aside WHEN OLD.taken_back_at IS NOT NULL BEGIN SELECT RAISE(ABORT, 'a row of set_aside is taken back once'); END;
CREATE INDEX lot_dye_by_step ON lot_dye (pot_step_id) WHERE pot_step_id IS NOT NULL;
CREATE INDEX struck_step_by_lot ON struck_step (lot_id);
CREATE TRIGGER struck_step_is_not_changed BEFORE UPDATE ON struck_step BEGIN SELECT RAISE(ABORT, 'a row of struck_step is kept as it was'); END;
CREATE TRIGGER struck_step_is_not_deleted BEFORE DELETE ON struck_step BEGIN SELECT RAISE(ABORT, 'a row of struck_step is kept'); END;
CREATE VIEW filed_measurement AS
SELECT measurement.*, layout.photo_id,
    (SELECT sha256 FROM photo WHERE photo.id = layout.photo_id) AS photo_sha256,
    (SELECT provenance FROM correction WHERE correction.id = measurement.correction_id)
        AS provenance
FROM measurement JOIN layout ON layout.id = measurement.layout_id
WHERE measurement.superseded_by IS NULL AND layout.superseded_by IS NULL;
CREATE VIEW current_measurement AS
SELECT filed.* FROM filed_measurement AS filed WHERE NOT EXISTS (SELECT 1 FROM set_aside AS aside WHERE aside.taken_back_at IS NULL
    AND aside.photo_id = filed.photo_id AND aside.swatch_id = filed.swatch_id);
CREATE VIEW measurements_set_aside AS
SELECT swatch.label AS swatch, photo.original_name AS photo, m.region, aside.reason,
    aside.set_aside_at, m.lab_l, m.lab_a, m.lab_b, photo.taken_at, photo.sha256 AS photo_sha256,
    m.id AS measurement_id, m.swatch_id
FROM (SELECT * FROM set_aside AS aside WHERE aside.taken_back_at IS NULL) AS aside CROSS JOIN filed_measurement AS m ON m.swatch_id = aside.swatch_id AND m.photo_id = aside.photo_id
JOIN photo ON photo.id = m.photo_id JOIN swatch ON swatch.id = m.swatch_id;
CREATE VIEW colours AS
SELECT swatch.label AS swatch, colourway.name AS colourway, base.name AS base, lot.code AS lot,
    skein.label AS skein, swatch.form, COALESCE(m.dry, swatch.dry) AS dry,
    m.lab_l, m.lab_a, m.lab_b, json_extract(m.cov_region, '$[0][0]') + json_extract(m.cov_frame, '$[0][0]') + json_extract(m.cov_setup, '$[0][0]') + json_extract(m.cov_profile, '$[0][0]') AS variance_l,
    json_extract(m.cov_region, '$[1][1]') + json_extract(m.cov_frame, '$[1][1]') + json_extract(m.cov_setup, '$[1][1]') + json_extract(m.cov_profile, '$[1][1]') AS variance_a, json_extract(m.cov_region, '$[2][2]') + json_extract(m.cov_frame, '$[2][2]') + json_extract(m.cov_setup, '$[2][2]') + json_extract(m.cov_profile, '$[2][2]') AS variance_b,
    m.reference, (SELECT group_concat(value, '; ') FROM json_each(m.flags)) AS flags, m.shadow_sd, m.clipped_share,
    photo.taken_at, setup.name AS setup, setup.locked, COALESCE(photo.light, setup.light) AS light,
    m.region, photo.sha256 AS photo_sha256, m.version, m.measured_at, m.id AS measurement_id,
    swatch.id AS swatch_id
FROM current_measurement AS m
JOIN photo ON photo.id = m.photo_id
JOIN swatch ON swatch.id = m.swatch_id
JOIN base ON base.id = swatch.base_id
LEFT JOIN setup ON setup.id = photo.setup_id
LEFT JOIN lot ON lot.id = swatch.lot_id
LEFT JOIN skein ON skein.id = swatch.skein_id
LEFT JOIN colourway ON colourway.id = lot.colourway_id;
CREATE VIEW latest_colours AS
SELECT colours.*, spoken.place FROM (SELECT swatch_id, id, row_number() OVER (PARTITION BY swatch_id
    ORDER BY fit DESC, doubt <= 1.2100 * least DESC, at DESC, id DESC) AS place
FROM (SELECT *, min(doubt) OVER (PARTITION BY swatch_id, fit) AS least
    FROM (SELECT m.swatch_id, m.id, json_extract(m.cov_region, '$[0][0]') + json_extract(m.cov_frame, '$[0][0]') + json_extract(m.cov_setup, '$[0][0]') + json_extract(m.cov_profile, '$[0][0]') + json_extract(m.cov_region, '$[1][1]') + json_extract(m.cov_frame, '$[1][1]') + json_extract(m.cov_setup, '$[1][1]') + json_extract(m.cov_profile, '$[1][1]') + json_extract(m.cov_region, '$[2][2]') + json_extract(m.cov_frame, '$[2][2]') + json_extract(m.cov_setup, '$[2][2]') + json_extract(m.cov_profile, '$[2][2]') AS doubt, 4 * (m.version = (SELECT version FROM measurement WHERE superseded_by IS NULL ORDER BY id DESC LIMIT 1)) + 2 * (NOT EXISTS (SELECT 1 FROM swatch JOIN pot_step AS step ON step.lot_id = swatch.lot_id WHERE swatch.id = m.swatch_id AND step.kind = 'dye in' AND length(step.at) > 10 AND CASE WHEN COALESCE(substr(photo.taken_at, 17) GLOB '*[-+Z]*', 0) = COALESCE(substr(step.at, 17) GLOB '*[-+Z]*', 0) THEN datetime(photo.taken_at) < datetime(step.at) ELSE datetime(photo.taken_at, CASE WHEN COALESCE(substr(photo.taken_at, 17) GLOB '*[-+Z]*', 0) THEN 'localtime' ELSE '+0 days' END) < datetime(step.at, CASE WHEN COALESCE(substr(step.at, 17) GLOB '*[-+Z]*', 0) THEN 'localtime' ELSE '+0 days' END) END)) + (instr(m.flags, '"card unlike its value"') + instr(m.flags, '"clipped beyond use"') + instr(m.flags, '"hardly any colour"') + instr(m.flags, '"no reference"') + instr(m.flags, '"picture by this program"') + instr(m.flags, '"reference far off"') + instr(m.flags, '"steps not in order"') + instr(m.flags, '"steps unlike a photo"') = 0 AND NOT (COALESCE(m.dry, (SELECT dry FROM swatch WHERE swatch.id = m.swatch_id)) IS 0 OR COALESCE(instr(m.flags, '"not dry"'), 0) > 0)) AS fit,
        COALESCE(photo.taken_at, photo.added_at) AS at
        FROM current_measurement AS m JOIN photo ON photo.id = m.photo_id
        WHERE m.swatch_id IS NOT NULL AND 1))) AS spoken
JOIN colours ON colours.measurement_id = spoken.id WHERE spoken.place = 1;
CREATE VIEW current_masters AS
SELECT colourway.name AS colourway, base.name AS base, ranked.form, swatch.label AS swatch,
    ranked.tolerance, ranked.k_l, ranked.since, ranked.reason,
    even.unevenness, even.u_unevenness, even.tolerance AS evenness_tolerance,
    ranked.id AS master_id, ranked.swatch_id, ranked.colourway_id, ranked.base_id
FROM (SELECT master.*, row_number() OVER (PARTITION BY colourway_id, base_id, form
    ORDER BY since DESC, id DESC) AS newest FROM master) AS ranked
JOIN colourway ON colourway.id = ranked.colourway_id
JOIN base ON base.id = ranked.base_id
JOIN swatch ON swatch.id = ranked.swatch_id
LEFT JOIN master_evenness AS even ON even.id = (SELECT max(stated.id) FROM master_evenness AS stated
    JOIN master AS told ON told.id = stated.master_id WHERE told.swatch_id = ranked.swatch_id
    AND told.colourway_id = ranked.colourway_id AND told.base_id = ranked.base_id
    AND told.form = ranked.form)
WHERE ranked.newest = 1 AND EXISTS (SELECT 1 FROM swatch AS its JOIN lot AS its_lot ON its_lot.id = its.lot_id WHERE its.id = ranked.swatch_id AND its.base_id = ranked.base_id AND its.form = ranked.form AND its_lot.colourway_id = ranked.colourway_id);
CREATE VIEW lots_against_master AS
SELECT held.colourway, held.base, held.form, lot.code AS lot, lot.dyed_on, swatch.label AS swatch,
    held.swatch AS master_swatch, held.tolerance, held.k_l,
    given.verdict AS last_verdict, round(given.delta_e_00, 2) AS delta_e_00,
    round(given.u_reading, 2) AS u_reading, given.words AS which_way,
    round(given.delta_l, 2) AS delta_l, round(given.delta_c, 2) AS delta_c,
    round(given.delta_h, 2) AS delta_h, given.capture AS photos, given.checked_at,
    tonal.verdict AS last_evenness
FROM current_masters AS held
JOIN lot ON lot.colourway_id = held.colourway_id
JOIN swatch ON swatch.lot_id = lot.id AND +swatch.base_id = held.base_id
    AND +swatch.form = held.form AND swatch.id <> held.swatch_id
LEFT JOIN lot_check AS given ON given.id = (SELECT id FROM lot_check AS c
    WHERE c.swatch_id = swatch.id AND c.master_swatch_id = held.swatch_id
    ORDER BY c.checked_at DESC, c.id DESC LIMIT 1)
LEFT JOIN evenness_check AS tonal ON tonal.lot_check_id = given.id;
CREATE VIEW checks_given AS
SELECT c.checked_at, lot.code AS lot, swatch.label AS swatch, held.label AS master_swatch,
    c.verdict, c.delta_e_00, c.tolerance, c.k_l, c.delta_l, c.delta_c, c.delta_h, c.u_reading,
    c.u_at_tolerance, c.capture, c.same_dyes, c.words, c.id AS lot_check_id
FROM lot_check AS c
JOIN swatch ON swatch.id = c.swatch_id
JOIN swatch AS held ON held.id = c.master_swatch_id
LEFT JOIN lot ON lot.id = c.lot_id;
CREATE VIEW how_even AS
SELECT swatch.label AS swatch, colourway.name AS colourway, base.name AS base,
    lot.code AS lot, swatch.form, json_extract(m.tonality, '$.class') AS class,
    CASE WHEN m.tonality IS NULL OR json_extract(m.tonality, '$.class') IS NOT NULL THEN NULL
        WHEN EXISTS (SELECT 1 FROM json_each(m.flags) WHERE value IN ('evenness not judged', 'out of focus', 'perhaps two swatches', 'scale doubtful', 'too little yarn for evenness')) THEN 'cannot be judged in this photo'
        ELSE (SELECT group_concat(value, ' or ') FROM json_each(m.tonality, '$.between'))
        END AS cannot_tell,
    CASE WHEN by_eye.measurement_id IS NOT NULL THEN COALESCE(by_eye.class, 'cannot tell') END
        AS by_your_eyes_rule, named.class AS you_named_it, json_extract(m.tonality, '$.unevenness') AS unevenness, json_extract(m.tonality, '$.u_unevenness') AS u_unevenness, json_extract(m.tonality, '$.off_light_line') AS off_light_line, json_extract(m.tonality, '$.cell_unevenness') AS cell_unevenness, json_extract(m.tonality, '$.strand_contrast') AS strand_contrast, json_extract(m.tonality, '$.patch_length') AS patch_length, json_extract(m.tonality, '$.dots_percent') AS dots_percent,
    json_extract(m.tonality, '$.range[0]') AS range_low,
    json_extract(m.tonality, '$.range[1]') AS range_high,
    json_array_length(m.tonality, '$.palette') AS colours,
    json_extract(m.tonality, '$.method') AS method, photo.taken_at, m.id AS measurement_id,
    swatch.id AS swatch_id
FROM (SELECT swatch_id, id, row_number() OVER (PARTITION BY swatch_id
    ORDER BY fit DESC, doubt <= 1.2100 * least DESC, at DESC, id DESC) AS place
FROM (SELECT *, min(doubt) OVER (PARTITION BY swatch_id, fit) AS least
    FROM (SELECT m.swatch_id, m.id, CASE WHEN COALESCE(json_extract(m.tonality, '$.unevenness') >= 0 AND json_extract(m.tonality, '$.u_unevenness') > 0, 0) AND instr(m.flags, '"clipped beyond use"') + instr(m.flags, '"evenness not judged"') + instr(m.flags, '"out of focus"') + instr(m.flags, '"perhaps two swatches"') + instr(m.flags, '"photo too dark"') + instr(m.flags, '"scale doubtful"') + instr(m.flags, '"scale estimated"') + instr(m.flags, '"too little yarn for evenness"') = 0 AND COALESCE(instr(json_extract(m.tonality, '$.between'), '"variegated"'), 0) = 0 THEN json_extract(m.tonality, '$.u_unevenness') * json_extract(m.tonality, '$.u_unevenness') / (json_extract(m.tonality, '$.unevenness') + 0.02) END AS doubt, 8 * (NOT EXISTS (SELECT 1 FROM swatch JOIN pot_step AS step ON step.lot_id = swatch.lot_id WHERE swatch.id = m.swatch_id AND step.kind = 'dye in' AND length(step.at) > 10 AND CASE WHEN COALESCE(substr(photo.taken_at, 17) GLOB '*[-+Z]*', 0) = COALESCE(substr(step.at, 17) GLOB '*[-+Z]*', 0) THEN datetime(photo.taken_at) < datetime(step.at) ELSE datetime(photo.taken_at, CASE WHEN COALESCE(substr(photo.taken_at, 17) GLOB '*[-+Z]*', 0) THEN 'localtime' ELSE '+0 days' END) < datetime(step.at, CASE WHEN COALESCE(substr(step.at, 17) GLOB '*[-+Z]*', 0) THEN 'localtime' ELSE '+0 days' END) END)) + 4 * (COALESCE(json_extract(m.tonality, '$.unevenness') >= 0 AND json_extract(m.tonality, '$.u_unevenness') > 0, 0) AND instr(m.flags, '"clipped beyond use"') + instr(m.flags, '"evenness not judged"') + instr(m.flags, '"out of focus"') + instr(m.flags, '"perhaps two swatches"') + instr(m.flags, '"photo too dark"') + instr(m.flags, '"scale doubtful"') + instr(m.flags, '"scale estimated"') + instr(m.flags, '"too little yarn for evenness"') = 0 AND COALESCE(instr(json_extract(m.tonality, '$.between'), '"variegated"'), 0) = 0) + 2 * (json_extract(m.tonality, '$.method') IS (SELECT json_extract(tonality, '$.method') FROM measurement WHERE superseded_by IS NULL AND tonality IS NOT NULL ORDER BY id DESC LIMIT 1)) + NOT (COALESCE(m.dry, (SELECT dry FROM swatch WHERE swatch.id = m.swatch_id)) IS 0 OR COALESCE(instr(m.flags, '"not dry"'), 0) > 0) AS fit,
        COALESCE(photo.taken_at, photo.added_at) AS at
        FROM current_measurement AS m JOIN photo ON photo.id = m.photo_id
        WHERE m.swatch_id IS NOT NULL AND 1))) AS spoken
JOIN measurement AS m ON m.id = spoken.id
JOIN layout ON layout.id = m.layout_id
JOIN photo ON photo.id = layout.photo_id
JOIN swatch ON swatch.id = spoken.swatch_id
JOIN base ON base.id = swatch.base_id
LEFT JOIN lot ON lot.id = swatch.lot_id
LEFT JOIN colourway ON colourway.id = lot.colourway_id
LEFT JOIN named_class AS named ON named.swatch_id = swatch.id AND named.superseded_by IS NULL
LEFT JOIN eye_class AS by_eye ON by_eye.measurement_id = m.id AND by_eye.eye_rule_id = (
    SELECT id FROM eye_rule WHERE undone_at IS NULL ORDER BY id DESC LIMIT 1)
WHERE spoken.place = 1;
CREATE VIEW evenness_checks_given AS
SELECT c.checked_at, lot.code AS lot, swatch.label AS swatch, held.label AS master_swatch,
    given.verdict, given.unevenness, given.u_unevenness, stated.unevenness AS master_unevenness,
    stated.u_unevenness AS u_master_unevenness, given.tolerance, given.p_as, given.p_more,
    given.p_less, given.method, given.words, given.lot_check_id
FROM evenness_check AS given
JOIN lot_check AS c ON c.id = given.lot_check_id
JOIN master_evenness AS stated ON stated.id = given.master_evenness_id
JOIN swatch ON swatch.id = c.swatch_id
JOIN swatch AS held ON held.id = c.master_swatch_id
LEFT JOIN lot ON lot.id = c.lot_id;
CREATE VIEW lots AS
SELECT lot.code AS lot, colourway.name AS colourway, (SELECT group_concat(base.name, ', ') FROM lot_base JOIN base ON base.id = lot_base.base_id WHERE lot_base.lot_id = lot.id) AS bases, lot.dyed_on,
    CASE WHEN lot.dyed_on IS NULL THEN COALESCE(lot.dyed_on, (SELECT min(COALESCE(substr(photo.taken_at, 1, 10), date(photo.added_at, 'localtime'))) FROM swatch JOIN current_measurement AS m ON m.swatch_id = swatch.id JOIN photo ON photo.id = m.photo_id WHERE swatch.lot_id = lot.id)) END AS first_photo_on,
    recipe.version AS recipe_version, lot.dry_g, lot.liquor_ml,
    round(lot.liquor_ml / lot.dry_g, 1) AS liquor_ratio, lot.water, earlier.code AS overdyes,
    (SELECT count(*) FROM skein WHERE skein.lot_id = lot.id) AS skeins,
    (SELECT count(*) FROM swatch WHERE swatch.lot_id = lot.id) AS swatches, lot.note,
    lot.id AS lot_id
FROM lot
LEFT JOIN colourway ON colourway.id = lot.colourway_id
LEFT JOIN recipe ON recipe.id = lot.recipe_id
LEFT JOIN lot AS earlier ON earlier.id = lot.overdyes_lot_id;
CREATE VIEW skeins AS
SELECT lot.code AS lot, skein.label AS skein, colourway.name AS colourway, base.name AS base,
    base_lot.label AS base_lot, skein.grams_in, skein.grams_out,
    round(100.0 * (skein.grams_in - COALESCE(skein.grams_out, (SELECT CASE WHEN count(*) = count(piece.grams_out) THEN sum(piece.grams_out) END FROM skein AS piece WHERE piece.from_skein_id = skein.id AND piece.lot_id = skein.lot_id AND piece.grams_in IS NULL))) / skein.grams_in, 2)
    AS lost_percent,
    before_lot.code AS was_lot, before.label AS was_skein, skein.note, skein.id AS skein_id
FROM skein
JOIN lot ON lot.id = skein.lot_id
JOIN base ON base.id = skein.base_id
LEFT JOIN colourway ON colourway.id = lot.colourway_id
LEFT JOIN base_lot ON base_lot.id = skein.base_lot_id
LEFT JOIN skein AS before ON before.id = skein.from_skein_id
LEFT JOIN lot AS before_lot ON before_lot.id = before.lot_id;
CREATE VIEW recipes AS
SELECT colourway.name AS colourway, base.name AS base, recipe.version,
    parent.version AS from_version, part.name AS part, part.share_percent, dye.name AS dye,
    line.depth_percent, recipe.note, recipe.id AS recipe_id
FROM recipe
JOIN colourway ON colourway.id = recipe.colourway_id
JOIN base ON base.id = recipe.base_id
LEFT JOIN recipe AS parent ON parent.id = recipe.parent_id
LEFT JOIN recipe_part AS part ON part.recipe_id = recipe.id
LEFT JOIN recipe_dye AS line ON line.recipe_part_id = part.id
LEFT JOIN dye ON dye.id = line.dye_id
ORDER BY colourway.name, base.name, recipe.version, part.position, line.position;
CREATE VIEW recipe_plans AS
SELECT colourway.name AS colourway, base.name AS base, recipe.version, part.name AS part,
    step.position AS step, step.kind, step.amount, step.temperature_c, step.minutes, step.note,
    recipe.id AS recipe_id
FROM recipe_step AS step
JOIN recipe_part AS part ON part.id = step.recipe_part_id
JOIN recipe ON recipe.id = part.recipe_id
JOIN colourway ON colourway.id = recipe.colourway_id
JOIN base ON base.id = recipe.base_id
ORDER BY colourway.name, base.name, recipe.version, part.position, step.position;
CREATE VIEW pot_logs AS
SELECT lot.code AS lot, step.position AS step, step.at, step.kind, step.amount, step.amount_g,
    step.amount_ml, step.temperature_c, step.minutes, step.ph, step.colour_left,
    step.colour_left_percent, step.note, lot.id AS lot_id
FROM pot_step AS step JOIN lot ON lot.id = step.lot_id
ORDER BY lot.dyed_on, lot.code, step.position;
CREATE VIEW dyes_used AS
SELECT lot.code AS lot, colourway.name AS colourway, lot.dyed_on, dye.name AS dye,
    pack.code AS pack, stock.code AS stock, used.amount, used.amount_ml, used.amount_g,
    used.dye_g, lot.dry_g,
    100.0 * used.dye_g / lot.dry_g AS depth_percent,
    (SELECT sum(line.depth_percent * part.share_percent / 100.0) FROM recipe_part AS part
        JOIN recipe_dye AS line ON line.recipe_part_id = part.id
        WHERE part.recipe_id = lot.recipe_id AND line.dye_id = used.dye_id)
        AS planned_depth_percent,
    lot.id AS lot_id
FROM (SELECT * FROM lot_dye WHERE COALESCE(dye_g, amount_g, amount_ml) IS NOT 0) AS used
JOIN lot ON lot.id = used.lot_id
JOIN dye ON dye.id = used.dye_id
LEFT JOIN colourway ON colourway.id = lot.colourway_id
LEFT JOIN stock ON stock.id = used.stock_id
LEFT JOIN dye_pack AS pack ON pack.id = COALESCE(used.dye_pack_id, stock.dye_pack_id)
ORDER BY lot.dyed_on, lot.code, used.position;
CREATE VIEW shades_made AS
SELECT lot.code AS lot, colourway.name AS colourway, (SELECT group_concat(base.name, ', ') FROM lot_base JOIN base ON base.id = lot_base.base_id WHERE lot_base.lot_id = lot.id) AS bases, lot.dyed_on,
    (SELECT group_concat(dye || ' ' || COALESCE(round(depth_percent, 3) || ' %', '?'), ', ')
        FROM dyes_used WHERE dyes_used.lot_id = lot.id) AS dyes,
    (SELECT CASE WHEN count(*) = count(dye_g) THEN 100.0 * sum(dye_g) / lot.dry_g END
        FROM lot_dye WHERE lot_dye.lot_id = lot.id) AS depth_percent,
    swatch.label AS swatch, swatch.form, m.lab_l, m.lab_a, m.lab_b, (SELECT group_concat(value, '; ') FROM json_each(m.flags)) AS flags
FROM lot
LEFT JOIN colourway ON colourway.id = lot.colourway_id
LEFT JOIN swatch ON swatch.lot_id = lot.id AND EXISTS (SELECT 1 FROM current_measurement AS seen
    WHERE seen.swatch_id = swatch.id)
LEFT JOIN measurement AS m ON m.id = (SELECT id FROM (SELECT swatch_id, id, row_number() OVER (PARTITION BY swatch_id
    ORDER BY fit DESC, doubt <= 1.2100 * least DESC, at DESC, id DESC) AS place
FROM (SELECT *, min(doubt) OVER (PARTITION BY swatch_id, fit) AS least
    FROM (SELECT m.swatch_id, m.id, json_extract(m.cov_region, '$[0][0]') + json_extract(m.cov_frame, '$[0][0]') + json_extract(m.cov_setup, '$[0][0]') + json_extract(m.cov_profile, '$[0][0]') + json_extract(m.cov_region, '$[1][1]') + json_extract(m.cov_frame, '$[1][1]') + json_extract(m.cov_setup, '$[1][1]') + json_extract(m.cov_profile, '$[1][1]') + json_extract(m.cov_region, '$[2][2]') + json_extract(m.cov_frame, '$[2][2]') + json_extract(m.cov_setup, '$[2][2]') + json_extract(m.cov_profile, '$[2][2]') AS doubt, 4 * (m.version = (SELECT version FROM measurement WHERE superseded_by IS NULL ORDER BY id DESC LIMIT 1)) + 2 * (NOT EXISTS (SELECT 1 FROM swatch JOIN pot_step AS step ON step.lot_id = swatch.lot_id WHERE swatch.id = m.swatch_id AND step.kind = 'dye in' AND length(step.at) > 10 AND CASE WHEN COALESCE(substr(photo.taken_at, 17) GLOB '*[-+Z]*', 0) = COALESCE(substr(step.at, 17) GLOB '*[-+Z]*', 0) THEN datetime(photo.taken_at) < datetime(step.at) ELSE datetime(photo.taken_at, CASE WHEN COALESCE(substr(photo.taken_at, 17) GLOB '*[-+Z]*', 0) THEN 'localtime' ELSE '+0 days' END) < datetime(step.at, CASE WHEN COALESCE(substr(step.at, 17) GLOB '*[-+Z]*', 0) THEN 'localtime' ELSE '+0 days' END) END)) + (instr(m.flags, '"card unlike its value"') + instr(m.flags, '"clipped beyond use"') + instr(m.flags, '"hardly any colour"') + instr(m.flags, '"no reference"') + instr(m.flags, '"picture by this program"') + instr(m.flags, '"reference far off"') + instr(m.flags, '"steps not in order"') + instr(m.flags, '"steps unlike a photo"') = 0 AND NOT (COALESCE(m.dry, (SELECT dry FROM swatch WHERE swatch.id = m.swatch_id)) IS 0 OR COALESCE(instr(m.flags, '"not dry"'), 0) > 0)) AS fit,
        COALESCE(photo.taken_at, photo.added_at) AS at
        FROM current_measurement AS m JOIN photo ON photo.id = m.photo_id
        WHERE m.swatch_id IS NOT NULL AND m.swatch_id = swatch.id))) WHERE place = 1);
CREATE VIEW stocks AS
SELECT dye.name AS dye, stock.code AS stock, pack.code AS pack,
    100.0 * stock.grams / stock.made_up_to_ml AS strength_percent, stock.grams,
    stock.made_up_to_ml, stock.mixed_on, stock.left_ml AS left_seen_ml, stock.left_seen_on,
    COALESCE(stock.left_ml, stock.made_up_to_ml)
        - COALESCE((SELECT sum(ml) FROM (SELECT poured.*,
    stock.left_ml IS NOT NULL AND (stock.left_seen_on IS NULL OR day IS NULL) AS unplaced
FROM (SELECT used.stock_id, lot.id AS lot_id, lot.code,
        COALESCE(used.amount_ml, used.amount_g) AS ml,
        COALESCE(date(datetime(step.at, CASE WHEN COALESCE(substr(step.at, 17) GLOB '*[-+Z]*', 0) THEN 'localtime' ELSE '+0 days' END)), COALESCE(lot.dyed_on, (SELECT min(COALESCE(substr(photo.taken_at, 1, 10), date(photo.added_at, 'localtime'))) FROM swatch JOIN current_measurement AS m ON m.swatch_id = swatch.id JOIN photo ON photo.id = m.photo_id WHERE swatch.lot_id = lot.id))) AS day
    FROM lot_dye AS used JOIN lot ON lot.id = used.lot_id
    LEFT JOIN pot_step AS step ON step.id = used.pot_step_id) AS poured
JOIN stock ON stock.id = poured.stock_id
WHERE stock.left_ml IS NULL OR COALESCE(day > stock.left_seen_on, 1)) WHERE stock_id = stock.id), 0) AS left_ml,
    stock.note, stock.id AS stock_id
FROM stock
JOIN dye ON dye.id = stock.dye_id
LEFT JOIN dye_pack AS pack ON pack.id = stock.dye_pack_id;
CREATE VIEW photos AS
SELECT photo.original_name AS photo, photo.taken_at, photo.camera, photo.width, photo.height,
    photo.format, photo.encoding, setup.name AS setup, COALESCE(photo.light, setup.light) AS light,
    setup.locked, layout.located,
    (SELECT group_concat(swatch, ', ') FROM colours WHERE colours.photo_sha256 = photo.sha256)
        AS swatches,
    (SELECT group_concat(swatch, ', ') FROM measurements_set_aside AS aside
        WHERE aside.photo_sha256 = photo.sha256) AS set_aside,
    photo.note, photo.added_at, photo.sha256
FROM photo
LEFT JOIN setup ON setup.id = photo.setup_id
LEFT JOIN layout ON layout.photo_id = photo.id AND layout.superseded_by IS NULL;
CREATE VIEW undyed_over_time AS
SELECT colours.base, base_lot.label AS base_lot, base_lot.received_on, colours.swatch, colours.form,
    colours.taken_at, colours.lab_l, colours.lab_a, colours.lab_b, colours.setup, colours.flags
FROM colours
JOIN swatch ON swatch.id = colours.swatch_id
LEFT JOIN base_lot ON base_lot.id = swatch.base_lot_id
WHERE swatch.lot_id IS NULL
ORDER BY colours.base, COALESCE(colours.taken_at, colours.measured_at);
CREATE VIEW what_followed AS
SELECT 'recipe' AS kind, colourway.name || ' on ' || base.name AS name,
    'version ' || parent.version AS earlier, 'version ' || recipe.version AS later,
    recipe.added_at AS at
FROM recipe JOIN recipe AS parent ON parent.id = recipe.parent_id
JOIN colourway ON colourway.id = recipe.colourway_id JOIN base ON base.id = recipe.base_id
UNION ALL SELECT 'lot of a recipe', colourway.name || ' on ' || base.name,
    'version ' || recipe.version, lot.code, lot.dyed_on
FROM lot JOIN recipe ON recipe.id = lot.recipe_id
JOIN colourway ON colourway.id = recipe.colourway_id JOIN base ON base.id = recipe.base_id
UNION ALL SELECT 'overdyed lot', colourway.name, earlier.code, lot.code, lot.dyed_on
FROM lot JOIN lot AS earlier ON earlier.id = lot.overdyes_lot_id
LEFT JOIN colourway ON colourway.id = lot.colourway_id
UNION ALL SELECT 'skein', lot.code, before_lot.code || ' ' || before.label,
    lot.code || ' ' || skein.label, lot.dyed_on
FROM skein JOIN skein AS before ON before.id = skein.from_skein_id
JOIN lot ON lot.id = skein.lot_id JOIN lot AS before_lot ON before_lot.id = before.lot_id
UNION ALL SELECT 'master', colourway.name || ' on ' || base.name || ', ' || ranked.form,
    earlier.label, swatch.label, ranked.since
FROM (SELECT master.*, lag(swatch_id) OVER (PARTITION BY colourway_id, base_id, form
    ORDER BY since, id) AS earlier_id FROM master) AS ranked
JOIN colourway ON colourway.id = ranked.colourway_id JOIN base ON base.id = ranked.base_id
JOIN swatch ON swatch.id = ranked.swatch_id
JOIN swatch AS earlier ON earlier.id = ranked.earlier_id;
COMMIT;

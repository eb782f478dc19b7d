"""Notes beside photos: what is read, and every mistake in its words."""

import pytest

from swatchvault.archive import (
    Base,
    BaseLot,
    Colourway,
    Dye,
    DyeIn,
    DyePack,
    Lot,
    Master,
    Notes,
    OwnedReference,
    PhotoNote,
    PlannedDye,
    PlannedStep,
    PotStep,
    Recipe,
    RecipePart,
    Setup,
    Skein,
    Stock,
)
from swatchvault.errors import SwatchvaultError
from swatchvault.notes import read_notes

STUDIO = """
[[base]]
name = "Lumme"
fibres = {wool = 80, silk = 20}
superwash = true
construction = "3 ply"
halo = "slight"
price_per_kg = 48
note = "soft"

[[base_lot]]
base = "Lumme"
label = "2026-01"
received_on = 2026-01-15

[[dye]]
name = "Ember"
family = "levelling acid"

[[dye_pack]]
dye = "Ember"
code = "E1"
opened_on = "2026-01-05"

[[stock]]
dye = "Ember"
code = "S1"
pack = "E1"
grams = 2
made_up_to_ml = 200.0
mixed_on = 2026-02-01

[[colourway]]
name = "Low sun"

[[recipe]]
colourway = "Low sun"
base = "Lumme"
version = 2
parent = 1
parts = [
  {name = "whole", share_percent = 100, dyes = [{dye = "Ember", depth_percent = 0.8}], steps = [
    {kind = "acid in", amount = "12 mL", temperature_c = 60, minutes = 5},
  ]},
]

[[lot]]
code = "L1"
base = "Lumme"
colourway = "Low sun"
recipe_version = 2
dyed_on = 2026-03-01
dry_g = 100
liquor_ml = 3000
water = "tap"
dyes_in = [{dye = "Ember", pack = "E1", stock = "S1", amount = "80 mL"}]
steps = [
  {at = 2026-03-01T10:05:00, kind = "dye in", amount = "80 mL", temperature_c = 40, ph = 5.5},
  {at = "2026-03-01T10:45", kind = "look", colour_left = "some", note = "clear soon"},
]
skeins = [{label = "a", grams_in = 50, grams_out = 49.5}]

[[lot]]
code = "L2"
base = ["Lumme", "Torva"]

[[reference]]
name = "steps"
kind = "steps"
y = [0.9, 0.2, 0.04]

[[reference]]
name = "card"
kind = "card"
lab_d50 = [50, 0, 0.5]

[[setup]]
name = "window"
phone = "old phone"
locked = true

[[master]]
colourway = "Low sun"
base = "Lumme"
form = "skein"
swatch = "sun 1"
tolerance = 1.5
k_l = 2
reason = "first"
since = 2026-03-02

[[photo]]
photo = "9.jpg"
swatch = "sun 1"
locked = true
"""

READ = Notes(
    bases=(Base("Lumme", {"wool": 80.0, "silk": 20.0}, True, "3 ply", "slight", 48.0, "soft"),),
    base_lots=(BaseLot("Lumme", "2026-01", "2026-01-15"),),
    dyes=(Dye("Ember", "levelling acid"),),
    packs=(DyePack("Ember", "E1", "2026-01-05"),),
    stocks=(Stock("Ember", "S1", 2.0, 200.0, "E1", "2026-02-01"),),
    colourways=(Colourway("Low sun"),),
    recipes=(
        Recipe(
            "Low sun",
            "Lumme",
            2,
            1,
            (
                RecipePart(
                    "whole",
                    100.0,
                    (PlannedDye("Ember", 0.8),),
                    (PlannedStep("acid in", "12 mL", 60.0, 5.0),),
                ),
            ),
        ),
    ),
    lots=(
        Lot(
            "L1",
            ("Lumme",),
            "Low sun",
            recipe_version=2,
            dyed_on="2026-03-01",
            dry_g=100.0,
            liquor_ml=3000.0,
            water="tap",
            dyes_in=(DyeIn("Ember", "80 mL", "E1", "S1"),),
            steps=(
                PotStep("dye in", "2026-03-01T10:05:00", "80 mL", 40.0, ph=5.5),
                PotStep("look", "2026-03-01T10:45:00", colour_left="some", note="clear soon"),
            ),
            skeins=(Skein("a", 50.0, 49.5),),
        ),
        Lot("L2", ("Lumme", "Torva")),
    ),
    references=(
        OwnedReference("steps", "steps", (0.9, 0.2, 0.04)),
        OwnedReference("card", "card", lab_d50=((50.0, 0.0, 0.5),)),
    ),
    setups=(Setup("window", "old phone", locked=True),),
    masters=(Master("Low sun", "Lumme", "skein", "sun 1", 1.5, 2.0, "2026-03-02", "first"),),
    photos=(PhotoNote("9.jpg", "sun 1", locked=True, where="studio.toml, [[photo]] 1"),),
)


@pytest.fixture
def write(tmp_path):
    def write_files(table=None, studio=None, encoding="utf-8"):
        for name, text in (("photos.csv", table), ("studio.toml", studio)):
            if text is not None:
                (tmp_path / name).write_bytes(text.encode(encoding))
        return tmp_path

    return write_files


def test_a_studio_is_read_whole(write):
    assert read_notes(write(studio=STUDIO)) == READ


def test_a_folder_without_notes_tells_nothing(tmp_path):
    assert read_notes(tmp_path) == Notes()


TABLE = (
    "photo,region,swatch,colourway,base,lot,skein,form,dry,light,setup,locked,note\r\n"
    '1.jpg,new,sun 1,Low sun,Lumme,L1,a,Skein,YES,Daylight,window,no,"north, early"\r\n'
    "\r\n"
    ",,,,,,,,,,,,\r\n"
    "sub/2.jpg,,plain,,Torva,,,wound card,,,,,\r\n"
)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
def test_a_table_is_read_row_by_row_with_its_lines(write, encoding):
    assert read_notes(write(TABLE, encoding=encoding)).photos == (
        PhotoNote(
            photo="1.jpg",
            swatch="sun 1",
            region="new",
            base="Lumme",
            form="skein",
            colourway="Low sun",
            lot="L1",
            skein="a",
            dry=True,
            light="daylight",
            setup="window",
            locked=False,
            note="north, early",
            where="photos.csv, line 2",
        ),
        PhotoNote(
            photo="sub/2.jpg",
            swatch="plain",
            base="Torva",
            form="wound card",
            where="photos.csv, line 5",
        ),
    )


def test_rows_of_both_files_are_joined_and_one_file_may_be_named(write):
    folder = write("photo,swatch\n1.jpg,a\n", STUDIO)
    assert [p.photo for p in read_notes(folder).photos] == ["1.jpg", "9.jpg"]
    assert [p.photo for p in read_notes(folder / "photos.csv").photos] == ["1.jpg"]
    assert [p.photo for p in read_notes(folder / "studio.toml").photos] == ["9.jpg"]


def test_columns_may_be_parted_by_semicolons(write):
    table = '\ufeffphoto;swatch;note\r\n1.jpg;a;damp, and late\r\n2.jpg;b;"x; y"\r\n3.jpg;c;\r\n'
    rows = read_notes(write(table)).photos
    assert [(r.photo, r.swatch, r.note) for r in rows] == [
        ("1.jpg", "a", "damp, and late"),
        ("2.jpg", "b", "x; y"),
        ("3.jpg", "c", None),
    ]
    commas = read_notes(write('photo,swatch,note\n1.jpg,a,"damp; and; late"\n')).photos
    assert commas[0].note == "damp; and; late"


def test_a_name_with_a_line_end_of_its_own_does_not_split_the_row(write):
    folder = write('photo,swatch,note\n1.jpg,a,"two\nlines"\n2.jpg,b\u2028c,\n3.jpg,d,\n')
    rows = read_notes(folder).photos
    assert [r.where for r in rows] == [f"photos.csv, line {n}" for n in (3, 4, 5)]


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ("", "photos.csv is empty"),
        ("photo,swatch,colour\n", "line 1: unknown column 'colour'; allowed are photo, region, sw"),
        ("photo,swatch,photo\n", "line 1: column 'photo' is there twice"),
        ("photo,base\n", "line 1: there is no column 'swatch'"),
        ("photo\tswatch\n1.jpg\ta\n", "line 1: the columns are not separated by commas or semi"),
        ("photo;swatch\n1.jpg;a;b\n", "line 2: 3 values for 2 columns: put text that holds a semi"),
        ("photo;colour\n", "line 1: unknown column 'colour'"),
        ("photo,swatch\n1.jpg,a,b\n", "line 2: 3 values for 2 columns"),
        ("photo,swatch\n1.jpg,\n", "line 2 has no 'swatch'"),
        ("photo,swatch\n,a\n", "line 2 has no 'photo'"),
        ("photo,swatch,dry\n1.jpg,a,maybe\n", "line 2, dry is 'maybe': yes or no"),
        ("photo,swatch,light\n1.jpg,a,lamp\n", "line 2: light is 'lamp': daylight, other"),
        ("photo,swatch,form\n1.jpg,a,ball\n", "line 2: form is 'ball': skein, wound card"),
        ("photo,swatch\n../1.jpg,a\n", "line 2: photo '../1.jpg' lies outside"),
        ("photo,swatch\n/tmp/1.jpg,a\n", "lies outside"),
        ("photo,swatch\nC:\\1.jpg,a\n", "lies outside"),
        (
            "photo,swatch\n1.jpg,a\n1.jpg,b\n",
            "line 3: its only swatch of photo '1.jpg' is told alr",
        ),
        (
            "photo,swatch,region\n1.jpg,a,x\n1.jpg,b,x\n",
            "region 'x' of photo '1.jpg' is told already",
        ),
        ("photo,swatch,region\n1.jpg,a,x\n1.jpg,b,\n", "line 3: photo '1.jpg' has several rows"),
        ('photo,swatch\n1.jpg,"a\n', "line"),
    ],
)
def test_a_mistake_in_the_table_is_told_with_its_line(write, table, words):
    with pytest.raises(SwatchvaultError) as error:
        read_notes(write(table))
    assert words in str(error.value)
    assert "photos.csv" in str(error.value)
    assert "\n" not in str(error.value)


@pytest.mark.parametrize(
    ("studio", "words"),
    [
        ("[[yarn]]\nname = 'a'", "unknown table 'yarn'; allowed are base, base_lot, dye"),
        ("[[base]]\nname = 'a'\nfiber = 1", "[[base]] 1: unknown key 'fiber'; allowed are name"),
        ("[[base]]\nname = 'a'\n[[base]]\nnote = 'b'", "[[base]] 2 has no 'name'"),
        ("[base]\nname = 'a'", "write [[base]], with two brackets"),
        ("base = [1]", "[[base]] 1 is 1: a table with keys is needed"),
        ("[[base]\n", "studio.toml, line 1 cannot be read: '[[base]'"),
        ('[[base]]\nname = "A"\nprice = 100,5\n', "line 3 cannot be read: 'price = 100,5'; wr"),
        ('[[recipe]]\ndyes = [{ dye = "E",\n depth = 1 }]\n', "must stay on one line"),
        ("[[base]]\nLumme wool\n", "a line is NAME = VALUE"),
        ("[[base]]\nname = 3", "[[base]] 1, name is 3: text is needed"),
        ("[[base]]\nname = ' '", "text is needed"),
        (
            '[[lot]]\ncode = "L"\nbase = "B"\ndyed_on = 2199-01-01',
            "[[lot]] 1, dyed_on is 2199-01-01, which has not come yet: this computer's clock says",
        ),
        (
            '[[stock]]\ndye = "E"\ncode = "S"\ngrams = 1\nmade_up_to_ml = 9\n'
            'mixed_on = "2199-01-01"',
            "[[stock]] 1, mixed_on is 2199-01-01, which has not come yet",
        ),
        (
            '[[stock]]\ndye = "E"\ncode = "S"\ngrams = 100\nmade_up_to_ml = 10',
            "[[stock]] 1: the strength of the stock is 1000 g/100 mL: at most 100",
        ),
        (
            '[[stock]]\ndye = "E"\ncode = "S"\ngrams = 1\nmade_up_to_ml = 100\nleft_ml = 2000',
            "[[stock]] 1: 2000 mL cannot be left of a stock of 100 mL: check the decimal point",
        ),
        (
            '[[master]]\ncolourway = "C"\nbase = "B"\nform = "knit"\nswatch = "s"\n'
            "since = 2199-01-01T10:00:00",
            "since is 2199-01-01T10:00:00, which has not come yet",
        ),
        ("[[base]]\nname = 'a'\nfibres = 80", "fibres is 80: write {wool = 80, silk = 20}"),
        ("[[base]]\nname = 'a'\nfibres = {wool = 'all'}", "fibres, wool is 'all': a number"),
        ("[[base]]\nname = 'a'\nprice_per_kg = true", "price_per_kg is True: a number is needed"),
        ("[[base]]\nname = 'a'\nprice_per_kg = nan", "price_per_kg is nan: a number is needed"),
        ("[[base]]\nname = 'a'\nsuperwash = 1", "superwash is 1: yes or no"),
        ("[[dye_pack]]\ndye = 'a'\ncode = 'b'\nopened_on = '1 May'", "a date such as 2026-03-01"),
        ("[[dye_pack]]\ndye = 'a'\ncode = 'b'\nopened_on = 2026-05-01T10:00:00", "a date such as"),
        ("[[recipe]]\ncolourway = 'a'\nbase = 'b'\nversion = 1.5",
         "version is 1.5: a whole number"),
        ("[[recipe]]\ncolourway = 'a'\nbase = 'b'\nversion = 1\nparts = [{dyes = [{dye = 'x'}]}]",
         "[[recipe]] 1, parts 1, dyes 1 has no 'depth_percent'"),
        ("[[recipe]]\ncolourway = 'a'\nbase = 'b'\nversion = 1\nparts = 'whole'",
         "parts is 'whole': a list of tables is needed"),
        ("[[lot]]\ncode = 'a'\nbase = 'b'\nsteps = [{kind = 'look', at = 'noon'}]",
         "steps 1, at is 'noon': a time such as"),
        ("[[lot]]\ncode = 'a'\nbase = 'b'\nsteps = [{kind = 'look', at = '26-03-01'}]",
         "steps 1, at is '26-03-01': a time such as"),
        ("[[reference]]\nname = 'a'\nkind = 'card'\nlab_d50 = [50, 0]", "three numbers, [L, a, b]"),
        ("[[photo]]\nphoto = '../1.jpg'\nswatch = 'a'",
         "[[photo]] 1: photo '../1.jpg' lies outside"),
    ],
)  # fmt: skip
def test_a_mistake_in_the_studio_is_told_with_its_table(write, studio, words):
    with pytest.raises(SwatchvaultError) as error:
        read_notes(write(studio=studio))
    assert words in str(error.value)
    assert "studio.toml" in str(error.value)
    assert "\n" not in str(error.value)


@pytest.mark.parametrize("name", ["photos.csv", "studio.toml"])
def test_a_file_that_is_not_utf_8_is_told(tmp_path, name):
    (tmp_path / name).write_bytes(b"photo,swatch\n1.jpg,caf\xe9\n")
    with pytest.raises(SwatchvaultError, match=f"{name} is not UTF-8"):
        read_notes(tmp_path)


def test_a_file_that_is_not_there_is_told(tmp_path):
    with pytest.raises(SwatchvaultError, match="cannot read"):
        read_notes(tmp_path / "other.csv")

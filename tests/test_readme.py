"""The README's commands, block by block in its order, on real input: none has gone stale."""

import inspect
import re
import shlex
import shutil
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from PIL import Image

import example_archive
from ingest.decode import read_photo
from ingest.flags import CLIPPED_BEYOND_USE
from swatchvault import departures, difference, eye, pair
from swatchvault.archive.speaking import ALIKE
from swatchvault.archive.values import LONGEST_NAME
from swatchvault.basefit import FEWEST_LOTS, FEWEST_RECIPES
from swatchvault.pairdoubt import DARK_SHARES
from swatchvault.recipe_typed import MOST_PARTS
from tests.swatchvault.liquorphotos import photograph, views
from tests.swatchvault.running import run

README = Path(__file__).parents[1] / "README.md"
EXAMPLE = Path(example_archive.__file__).parent

#: Commands that are not run here, and why.
NOT_RUN = {
    "python3": "makes an environment, from the network",
    ".venv/bin/": "of that environment; the demo archive that the first builds is a fixture here",
    "swatchvault serve": "does not end; tests/web has its pages",
}
#: Commands that leave with 1 here for want of what the README says they need, and what they say.
REFUSED = {
    "swatchvault predict Tebbet double": "at least 6 measured lots",
    "swatchvault eye --refit": "30",
}
#: Numbers that the README writes out.
NUMBERS = {3: "three", 4: "four", 6: "six", 10: "ten"}
MOST_PIXELS = inspect.signature(read_photo).parameters["max_pixels"].default
#: Words of the README that hang on the clock, and what stands for them.
CLOCK = {
    " --at 10:40": "",
    "NF-9 10:05": f"NF-9 {datetime.now() - timedelta(minutes=5):%Y-%m-%dT%H:%M}",
}

PHOTOS_CSV = """photo,region,swatch,colourway,base,lot,form,dry,light
moss-1.jpg,swatch,moss-1,Moss,Sock Fine,1,wound card,yes,daylight
moss-7.jpg,swatch,moss-7,Moss,Sock Fine,7,wound card,yes,daylight
moss-8.jpg,new,moss-8,Moss,Sock Fine,8,wound card,yes,daylight
moss-9.jpg,new,moss-9,Moss,Sock Fine,9,wound card,yes,daylight
"""
STUDIO_TOML = """
[[base]]
name = "Sock Fine"
fibres = {wool = 100}

[[colourway]]
name = "Moss"
""" + "".join(
    f'\n[[lot]]\ncode = "{code}"\ncolourway = "Moss"\nbase = "Sock Fine"\ndyed_on = "{day}"\n'
    for code, day in ((1, "2026-03-01"), (7, "2026-04-02"), (8, "2026-04-20"), (9, "2026-05-06"))
)


def blocks() -> list[list[list[str]]]:
    """The README's shell blocks: in each its commands, each as its words."""
    text = README.read_text(encoding="utf-8")
    for said, stands in CLOCK.items():
        assert said in text
        text = text.replace(said, stands)
    found = re.findall(r"^ *```sh\n(.*?)^ *```", text, re.MULTILINE | re.DOTALL)
    return [
        [
            shlex.split(command, comments=True)
            for line in block.replace("\\\n", " ").splitlines()
            for command in line.split(" && ")
            if shlex.split(command, comments=True)
        ]
        for block in found
    ]


def laid_out(name: str, to: Path) -> None:
    """A photo of the demo with its marks under another name."""
    shutil.copy(EXAMPLE / f"{name}.jpg", to)
    shutil.copy(EXAMPLE / f"{name}.marks.json", to.with_suffix(".marks.json"))


@pytest.fixture
def bench(tmp_path, monkeypatch, demo, capsys):
    """A folder that holds what the README's reader has: photos, notes, and the demo archive."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("SWATCHVAULT_ARCHIVE", raising=False)
    shutil.copytree(demo, tmp_path / "demo_archive")
    laid_out("furrow-2", tmp_path / "lot-7.jpg")
    (tmp_path / "photos").mkdir()
    shown = {"moss-1": "furrow-1", "moss-7": "furrow-4", "moss-8": "furrow-3", "moss-9": "furrow-5"}
    for name, of in shown.items():
        laid_out(of, tmp_path / "photos" / f"{name}.jpg")
    (tmp_path / "photos" / "photos.csv").write_text(PHOTOS_CSV)
    (tmp_path / "photos" / "studio.toml").write_text(STUDIO_TOML)
    looks = {"start": 1.0, "again": 1.0, "hold 1": 0.5, "hold 2": 0.12}
    for seed, (name, share) in enumerate(looks.items()):
        path = tmp_path / f"{name.replace(' ', '-')}.png"
        thin = {"again": 2.0}
        photograph(path, views({name: share}, dilutions=thin), seed=seed)
        Image.open(path).save(path.with_suffix(".jpg"), quality=95)
    return tmp_path


def photograph_the_pot(bench, capsys):
    """A snippet of NF-9, as the README asks for before a correction: another save of a photo."""
    with Image.open(EXAMPLE / "furrow-3.jpg") as picture:
        picture.save(bench / "nf-9.jpg", quality=88)
    shutil.copy(EXAMPLE / "furrow-3.marks.json", bench / "nf-9.marks.json")
    asked = (
        'nf-9.jpg --region new --swatch "NF-9 card" --lot NF-9 --colourway "Ninth Furrow" '
        '--base "Orrin four-ply" --form "wound card" --light daylight --dry'
    )
    ran = run(capsys, "add", *shlex.split(asked))
    assert ran.code == 0, ran.err


def test_every_command_of_the_readme_runs_in_its_order(bench, monkeypatch, capsys):
    ended, pot_seen = [], False
    for block in blocks():
        text = "\n".join(" ".join(command) for command in block)
        of_demo = any(word in text for word in ("NF-", "Ninth Furrow", "Orrin"))
        folder = bench / ("demo_archive" if of_demo else "studio")
        if folder.is_dir():
            monkeypatch.setenv("SWATCHVAULT_ARCHIVE", str(folder))
        for command in block:
            line = " ".join(command)
            if any(line.startswith(words) for words in NOT_RUN):
                continue
            if command[0] == "export":
                name, value = command[1].split("=")
                assert name == "SWATCHVAULT_ARCHIVE"
                monkeypatch.setenv(name, value.replace("$PWD", str(bench)))
                continue
            assert command[0] == "swatchvault", line
            if command[1] == "predict" and not pot_seen:
                photograph_the_pot(bench, capsys)
                pot_seen = True
            ran = run(capsys, *command[1:])
            said = [said for words, said in REFUSED.items() if line.startswith(words)]
            assert ran.code == len(said), f"{line}: {ran.err or ran.out}"
            assert all(words in ran.err for words in said), f"{line}: {ran.err}"
            ended.append(line)
    assert len(ended) > 50 and pot_seen


@pytest.mark.parametrize(
    "told",
    [
        f"A name has at most {LONGEST_NAME} characters",
        f"Colours under L* {difference.DARK_L:.0f} are never called within",
        f"of dark colours up to L* {DARK_SHARES[0][1][1]:.0f} the doubt is larger",
        f"With {100 * CLIPPED_BEYOND_USE:.0f} % or more of a swatch clipped, no verdict is given",
        f"Under {100 * difference.LEVEL:.0f} % is an answer",
        f"a depth of shade that is off by more than {100 * departures.DEPTH_SHARE:.0f} % of it",
        f"a temperature by more than {departures.TEMPERATURE_C:.0f} °C",
        f"# from {eye.FEWEST} named swatches on",
        f"the newest of those whose ± is within {100 * (ALIKE - 1):.0f} % of that",
        f"Up to {MOST_PIXELS // 1_000_000} megapixels are read whole",
        f"at least {NUMBERS[FEWEST_LOTS]} measured lots",
        f"measured lots of {NUMBERS[FEWEST_RECIPES]} or more recipes",
        f"from {NUMBERS[pair.REPEATS]} or more photos of {NUMBERS[pair.HUES]} or more swatches",
        f"`Add a part` makes up to {NUMBERS[MOST_PARTS]}",
    ],
)
def test_a_limit_that_is_told_is_the_programs(told):
    assert told in " ".join(README.read_text(encoding="utf-8").split())

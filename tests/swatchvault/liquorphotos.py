"""Photos of glasses of liquor before white paper, rendered from a known liquor, with marks."""

import json

import numpy as np
from PIL import Image

from ingest.colour import linear_to_srgb
from tests.prediction.glasses import Glass
from tests.render import spectra

WHITE = ((0.03, 0.1), (0.22, 0.1), (0.22, 0.9), (0.03, 0.9))


def glass(strength=0.15, name="Pellow red"):
    dye = strength * spectra.DYES[name].ks_per_percent()
    return Glass(dye, camera="phone observer", light="D65", haze=0.01, loss=0.95, gamma=1.0)


def place(index):
    """The polygon of the index-th glass in a photo, right of the white."""
    left = 0.27 + 0.24 * index
    return ((left, 0.2), (left + 0.17, 0.2), (left + 0.17, 0.8), (left, 0.8))


def shifted(outline, by):
    """An outline so far to the right."""
    return [[x + by, y] for x, y in outline]


def photograph(path, views, *, steps=True, white=True, seed=0, moved=0):
    """A photo of glasses (name -> linear RGB of white light) on white paper, with its marks.

    ``moved``: pixels by which all lies further to the right, up to 20.
    """
    rng = np.random.default_rng(seed)
    height, width = 300, 600
    light = np.ones((height, width, 3)) * views.pop("white")
    regions = []
    for index, (name, colour) in enumerate(views.items()):
        polygon = place(index)
        x, y = ((np.array(polygon)[[0, 2]] * [width, height]).astype(int)).T
        light[y[0] - 12 : y[1] + 12, x[0] - 8 : x[1] + 8] = colour
        regions.append({"name": name, "polygon": polygon})
    if white:
        regions.append({"name": "white", "polygon": WHITE})
    marks = {"swatches": regions}
    if steps:
        greys, patches = (0.9, 0.59, 0.36, 0.2, 0.09, 0.03), []
        for number, grey in enumerate(greys):
            left = 0.05 + 0.15 * number
            light[3:21, int(left * width) : int((left + 0.12) * width)] = grey
            patches.append([[left + 0.02, 0.02], [left + 0.1, 0.02]])
            patches[-1] += [[left + 0.1, 0.06], [left + 0.02, 0.06]]
        marks["references"] = [{"kind": "steps", "y": greys, "patches": patches}]
        marks["references"][0]["patches"] = [shifted(p, moved / width) for p in patches]
    for region in regions:
        region["polygon"] = shifted(region["polygon"], moved / width)
    light = np.roll(light, moved, axis=1)
    coded = linear_to_srgb(np.clip(light * (1 + 0.01 * rng.normal(size=light.shape)), 0, 1))
    Image.fromarray(np.round(coded * 255).astype(np.uint8)).save(path)
    path.with_name(f"{path.stem}.marks.json").write_text(json.dumps(marks))
    return path


def views(shares, strength=0.15, dilutions=None, name="Pellow red"):
    rng = np.random.default_rng(7)
    thin = dilutions or {}
    seen = {k: glass(strength, name).look(rng, s, thin.get(k, 1.0)) for k, s in shares.items()}
    return {"white": next(iter(seen.values())).white, **{k: v.liquor for k, v in seen.items()}}

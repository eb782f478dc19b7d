"""Yarn by the third renderer, photographed: laid, twisted, dyed, lit.

Light is counted in the camera's three raw colours: what falls on the yarn, what runs inside it and
what strands throw into gaps between them, which has met the dye twice.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from ingest.model import Array
from tests.tonality.photos import Seen
from tests.tonality.third_camera import Camera, bands_to_raw, photograph, raw_to_rgb
from tests.tonality.third_dyeing import Dyed, Dyeing, dye
from tests.tonality.third_lay import lay
from tests.tonality.third_light import Fuzz, Light, fuzz_cover, over_all, shade
from tests.tonality.third_noise import F, streaks
from tests.tonality.third_strands import Laid, twisted

#: A coarser photo is drawn twice as fine and made smaller.
DRAWN_PX_PER_MM = 11.0
#: Spread of ln light about which yarn lies as drawn; in softer light it lies flatter, down to the
#: least share of its height.
AS_DRAWN, FLATTEST = 0.2, 0.42
#: Least and greatest power on light, in flat and hard light, that brings its spread about; steps of
#: looking for it, and how near is near enough.
POWERS, STEPS, NEAR = {False: (0.35, 2.4), True: (0.2, 2.4)}, 4, 0.05
#: Share of light that what lies under gaps sends back, of what yarn would, in flat light and in
#: hard.
BENEATH = {False: 0.65, True: 0.35}
#: Most of the yarn that fuzz hides, and blocks whose light is looked at for its spread, mm.
MOST_HIDDEN, BLOCK_MM = 0.6, 5.0
#: Pixels to which a wide blur is made small.
BLUR_PX = 4.0


@dataclass(frozen=True)
class Yarn:
    """``fine_mm``, ``coarse_mm``: length of streaks along the fibres; ``grain_mm``: width of the
    coarse ones; ``relief``: their height and ``soft`` the blur of all heights, in strand widths.
    ``fuzz``: kinds of stray fibres."""

    width_mm: float
    plies: int
    fine_mm: float
    coarse_mm: float
    grain_mm: float
    relief: float
    soft: float
    fuzz: tuple[Fuzz, ...]


@dataclass(frozen=True)
class Case:
    """One photo of one yarn. ``size_mm``: across and down, before it is ``turned`` on its side."""

    seed: int
    kind: str
    form: str
    hard: bool
    neutral: bool
    yarn: Yarn
    dyeing: Dyeing
    light: Light
    camera: Camera
    size_mm: tuple[float, float] = (60.0, 45.0)
    turned: bool = False


@dataclass(frozen=True, eq=False)
class Drawn:
    """Yarn before light falls on it. ``height``: (h, w) mm; ``angle``: of its fibres, rad;
    ``grain``: fine and coarse noise along them; ``finer``: px for each of the photo's."""

    laid: Laid
    height: Array
    angle: Array
    grain: tuple[Array, Array]
    dyed: Dyed
    px_per_mm: float
    finer: int


@dataclass(frozen=True, eq=False)
class Lit:
    """(h, w) light on the yarn (``shaded`` from place to place, ``slow`` over all), its sheen, the
    open share of the sky, what fuzz hides (``cover``); (3, h, w) what the yarn sends back of white
    light, ``raw``, and what fuzz sends, ``over``. ``near_px`` and ``wide_px``: how far light runs
    inside the yarn and from strand to strand."""

    shaded: Array
    slow: Array
    sheen: Array
    free: Array
    cover: Array
    raw: Array
    over: Array
    near_px: float
    wide_px: float
    warm: float
    finer: int

    def green(self, cut: tuple[slice, slice]) -> Lit:
        """The same of a part of the photo, in green alone."""
        return replace(
            self,
            shaded=self.shaded[cut],
            slow=self.slow[cut],
            sheen=self.sheen[cut],
            free=self.free[cut],
            cover=self.cover[cut],
            raw=self.raw[1:2, *cut],
            over=self.over[1:2, *cut],
        )

    def sent(self, power: float) -> Array:
        """(h, w, 3) or, of green alone, (h, w): the signal at the photo's size, 1 for an open level
        white; ``power`` on light."""
        light = np.power(np.maximum(self.shaded, F(1e-3)), F(power)) * self.slow
        near = cv2.GaussianBlur(light, (0, 0), self.near_px)
        thrown = self.free * F(0.5) * (near + blurred(light, self.wide_px))
        inside, closed, open_ = near - light, 1.0 - self.free, 1.0 - self.cover
        planes = []
        for raw, over in zip(self.raw, self.over, strict=True):
            between = raw * closed
            sent = light + np.clip(raw * F(self.warm), 0.0, 0.9) * inside
            sent += between / (1.0 - between) * thrown
            planes.append(smaller((raw * sent + self.sheen) * open_ + over, self.finer))
        return cv2.merge(planes) if len(planes) > 1 else planes[0]


def blurred(image: Array, sigma_px: float) -> Array:
    """(h, w) a wide Gaussian blur, done on a smaller copy."""
    by = sigma_px / BLUR_PX
    if by <= 1.0:
        return np.asarray(cv2.GaussianBlur(image, (0, 0), sigma_px))
    small = cv2.resize(image, None, fx=1.0 / by, fy=1.0 / by, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), BLUR_PX)
    return np.asarray(cv2.resize(small, image.shape[::-1], interpolation=cv2.INTER_LINEAR))


def smaller(image: Array, by: int) -> Array:
    if by == 1:
        return image
    h, w = image.shape[:2]
    return np.asarray(cv2.resize(image, (w // by, h // by), interpolation=cv2.INTER_AREA))


def draw_yarn(case: Case) -> Drawn:
    """Yarn laid, twisted and dyed, at the photo's px per mm or twice that."""
    lay_rng, dye_rng = (np.random.default_rng([case.seed, k]) for k in (1, 2))
    yarn, photo_px = case.yarn, case.camera.px_per_mm
    finer = 2 if photo_px < DRAWN_PX_PER_MM else 1
    px, mm = photo_px * finer, yarn.width_mm
    w, h = (int(n * photo_px) * finer for n in case.size_mm)
    laid = lay(lay_rng, case.form, (h, w), px, mm, filled=not case.hard)
    height, angle = twisted(lay_rng, laid, yarn.plies, mm)
    fine = streaks(lay_rng, angle, yarn.fine_mm * px, max(0.018 * px, 0.45))
    coarse = streaks(lay_rng, angle, yarn.coarse_mm * px, max(yarn.grain_mm * px, 0.7))
    height = height + F(mm) * (F(yarn.relief) * coarse + F(0.006) * fine)
    height = cv2.GaussianBlur(height, (0, 0), max(yarn.soft * mm * px, 0.4))
    fibre = F(0.6) * fine + F(0.8) * coarse
    dyed = dye(dye_rng, case.dyeing, laid, px, fibre, bands_to_raw(case.camera))
    return Drawn(laid, height, angle, (fine, coarse), dyed, px, finer)


def lit(drawn: Drawn, case: Case) -> Lit:
    """Light on yarn."""
    rng = np.random.default_rng([case.seed, 3])
    light, px, mm = case.light, drawn.px_per_mm, case.yarn.width_mm
    flat = 1.0 if case.hard else np.clip((light.spread / AS_DRAWN) ** 0.8, FLATTEST, 1.0)
    height = drawn.height * F(flat)
    shaded, sheen, free = shade(light, height, drawn.angle, drawn.grain, px, mm)
    slow = over_all(rng, light, height.shape, px)
    seen = np.ones(height.shape, F)
    for kind in case.yarn.fuzz:
        seen *= 1.0 - fuzz_cover(rng, kind, drawn.laid.lean, px)
    dark = BENEATH[case.hard and case.form != "knit"]
    raw = drawn.dyed.raw * np.where(drawn.laid.yarn, F(1.0), F(dark))[..., None]
    # Over gaps less fuzz is in the light, and a haze of down that the finest lines cannot show.
    cover = (1.0 - seen) * np.clip(1.6 * free - 0.1, 0.05, 1.0)
    cover = np.clip(cover + F(light.haze) * (1.0 - free) * free, 0.0, MOST_HIDDEN)
    around = cv2.blur(shaded, (int(mm * px) | 1,) * 2)
    on_fuzz = 0.98 * cover * (0.12 + 0.83 * slow * (0.3 + 0.7 * around))
    near = cv2.split(cv2.blur(raw, (int(0.6 * mm * px) | 1,) * 2))
    return Lit(
        shaded=shaded,
        slow=slow,
        sheen=sheen * slow,
        free=free,
        cover=cover,
        raw=np.stack(cv2.split(raw)),
        over=np.stack([on_fuzz * n for n in near]),
        near_px=light.bleed * mm * px,
        wide_px=0.7 * mm * px,
        warm=light.warm,
        finer=drawn.finer,
    )


def spread(light: Array, px_per_mm: float) -> float:
    """Standard deviation of ln light (h, w) under its mean over blocks of 5 mm."""
    light = np.maximum(light, F(1e-4))
    mean = blurred(light, 0.29 * BLOCK_MM * px_per_mm)
    return float(np.std(np.log(light) - np.log(mean)))


def signal(shone: Lit, case: Case) -> Array:
    """(h, w, 3) what the sensor gets, with light of the spread that is looked for in the middle of
    the photo."""
    h, w = (n // shone.finer for n in shone.shaded.shape)
    edges = [(n // 4 * shone.finer, (n - n // 4) * shone.finer) for n in (h, w)]
    middle = shone.green((slice(*edges[0]), slice(*edges[1])))
    white = smaller(middle.raw[0], shone.finer)
    aim, power = case.light.spread, 1.0
    for _ in range(STEPS):
        seen = cv2.GaussianBlur(middle.sent(power), (0, 0), case.camera.blur_px)
        found = spread(seen / white, case.camera.px_per_mm)
        if abs(found / aim - 1.0) < NEAR:
            break
        power = float(np.clip(power * aim / found, *POWERS[case.hard]))
    return shone.sent(power)


def render(case: Case) -> Seen:
    """The photo of a case; the same case gives the same bytes."""
    drawn = draw_yarn(case)
    sent = signal(lit(drawn, case), case)
    if case.turned:
        sent = np.ascontiguousarray(np.rot90(sent))
    matrix = raw_to_rgb(bands_to_raw(case.camera))
    rng = np.random.default_rng([case.seed, 4])
    jpeg, exposure = photograph(rng, sent, matrix, case.camera)
    truth = {"unevenness": drawn.dyed.unevenness}
    return Seen(jpeg, 1.0 / case.camera.px_per_mm, exposure, truth)

"""Drawn dermoscopic pictures with known truth, for the demo and for trials; nobody's skin."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from lesions.analysis.drawing import phantom_parts as parts
from lesions.analysis.drawing.phantom_parts import Array, Field

SKIN_TONES = {
    "very_light": (238, 205, 188),
    "light": (228, 184, 160),
    "intermediate": (208, 160, 128),
    "tan": (180, 130, 98),
    "brown": (142, 96, 70),
    "dark": (104, 70, 54),
}
# Density of red, green, blue that each colour adds to the skin.
PIGMENTS = {
    "light_brown": (0.24, 0.44, 0.62),
    "dark_brown": (0.72, 1.02, 1.22),
    "black": (1.65, 1.80, 1.80),
    "blue_grey": (0.78, 0.66, 0.48),
    "red": (0.10, 0.62, 0.52),
    "white": (-0.14, -0.22, -0.22),
}


@dataclass(frozen=True)
class Patch:
    """A piece of another colour: place and size in parts of the lesion's own radius."""

    colour: str
    at: tuple[float, float]
    size: float


@dataclass(frozen=True)
class Phantom:
    """One lesion and one shot of it. Lengths in mm, angles in degrees; `light`, `hair` and the like are 0-1.

    `seed` draws the lesion and its skin, `shot` the pose, hair, light and noise of one photograph.
    """

    seed: int
    shot: int = 0
    width: int = 900
    height: int = 675
    mm_per_px: float = 0.02
    skin_tone: str = "light"
    axes_mm: tuple[float, float] = (5.0, 4.0)
    angle: float = 20.0
    irregularity: float = 0.3
    softness: float = 0.07
    colours: tuple[str, ...] = ("light_brown", "dark_brown")
    network: float = 0.6
    hair: float = 0.3
    ruler: bool = True
    light: float = 0.4
    pink: bool = False
    frame: bool = False
    position: tuple[float, float] = (0.0, 0.0)
    turn: float = 0.0
    growth: float = 1.0
    one_sided: bool = False
    patches: tuple[Patch, ...] = field(default=())


@dataclass(frozen=True)
class Drawn:
    """The picture, its lesion (bool (H, W), half density at the border) and what is true of it."""

    image: Image.Image
    mask: NDArray[np.bool_]
    truth: dict[str, Any]


def draw(spec: Phantom) -> Drawn:
    """Draw one photograph.

    Parameters
    ----------
    spec : Phantom
        The lesion and the shot.

    Returns
    -------
    Drawn
        Truth: area_mm2, perimeter_mm, feret_mm, outline (pixels, centres at +0.5), mm_per_px, colours.
    """
    place = _skin_place(spec)
    shape = _Shape(spec)
    depth = shape.depth(place)
    density = _skin(spec, place) + _lesion(spec, place, depth, shape)
    hairs = parts.hairs(spec.width, spec.height, _rng(spec, "hair"), spec.hair)
    density += hairs[..., None] * parts.HAIR_DENSITY
    pixels = np.array(SKIN_TONES[spec.skin_tone], dtype=np.float32) * np.exp(-density)
    pixels = _photographed(spec, pixels)
    image = Image.fromarray(np.clip(pixels + 0.5, 0, 255).astype(np.uint8))
    if spec.ruler:
        parts.ruler(image, spec.mm_per_px)
    return Drawn(image, depth < 1, _truth(spec, shape))


def grown(spec: Phantom, factor: float, *, one_sided: bool = False) -> Phantom:
    """Return the same lesion with `factor` times its area, all round or pushed out on one side."""
    return replace(spec, growth=spec.growth * factor, one_sided=one_sided)


def with_new_patch(
    spec: Phantom, colour: str = "blue_grey", at: tuple[float, float] = (0.35, -0.25), size: float = 0.3
) -> Phantom:
    """Return the same lesion with one more patch of colour."""
    return replace(spec, patches=(*spec.patches, Patch(colour, at, size)))


def recaptured(spec: Phantom, seed: int) -> Phantom:
    """Return another photograph of the same unchanged lesion: new pose, distance, light, hair and noise."""
    rng = np.random.default_rng([spec.seed, seed, 77])
    x, y = spec.position
    return replace(
        spec,
        shot=seed,
        turn=spec.turn + float(rng.uniform(-18, 18)),
        mm_per_px=spec.mm_per_px * float(rng.uniform(0.95, 1.05)),
        position=(x + float(rng.uniform(-0.8, 0.8)), y + float(rng.uniform(-0.6, 0.6))),
        light=float(np.clip(spec.light + rng.uniform(-0.2, 0.2), 0, 1)),
    )


def _rng(spec: Phantom, part: str) -> np.random.Generator:
    """One stream per part, so that a change of one part leaves the others as they were."""
    names = ("shape", "skin", "colour", "warp", "hair", "light", "noise")
    shot = spec.shot if part in ("hair", "light", "noise") else 0
    return np.random.default_rng([spec.seed, shot, names.index(part)])


def _skin_place(spec: Phantom) -> Field:
    """Millimetres on the skin, lesion's centre at 0, for every pixel."""
    y, x = np.mgrid[0 : spec.height, 0 : spec.width].astype(np.float32)
    u = (x + 0.5 - spec.width / 2) * spec.mm_per_px - spec.position[0]
    v = (y + 0.5 - spec.height / 2) * spec.mm_per_px - spec.position[1]
    c, s = np.float32(np.cos(np.radians(spec.turn))), np.float32(np.sin(np.radians(spec.turn)))
    return c * u + s * v, -s * u + c * v


class _Shape:
    """The border as a radius over direction: an ellipse, waves on it, growth all round or as a bulge."""

    def __init__(self, spec: Phantom) -> None:
        self.spec = spec
        rng = _rng(spec, "shape")
        orders = np.arange(2, 26)
        sizes = rng.normal(0, 1, 24) / orders**1.2 * (0.05 + 0.22 * spec.irregularity)
        self._waves = orders, sizes, rng.uniform(0, 6.283, 24)
        self._bulge_at = float(rng.uniform(0, 2 * np.pi))
        self._soft = rng.uniform(0.6, 1.6, 3), rng.uniform(0, 6.283, 3)

    def radius(self, direction: Array) -> NDArray[np.float64]:
        if not self.spec.one_sided:
            return np.asarray(self._before(direction) * np.sqrt(self.spec.growth), dtype=np.float64)
        return self._before(direction) * (1 + self._bulge_height() * self._bulge(direction))

    def _before(self, direction: Array) -> NDArray[np.float64]:
        a, b = (axis / 2 for axis in self.spec.axes_mm)
        turned = direction - np.radians(self.spec.angle)
        base = a * b / np.hypot(b * np.cos(turned), a * np.sin(turned))
        orders, sizes, phases = self._waves
        waves = sum(s * np.cos(o * direction + p) for o, s, p in zip(orders, sizes, phases, strict=True))
        out = base * np.exp(waves)
        return np.asarray(out, dtype=np.float64)

    def _bulge(self, direction: Array) -> Array:
        away = (direction - self._bulge_at + np.pi) % (2 * np.pi) - np.pi
        return np.asarray(np.exp(-((away / 0.55) ** 2)), dtype=np.float64)

    def _bulge_height(self) -> float:
        """Height that brings the area to `growth` times: the sum of r²(1 + h·bulge)² solved for h."""
        around = np.arange(720) / 720 * 2 * np.pi
        square, bulge = self._before(around) ** 2, self._bulge(around)
        a, b, c = (square * bulge**2).sum(), 2 * (square * bulge).sum(), (1 - self.spec.growth) * square.sum()
        return float((-b + np.sqrt(b * b - 4 * a * c)) / (2 * a))

    def depth(self, place: Field) -> Array:
        """0 at the centre, 1 on the border, for every pixel."""
        direction = np.arange(721) / 720 * 2 * np.pi
        table = self.radius(direction)
        at = np.arctan2(place[1], place[0]) % (2 * np.pi)
        return np.asarray(np.hypot(*place) / np.interp(at, direction, table), dtype=np.float32)

    def softness(self, place: Field) -> Array:
        """Width of the ramp, different from side to side."""
        sizes, phases = self._soft
        at = np.arctan2(place[1], place[0])
        swing = sum(s * np.cos((i + 1) * at + p) for i, (s, p) in enumerate(zip(sizes, phases, strict=True)))
        return np.asarray(self.spec.softness * np.exp(0.35 * swing), dtype=np.float32)

    def ring(self) -> NDArray[np.float64]:
        """Border in millimetres on the skin."""
        direction = np.arange(720) / 720 * 2 * np.pi
        ways = np.stack([np.cos(direction), np.sin(direction)], axis=1)
        return np.asarray(self.radius(direction)[:, None] * ways, dtype=np.float64)


def _skin(spec: Phantom, place: Field) -> Array:
    """Mottled redness, fine furrows, grain."""
    rng = _rng(spec, "skin")
    mottle = parts.noise(rng, place, 2.2)
    blotch = parts.noise(rng, place, 0.7)
    furrows = parts.furrows(rng, place)
    grain = parts.noise(rng, place, 0.07)
    even = 0.022 * mottle + 0.016 * blotch + 0.035 * furrows + 0.016 * grain
    red = np.clip(0.6 * mottle + 0.5 * blotch, -1, 1.5)
    blood = np.array([0.0, 0.026, 0.018], dtype=np.float32)
    return np.asarray(even[..., None] + red[..., None] * blood, dtype=np.float32)


def _lesion(spec: Phantom, place: Field, depth: Array, shape: _Shape) -> Array:
    """Pigment inside a soft border, with network, dots and patches of other colours."""
    rng = _rng(spec, "colour")
    grain, cloud = parts.noise(rng, place, 0.25), parts.noise(rng, place, 0.9)
    cover = 1 / (1 + np.exp(np.clip((depth - 1) / shape.softness(place) * 4, -30, 30)))
    base = "red" if spec.pink else spec.colours[0]
    density = _pigment(base) * (0.85 + 0.20 * cloud + 0.10 * grain)[..., None]
    for patch in (*_own_patches(spec, rng), *spec.patches):
        share = _patch_cover(patch, spec, place, cloud, grain)[..., None]
        density = density * (1 - share) + _pigment(patch.colour) * (0.95 + 0.10 * grain[..., None]) * share
    density *= (1 + 0.22 * (1 - np.clip(depth, 0, 1)))[..., None]
    if not spec.pink:
        density += _structures(spec, rng, place, depth)
    light_skin = np.mean(SKIN_TONES[spec.skin_tone]) / np.mean(SKIN_TONES["light"])
    return np.asarray(density * cover[..., None] * np.float32(0.35 + 0.65 * light_skin), dtype=np.float32)


def _pigment(name: str) -> Array:
    return np.array(PIGMENTS[name], dtype=np.float32)


def _own_patches(spec: Phantom, rng: np.random.Generator) -> list[Patch]:
    """One or two patches for every colour after the first, away from the centre."""
    out: list[Patch] = []
    for colour in () if spec.pink else spec.colours[1:]:
        for _ in range(int(rng.integers(1, 3))):
            way, far = rng.uniform(0, 2 * np.pi), rng.uniform(0.1, 0.6)
            at = (float(far * np.cos(way)), float(far * np.sin(way)))
            out.append(Patch(colour, at, float(rng.uniform(0.28, 0.48))))
    return out


def _patch_cover(patch: Patch, spec: Phantom, place: Field, cloud: Array, grain: Array) -> Array:
    """0-1; its edge is frayed by the lesion's own noise."""
    own = np.sqrt(spec.axes_mm[0] * spec.axes_mm[1]) / 2
    away = np.hypot(place[0] / own - patch.at[0], place[1] / own - patch.at[1]) / patch.size
    edge = 1 - away + 0.30 * cloud + 0.16 * grain
    return np.asarray(np.clip(edge * 1.5 + 0.5, 0, 1), dtype=np.float32)


def _structures(spec: Phantom, rng: np.random.Generator, place: Field, depth: Array) -> Array:
    """Pigment network towards the border, dots and globules inside."""
    network = parts.network(rng, place) * np.clip(depth * 1.6 - 0.25, 0.15, 1) * spec.network
    reach = max(spec.axes_mm) / 2
    dots = parts.dots(rng, place, reach, int(10 + 22 * spec.irregularity)) * (depth < 0.97)
    brown = _pigment("dark_brown") / np.float32(1.1)
    return np.asarray((0.30 * network + 0.60 * dots)[..., None] * brown, dtype=np.float32)


def _photographed(spec: Phantom, pixels: Array) -> Array:
    """Uneven light, vignette, a tube's frame, the lens's blur and the sensor's noise."""
    rng = _rng(spec, "light")
    y, x = np.mgrid[0 : spec.height, 0 : spec.width].astype(np.float32)
    u, v = x / spec.width * 2 - 1, (y - spec.height / 2) / spec.width * 2
    tilt = rng.normal(0, 0.06, 2) * (0.5 + spec.light)
    fall = (0.10 + 0.22 * spec.light) * (u * u + v * v)
    cast = np.exp(rng.normal(0, 0.018, 3)).astype(np.float32)
    level = np.float32(np.exp(rng.normal(-0.02, 0.05)))
    lit = pixels * (level * (1 + tilt[0] * u + tilt[1] * v - fall))[..., None] * cast
    if spec.frame:
        lit *= parts.tube(u, v)[..., None]
    lit = ndimage.gaussian_filter(lit, (0.7, 0.7, 0))
    noise = _rng(spec, "noise").standard_normal(lit.shape, dtype=np.float32)
    return np.asarray(lit + 1.3 * ndimage.uniform_filter(noise, (2, 2, 1)) * 1.5, dtype=np.float32)


def _truth(spec: Phantom, shape: _Shape) -> dict[str, Any]:
    ring = shape.ring()
    c, s = np.cos(np.radians(spec.turn)), np.sin(np.radians(spec.turn))
    u = c * ring[:, 0] - s * ring[:, 1] + spec.position[0]
    v = s * ring[:, 0] + c * ring[:, 1] + spec.position[1]
    pixels = np.stack([u / spec.mm_per_px + spec.width / 2, v / spec.mm_per_px + spec.height / 2], axis=1)
    after = np.roll(ring, -1, axis=0)
    named = {"red"} if spec.pink else set(spec.colours)
    span = np.hypot(*(ring[:, None, :] - ring[None, :, :]).transpose(2, 0, 1)).max()
    return {
        "area_mm2": float(abs((ring[:, 0] * after[:, 1] - ring[:, 1] * after[:, 0]).sum()) / 2),
        "perimeter_mm": float(np.hypot(*(after - ring).T).sum()),
        "feret_mm": float(span),
        "outline": [(float(x), float(y)) for x, y in pixels],
        "mm_per_px": spec.mm_per_px,
        "colours": sorted(named | {patch.colour for patch in spec.patches}),
    }

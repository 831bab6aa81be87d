"""Textures and things of the drawn pictures: noise, network, furrows, dots, hair, ruler, tube."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from scipy import ndimage

Array = NDArray[np.floating]
Field = tuple[Array, Array]
HAIR_DENSITY = np.array([1.15, 1.35, 1.45], dtype=np.float32)
_TILE = 128


def noise(rng: np.random.Generator, place: Field, grain: float) -> Array:
    """Smooth noise of unit spread that lies still on the skin; `grain` in mm."""
    tile = ndimage.gaussian_filter(rng.standard_normal((_TILE, _TILE)), 1.2, mode="wrap")
    tile = (tile / tile.std()).astype(np.float32)
    step = 3 if grain > 0.2 else 1  # coarse noise is sampled coarsely and enlarged: ten times faster
    x, y = place[0][::step, ::step] / grain * 2.2, place[1][::step, ::step] / grain * 2.2
    sampled = ndimage.map_coordinates(tile, [y, x], order=1 if step == 1 else 3, mode="grid-wrap")
    return sampled if step == 1 else _enlarged(sampled, place[0].shape, step)


def _enlarged(values: Array, shape: tuple[int, ...], step: int) -> Array:
    grown = Image.fromarray(values.astype(np.float32)).resize(
        (values.shape[1] * step, values.shape[0] * step), Image.Resampling.BICUBIC
    )
    return np.asarray(grown)[: shape[0], : shape[1]]


def _bent(rng: np.random.Generator, place: Field, amount: float, grain: float) -> Field:
    return place[0] + amount * noise(rng, place, grain), place[1] + amount * noise(rng, place, grain)


def network(rng: np.random.Generator, place: Field, period: float = 0.30) -> Array:
    """Brown meshes 0-1: three bent waves at 60 degrees leave a honeycomb of lines."""
    x, y = _bent(rng, _bent(rng, place, 0.10, 0.8), 0.045, 0.22)
    angles = rng.uniform(0, np.pi) + np.arange(3) * np.pi / 3
    wave = sum(np.cos(2 * np.pi / period * (x * np.cos(a) + y * np.sin(a))) for a in angles)
    lines = np.clip(0.35 - wave / 2.2, 0, 1)
    return np.asarray(lines * np.clip(0.6 + 0.55 * noise(rng, place, 0.6), 0, 1.6), dtype=np.float32)


def furrows(rng: np.random.Generator, place: Field) -> Array:
    """Fine crossing lines of the skin's surface."""
    x, y = _bent(rng, place, 0.16, 1.1)
    turn = rng.uniform(0, np.pi)
    out = np.zeros(x.shape, dtype=np.float32)
    for angle, period in ((turn, 0.52), (turn + 1.15, 0.64)):
        phase = 2 * np.pi / period * (x * np.cos(angle) + y * np.sin(angle))
        out += np.clip(np.cos(phase) - 0.72, 0, 1).astype(np.float32) * 2.2
    return np.asarray(out * np.clip(0.55 + 0.45 * noise(rng, place, 0.8), 0, 1.4), dtype=np.float32)


def dots(rng: np.random.Generator, place: Field, reach: float, count: int) -> Array:
    """Round spots of 0.05-0.16 mm radius strewn inside `reach` mm."""
    out = np.zeros(place[0].shape, dtype=np.float32)
    for _ in range(count):
        way, far, size = rng.uniform(0, 6.283), reach * np.sqrt(rng.uniform(0, 0.9)), rng.uniform(0.03, 0.085)
        cx, cy = far * np.cos(way), far * np.sin(way)
        near = (np.abs(place[0] - cx) < 4 * size) & (np.abs(place[1] - cy) < 4 * size)
        rows, cols = np.nonzero(near.any(axis=1))[0], np.nonzero(near.any(axis=0))[0]
        if len(rows) == 0 or len(cols) == 0:
            continue
        box = slice(rows[0], rows[-1] + 1), slice(cols[0], cols[-1] + 1)
        away = ((place[0][box] - cx) ** 2 + (place[1][box] - cy) ** 2) / size**2
        out[box] = np.maximum(out[box], np.exp(-away / 2) * rng.uniform(0.4, 1))
    return out


def hairs(width: int, height: int, rng: np.random.Generator, amount: float) -> Array:
    """Curved tapering hairs, cover 0-1 (H, W)."""
    fine = 2
    sheet = Image.new("L", (width * fine, height * fine))
    pen = ImageDraw.Draw(sheet)
    main = rng.uniform(0, np.pi)
    for _ in range(rng.poisson(12 * amount)):
        _hair(pen, rng, width * fine, height * fine, main + rng.normal(0, 0.5))
    small = sheet.resize((width, height), Image.Resampling.BOX)
    return np.asarray(small, dtype=np.float32) / 255


def _hair(pen: ImageDraw.ImageDraw, rng: np.random.Generator, width: int, height: int, way: float) -> None:
    start = rng.uniform((0, 0), (width, height))
    length = rng.uniform(0.25, 0.75) * width
    bend = rng.normal(0, 0.9)
    t = np.linspace(0, 1, 60)
    angle = way + bend * t
    path = start + np.cumsum(np.stack([np.cos(angle), np.sin(angle)], axis=1), axis=0) * length / 60
    thick, dark = rng.uniform(3.5, 7.5) * width / 1800, int(rng.uniform(150, 240))
    for i in range(59):
        taper = 0.35 + 0.65 * np.sin(np.pi * min(1.0, 0.25 + t[i] * 0.75))
        line = [tuple(path[i]), tuple(path[i + 1])]
        pen.line(line, fill=dark, width=max(1, round(thick * taper)), joint="curve")


def ruler(image: Image.Image, mm_per_px: float) -> None:
    """Engrave a millimetre scale along the lower edge of the contact plate."""
    width, height = image.size
    sheet = Image.new("L", (width * 2, height * 2))
    pen = ImageDraw.Draw(sheet)
    base, middle = height * 2 - max(10, height // 20), width
    font = ImageFont.load_default(max(12, height // 28))
    reach = int((width / 2 - 8) * mm_per_px)
    for tick in range(-min(reach, 5), min(reach, 5) + 1):
        x = middle + tick / mm_per_px * 2
        tall = height * 2 // (22 if tick % 5 == 0 else 38)
        pen.line([(x, base), (x, base - tall)], fill=225, width=3)
        if tick % 5 == 0:
            pen.text((x, base - tall - 6), str(tick + 5), fill=210, font=font, anchor="mb")
    left, right = (middle + s * min(reach, 5) / mm_per_px * 2 for s in (-1, 1))
    pen.line([(left, base), (right, base)], fill=225, width=3)
    pen.text((right + 18, base - 2), "mm", fill=210, font=font, anchor="lb")
    image.paste((28, 26, 30), mask=sheet.resize((width, height), Image.Resampling.BOX))


def tube(u: Array, v: Array) -> Array:
    """Light inside the round field of the tube, 0.04-1; `u` and `v` run -1..1 over the width."""
    return np.asarray(
        0.04 + 0.96 / (1 + np.exp(np.clip((np.hypot(u, v) - 0.88) * 60, -30, 30))), dtype=np.float32
    )

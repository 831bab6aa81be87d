"""New views of the training pictures, made on the device that trains: pose, light, skin, hair, stickers, frame."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import torch
from torch import Tensor
from torch.nn import functional

_MELANIN = (0.35, 0.65, 1.0)  # density of melanin in red, green, blue relative to blue (rough, from memory)


@dataclass(frozen=True)
class Stock:
    """Training pictures on the device: uint8 (N, 3, G, G), outlines (N, 1, G, G), what `places` tells of them."""

    pictures: Tensor
    masks: Tensor
    reach: Tensor  # (N, 2): half width and half height of the picture, the longer side being 1
    centre: Tensor  # (N, 2): middle of the lesion in those units
    size: Tensor  # (N,): longer side of the lesion's box in those units


def places(masks: Tensor, aspects: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Reach, lesion middle and lesion size of every outline, see `Stock`."""
    reach = torch.stack((aspects.clamp(max=1), (1 / aspects).clamp(max=1)), dim=1)
    grid = masks.shape[-1]
    line = (torch.arange(grid, device=masks.device) + 0.5) / grid * 2 - 1
    ends = []
    for down in (1, 2):
        hit = masks[:, 0].bool().any(dim=down)
        where = torch.where(hit, line, torch.nan)
        ends.append((where.nan_to_num(9).amin(1), where.nan_to_num(-9).amax(1)))
    low, high = (torch.stack([e[i] for e in ends], dim=1).clamp(-1, 1) * reach for i in (0, 1))
    return reach, (low + high) / 2, (high - low).abs().amax(1).clamp(0.05, 2)


@dataclass(frozen=True)
class Strength:
    """How far views go from the picture: share of faded lesions, and colour changes (1 full, 0 none)."""

    faded: float = 0.25
    colour: float = 1.0


def views(stock: Stock, chosen: Tensor, side: int, strength: Strength) -> tuple[Tensor, Tensor, Tensor]:
    """Draw one view of each chosen picture.

    Returns
    -------
    pictures (B, 3, side, side) in 0-1, outlines and "inside the picture" (B, 1, side, side) of 0 and 1.
    """
    grid = _grid(stock, chosen, side)
    inside = (grid.abs() <= 1).all(dim=3)[:, None].float()
    pictures = stock.pictures[chosen].float() / 255
    masks = stock.masks[chosen].float()
    x = functional.grid_sample(pictures, grid, padding_mode="reflection", align_corners=False)
    y = functional.grid_sample(masks, grid, padding_mode="reflection", align_corners=False)
    # Skin first, hair and stickers over it, the frame over all, as a camera would see them.
    x = _skin_and_light(_faded(x, y, strength.faded), strength.colour)
    x = _hairs(x)
    x, y = _stickers(x, y)
    x, y = _dark_frame(x, y)
    return _focus_and_noise(x).clamp(0, 1), (y > 0.5).float(), inside


@lru_cache
def _colour(red: float, green: float, blue: float, device: torch.device) -> Tensor:
    """A colour on the device, made once: a recorded step must not copy anything there."""
    return torch.tensor((red, green, blue), device=device).view(1, 3, 1, 1)


def _uniform(count: int, low: float, high: float, like: Tensor) -> Tensor:
    return torch.rand(count, 1, 1, 1, device=like.device) * (high - low) + low


def _chance(count: int, share: float, like: Tensor) -> Tensor:
    return (torch.rand(count, 1, 1, 1, device=like.device) < share).float()


def _grid(stock: Stock, chosen: Tensor, side: int) -> Tensor:
    """Where in the squeezed pictures each pixel of the view lies: the whole picture, or close to the lesion."""
    count, device = len(chosen), chosen.device
    reach, centre, size = stock.reach[chosen], stock.centre[chosen], stock.size[chosen]
    draw = torch.rand(count, 6, device=device)
    close = draw[:, 0] < 0.5
    whole_extent = torch.exp((draw[:, 1] - 0.6) * 0.6)
    extent = torch.where(close, (size / 2 * (1.25 + 2.75 * draw[:, 1])).clamp(0.12, 1.2), whole_extent)
    shift = (draw[:, 2:4] - 0.5) * torch.where(close, 0.8 * extent, 0.3)[:, None]
    middle = torch.where(close[:, None], centre, torch.zeros_like(centre)) + shift
    turn = draw[:, 4] * 2 * math.pi
    flip = torch.where(draw[:, 5] < 0.5, -1.0, 1.0)
    line = (torch.arange(side, device=device) + 0.5) / side * 2 - 1
    v, u = torch.meshgrid(line, line, indexing="ij")
    u, v = u[None] * (flip * extent)[:, None, None], v[None] * extent[:, None, None]
    cos, sin = turn.cos()[:, None, None], turn.sin()[:, None, None]
    x = (u * cos - v * sin + middle[:, 0, None, None]) / reach[:, 0, None, None]
    y = (u * sin + v * cos + middle[:, 1, None, None]) / reach[:, 1, None, None]
    return torch.stack((x, y), dim=3)


def _faded(x: Tensor, y: Tensor, often: float) -> Tensor:
    """Now and then the lesion is drawn towards the skin around it: faint lesions are rare in the stock."""
    skin = (x * (1 - y)).sum((2, 3), keepdim=True) / (1 - y).sum((2, 3), keepdim=True).clamp(min=1)
    share = _chance(len(x), often, x) * _uniform(len(x), 0.1, 0.65, x)
    soft = functional.avg_pool2d(y, 9, 1, 4)
    return torch.lerp(x, skin.expand_as(x), share * soft)


def _skin_and_light(x: Tensor, by: float) -> Tensor:
    """Darker skin (more melanin), another lamp, other contrast, saturation and gamma; `by` 0 changes nothing."""
    count = len(x)

    def about_one(low: float, high: float) -> Tensor:
        return 1 + by * (_uniform(count, low, high, x) - 1)

    melanin = by * _chance(count, 0.3, x) * _uniform(count, 0.0, 0.9, x)
    x = x * torch.exp(-melanin * _colour(*_MELANIN, x.device))
    x = x * torch.exp(by * 0.12 * torch.randn(count, 3, 1, 1, device=x.device).clamp(-2, 2))
    mean = x.mean((2, 3), keepdim=True)
    x = (x - mean) * about_one(0.65, 1.3) + mean * about_one(0.75, 1.2)
    grey = x.mean(1, keepdim=True)
    x = grey + (x - grey) * about_one(0.6, 1.4)
    return x.clamp(1e-4, 1) ** about_one(0.75, 1.35)


def _axes(x: Tensor, number: int) -> tuple[Tensor, Tensor, Tensor]:
    """Coordinates along and across `number` random directions through random points, and draws for them."""
    count, side = len(x), x.shape[-1]
    draw = torch.rand(count, number, 6, 1, 1, device=x.device)
    line = torch.linspace(-1, 1, side, device=x.device)
    dx = line.view(1, 1, 1, -1) - (draw[:, :, 0] * 2 - 1)
    dy = line.view(1, 1, -1, 1) - (draw[:, :, 1] * 2 - 1)
    angle = draw[:, :, 2] * 2 * math.pi
    return dx * angle.cos() + dy * angle.sin(), dy * angle.cos() - dx * angle.sin(), draw


def _hairs(x: Tensor) -> Tensor:
    """Bent dark or grey lines over a third of the pictures."""
    along, across, draw = _axes(x, 6)
    bent = (across - (draw[:, :, 3] - 0.5) * 1.2 * along**2).abs()
    width = 0.004 + 0.012 * draw[:, :, 4]
    there = (along.abs() < 0.3 + draw[:, :, 5]) & (torch.rand_like(draw[:, :, 5]) < 0.6)
    strength = (torch.sigmoid((width - bent) / 0.003) * there).amax(1, keepdim=True)
    tint = _uniform(len(x), 0.05, 0.35, x) * _colour(1.1, 1.0, 0.9, x.device)
    return torch.lerp(x, tint.expand_as(x), 0.85 * strength * _chance(len(x), 0.33, x))


def _stickers(x: Tensor, y: Tensor) -> tuple[Tensor, Tensor]:
    """A coloured round sticker near the rim of some pictures; what it covers is no lesion."""
    count, side = len(x), x.shape[-1]
    line = torch.linspace(-1, 1, side, device=x.device)
    angle = _uniform(count, 0, 2 * math.pi, x)
    away, radius = _uniform(count, 0.8, 1.25, x), _uniform(count, 0.2, 0.5, x)
    distance = torch.hypot(
        line.view(1, 1, 1, -1) - away * angle.cos(), line.view(1, 1, -1, 1) - away * angle.sin()
    )
    disc = torch.sigmoid((radius - distance) / 0.01) * _chance(count, 0.15, x)
    disc = disc * ((disc * y).sum((2, 3), keepdim=True) < 0.15 * y.sum((2, 3), keepdim=True) + 1)
    colour = torch.rand(count, 3, 1, 1, device=x.device)
    return torch.lerp(x, colour.expand_as(x), disc), y * (disc < 0.5)


def _dark_frame(x: Tensor, y: Tensor) -> tuple[Tensor, Tensor]:
    """The dark rim of a tube around some pictures."""
    count, side = len(x), x.shape[-1]
    line = torch.linspace(-1, 1, side, device=x.device)
    distance = torch.hypot(line.view(1, 1, 1, -1), line.view(1, 1, -1, 1))
    soft = _uniform(count, 0.01, 0.12, x)
    dark = torch.sigmoid((distance - _uniform(count, 0.95, 1.3, x)) / soft) * _chance(count, 0.12, x)
    return x * (1 - dark * _uniform(count, 0.8, 1.0, x)), y * (dark < 0.7)


def _focus_and_noise(x: Tensor) -> Tensor:
    soft = functional.avg_pool2d(functional.avg_pool2d(x, 3, 1, 1), 3, 1, 1)
    sharpness = _uniform(len(x), -0.6, 1.0, x) * _chance(len(x), 0.6, x)
    x = torch.lerp(x, soft, sharpness)
    return x + torch.randn_like(x) * 0.03 * _uniform(len(x), 0, 1, x) * _chance(len(x), 0.3, x)

"""A small U-Net of depthwise-separable convolutions that sees the picture's surroundings at its depth."""

from __future__ import annotations

from dataclasses import dataclass

import torch
from torch import Tensor, nn
from torch.nn import functional


@dataclass(frozen=True)
class Shape:
    """Channels per level, blocks per level, stride of the first convolution, kernel at depth."""

    widths: tuple[int, ...] = (32, 64, 128, 256, 384)
    blocks: tuple[int, ...] = (1, 2, 2, 3, 3)
    first_stride: int = 2
    deep_kernel: int = 5


class Separable(nn.Module):
    """Depthwise then pointwise convolution, with the input added where the shapes allow."""

    def __init__(self, inside: int, outside: int, stride: int = 1, kernel: int = 3) -> None:
        super().__init__()
        self.depthwise = nn.Conv2d(inside, inside, kernel, stride, kernel // 2, groups=inside, bias=False)
        self.first = nn.BatchNorm2d(inside)
        self.pointwise = nn.Conv2d(inside, outside, 1, bias=False)
        self.second = nn.BatchNorm2d(outside)
        self.adds = stride == 1 and inside == outside

    def forward(self, x: Tensor) -> Tensor:
        y = functional.relu(self.first(self.depthwise(x)))
        y = self.second(self.pointwise(y))
        return functional.relu(x + y if self.adds else y)


class Surroundings(nn.Module):
    """Every channel is weighted by what the whole picture holds (squeeze and excitation, Hu et al. 2018)."""

    def __init__(self, width: int) -> None:
        super().__init__()
        self.down = nn.Conv2d(width, width // 8, 1)
        self.up = nn.Conv2d(width // 8, width, 1)

    def forward(self, x: Tensor) -> Tensor:
        whole = x.mean(dim=(2, 3), keepdim=True)
        return x * torch.sigmoid(self.up(functional.relu(self.down(whole))))


class Up(nn.Module):
    """Twice the size, joined with the encoder's picture of that size."""

    def __init__(self, deep: int, skip: int) -> None:
        super().__init__()
        self.narrow = nn.Sequential(nn.Conv2d(deep, skip, 1, bias=False), nn.BatchNorm2d(skip), nn.ReLU())
        self.mix = nn.Sequential(Separable(2 * skip, skip), Separable(skip, skip))

    def forward(self, deep: Tensor, skip: Tensor) -> Tensor:
        risen = functional.interpolate(
            self.narrow(deep), scale_factor=2.0, mode="bilinear", align_corners=False
        )
        return self.mix(torch.cat((risen, skip), dim=1))  # type: ignore[no-any-return]


class OutlineNet(nn.Module):
    """Picture (N, 3, H, W) in 0-1, sides a multiple of 32, to logits (N, 1, H, W): above 0 is lesion."""

    def __init__(self, shape: Shape) -> None:
        super().__init__()
        widths, stride = shape.widths, shape.first_stride
        self.stride = stride
        self.stem = nn.Sequential(
            nn.Conv2d(3, widths[0], 3, stride, 1, bias=False), nn.BatchNorm2d(widths[0]), nn.ReLU()
        )
        self.levels = nn.ModuleList(_level(shape, i) for i in range(len(widths)))
        self.rises = nn.ModuleList(Up(widths[i + 1], widths[i]) for i in reversed(range(len(widths) - 1)))
        self.drop = nn.Dropout2d(0.1)
        self.head = nn.Conv2d(widths[0], 1, 1)

    def forward(self, picture: Tensor) -> Tensor:
        x = self.stem((picture - 0.5) / 0.25)
        seen: list[Tensor] = []
        for level in self.levels:
            x = level(x)
            seen.append(x)
        x = self.drop(seen.pop())
        for rise in self.rises:
            x = rise(x, seen.pop())
        logits = self.head(x)
        if self.stride == 1:
            return logits  # type: ignore[no-any-return]
        return functional.interpolate(logits, scale_factor=2.0, mode="bilinear", align_corners=False)


def _level(shape: Shape, i: int) -> nn.Sequential:
    width, kernel = shape.widths[i], shape.deep_kernel if i >= 2 else 3
    entry = Separable(shape.widths[i - 1], width, 2, kernel) if i else nn.Identity()
    blocks = [Separable(width, width, 1, kernel) for _ in range(shape.blocks[i])]
    return nn.Sequential(entry, *blocks, *([Surroundings(width)] if i >= 2 else []))

"""A U-Net: EfficientNet-Lite on the way down, depthwise-separable convolutions on the way up."""

from __future__ import annotations

import torch
from torch import Tensor, nn
from torch.nn import functional

from .encoder import Encoder


class Separable(nn.Module):
    """Depthwise then pointwise convolution, with the input added where the shapes allow."""

    def __init__(self, inside: int, outside: int) -> None:
        super().__init__()
        self.depthwise = nn.Conv2d(inside, inside, 3, 1, 1, groups=inside, bias=False)
        self.first = nn.BatchNorm2d(inside)
        self.pointwise = nn.Conv2d(inside, outside, 1, bias=False)
        self.second = nn.BatchNorm2d(outside)
        self.adds = inside == outside

    def forward(self, x: Tensor) -> Tensor:
        y = functional.relu(self.first(self.depthwise(x)))
        y = self.second(self.pointwise(y))
        return functional.relu(x + y if self.adds else y)


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
        mixed: torch.Tensor = self.mix(torch.cat((risen, skip), dim=1))
        return mixed


class OutlineNet(nn.Module):
    """Picture (N, 3, side, side) in 0-1 to logits (N, 1, side, side): above 0 is lesion; side a multiple of 32."""

    def __init__(self, encoder: str, side: int) -> None:
        super().__init__()
        self.encoder = Encoder(encoder, side)
        widths = self.encoder.widths
        self.drop = nn.Dropout2d(0.1)
        self.rises = nn.ModuleList(Up(widths[i + 1], widths[i]) for i in reversed(range(len(widths) - 1)))
        self.head = nn.Conv2d(widths[0], 1, 1)

    def forward(self, picture: Tensor) -> Tensor:
        seen = self.encoder(picture)
        x = self.drop(seen.pop())
        for rise in self.rises:
            x = rise(x, seen.pop())
        return functional.interpolate(self.head(x), scale_factor=2.0, mode="bilinear", align_corners=False)

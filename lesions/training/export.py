"""From trained networks to one ONNX file: half-precision weights, single-precision arithmetic."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import numpy as np
import onnx
import torch
from onnx import TensorProto, helper, numpy_helper
from torch import Tensor, nn

from .lighter import lighter
from .network import OutlineNet

_OPSET = 17
_SMALL = 1024  # tensors below this many numbers stay in single precision


class Packaged(nn.Module):
    """One uint8 square for each member (members, S, S, 3) to its probability of lesion (members, S, S)."""

    def __init__(self, members: list[OutlineNet]) -> None:
        super().__init__()
        self.members = nn.ModuleList(members)

    def forward(self, squares: Tensor) -> Tensor:
        picture = squares.permute(0, 3, 1, 2).float() / 255
        logits = [member(one) for member, one in zip(self.members, picture.split(1), strict=True)]
        return torch.sigmoid(torch.cat([each[:, 0] for each in logits]))


def export(members: list[OutlineNet], side: int, target: Path) -> str:
    """Write `target` and beside it `outline.sha256`; returns the digest."""
    packaged = Packaged([m.cpu().float().to(memory_format=torch.contiguous_format) for m in members]).eval()
    squares = torch.zeros(len(members), side, side, 3, dtype=torch.uint8)
    plain = io.BytesIO()
    torch.onnx.export(
        packaged,
        (squares,),
        plain,
        input_names=["squares"],
        output_names=["probability"],
        opset_version=_OPSET,
        dynamo=False,
    )
    model = lighter(onnx.load_from_string(plain.getvalue()))
    _halve(model)
    onnx.checker.check_model(model)
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(model.SerializeToString())
    digest = hashlib.sha256(target.read_bytes()).hexdigest()
    target.with_suffix(".sha256").write_text(f"{digest}\n", encoding="ascii")
    return digest


def _halve(model: onnx.ModelProto) -> None:
    """Store large weights as float16, each turned back to float32 by a Cast the runtime folds away."""
    casts = []
    for weights in model.graph.initializer:
        values = numpy_helper.to_array(weights)
        if values.dtype != np.float32 or values.size < _SMALL:
            continue
        name = weights.name
        weights.CopyFrom(numpy_helper.from_array(values.astype(np.float16), f"{name}_half"))
        casts.append(helper.make_node("Cast", [f"{name}_half"], [name], to=TensorProto.FLOAT))
    nodes = [*casts, *model.graph.node]
    del model.graph.node[:]
    model.graph.node.extend(nodes)

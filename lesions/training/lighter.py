"""Rewrite exported networks so that the same answers take less reading and writing of memory.

A graph as it is exported goes over large maps once for each small step. Here the wide middle of a block is cut into
slices of channels that stay in the processor's cache, two maps that were joined are filtered apart, the answers are
enlarged together, and one subtraction is all that is done to a square. The weights stay the numbers that they were,
but for the first convolutions, which take in the division by half of white; sums are added up in another order, so
that probabilities differ by a millionth.
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from typing import Any

import numpy as np
import onnx
import onnxruntime
from numpy.typing import NDArray
from onnx import NodeProto, helper, numpy_helper

_BLOCK = 16  # channels that the runtime's convolutions take at once
_NEAR = 2**18  # numbers of one slice: a megabyte, what a core keeps near itself
_GREY = 127.5  # half of white: the networks see what a square differs from it, as a share of it

Weights = NDArray[np.float32]


class Graph:
    """The nodes of a model by what they give, and its weights."""

    def __init__(self, model: onnx.ModelProto) -> None:
        self.model = model
        self.answer = model.graph.output[0].name
        self.nodes = {name: node for node in model.graph.node for name in node.output}
        self.weights = {each.name: numpy_helper.to_array(each) for each in model.graph.initializer}
        shaped = onnx.shape_inference.infer_shapes(model).graph.value_info
        self._sides: dict[str, list[int]] = {
            each.name: [side.dim_value for side in each.type.tensor_type.shape.dim] for each in shaped
        }

    def size(self, name: str) -> int:
        """Numbers of one channel of a map."""
        height, width = self._sides[name][2:]
        return height * width

    def add(
        self, kind: str, takes: Sequence[str], gives: str, like: NodeProto | None = None, **more: Any
    ) -> str:
        """A node more; what is not said of it is as of the one that it is like."""
        node = helper.make_node(kind, takes, [gives], **more)
        node.attribute.extend(each for each in (like.attribute if like else ()) if each.name not in more)
        self.nodes[gives] = node
        return gives

    def keep(self, name: str, values: NDArray[Any]) -> str:
        self.weights[name] = np.ascontiguousarray(values)
        return name

    def written(self) -> onnx.ModelProto:
        """The model: nodes that the answer needs, each behind those that it takes from."""
        wanted, order = [self.nodes[self.answer]], dict[str, NodeProto]()
        while wanted:
            node = wanted[-1]
            takes = [self.nodes[name] for name in node.input if name in self.nodes]
            missing = [each for each in takes if each.output[0] not in order]
            wanted += missing
            if not missing:
                order[node.output[0]] = node
                wanted.pop()
        taken = {name for node in order.values() for name in node.input}
        graph = self.model.graph
        del graph.node[:], graph.initializer[:], graph.value_info[:]
        graph.node.extend(order.values())
        graph.initializer.extend(numpy_helper.from_array(v, n) for n, v in self.weights.items() if n in taken)
        return self.model


def lighter(model: onnx.ModelProto) -> onnx.ModelProto:
    """Rewrite a model that gives what two networks see in one square each, weights in single precision."""
    graph = Graph(_folded(model))
    _one_subtraction(graph)
    for node in [each for each in graph.nodes.values() if each.op_type == "Conv"]:
        slices = _slices(graph, node)
        if len(slices) > 1:
            _filtered_apart(graph, node, slices)
    _enlarged_together(graph)
    return graph.written()


def _folded(model: onnx.ModelProto) -> onnx.ModelProto:
    """The model after the runtime's own first step: what is constant worked out, padding taken into convolutions."""
    options = onnxruntime.SessionOptions()
    options.graph_optimization_level = onnxruntime.GraphOptimizationLevel.ORT_ENABLE_BASIC
    with tempfile.TemporaryDirectory() as folder:
        options.optimized_model_filepath = f"{folder}/folded.onnx"
        onnxruntime.InferenceSession(model.SerializeToString(), options, providers=["CPUExecutionProvider"])
        folded = onnx.load(options.optimized_model_filepath)
    kept = list(model.opset_import)
    del folded.opset_import[:]
    folded.opset_import.extend(kept)
    return folded


def _one_subtraction(graph: Graph) -> None:
    """(x / 255 - 1/2) / (1/2) is (x - 127.5) / 127.5: the division goes into the weights that meet it first."""
    split = next(node for node in graph.nodes.values() if node.op_type == "Split")
    squares = [f"{name}_square" for name in split.output]
    apart = helper.make_node("Split", ["squares", split.input[1]], squares, axis=0)
    graph.nodes.update(dict.fromkeys(squares, apart))
    grey = graph.keep("grey", np.array(_GREY, dtype=np.float32))
    for name, square in zip(split.output, squares, strict=True):
        first = _taking(graph, _taking(graph, _taking(graph, name).output[0]).output[0])
        planes = graph.add("Transpose", [square], f"{square}_planes", perm=[0, 3, 1, 2])
        numbers = graph.add("Cast", [planes], f"{square}_numbers", to=onnx.TensorProto.FLOAT)
        first.input[0] = graph.add("Sub", [numbers, grey], f"{square}_seen")
        weights = graph.weights[first.input[1]].astype(np.float64) / _GREY
        first.input[1] = graph.keep(f"{first.input[1]}_scaled", weights.astype(np.float32))


def _slices(graph: Graph, deep: NodeProto) -> list[slice]:
    """How the channels that a depthwise convolution takes are best cut; one slice where they had better stay."""
    width = len(graph.weights[deep.input[1]])
    source = graph.nodes.get(deep.input[0])
    if _group(deep) != width or source is None:
        return []
    if source.op_type == "Concat":
        parts = len(source.input)
    else:
        most = max(_BLOCK, _NEAR // graph.size(deep.input[0]))
        parts = next(n for n in range(1, width + 1) if width % n == 0 and width // n <= most)
    each = width // parts
    return [slice(i * each, (i + 1) * each) for i in range(parts)] if each % _BLOCK == 0 else []


def _filtered_apart(graph: Graph, deep: NodeProto, slices: list[slice]) -> None:
    """Filter slices of channels one after the other and add up what the pointwise convolution makes of each."""
    bend = _taking(graph, deep.output[0])
    mix = _taking(graph, bend.output[0])
    total = ""
    for number, part in enumerate(slices):
        name = f"{mix.output[0]}_{number}"
        seen = _source(graph, deep.input[0], number, part, name)
        seen = _convolved(graph, deep, seen, part, f"{name}_deep", group=part.stop - part.start)
        seen = graph.add(bend.op_type, [seen, *bend.input[1:]], f"{name}_bent", bend)
        takes = [seen, graph.keep(f"{name}_mix", graph.weights[mix.input[1]][:, part])]
        seen = graph.add("Conv", [*takes, *(mix.input[2:] if number == 0 else ())], name, mix)
        last = number == len(slices) - 1
        total = graph.add("Add", [total, seen], mix.output[0] if last else f"{name}_sum") if total else seen


def _source(graph: Graph, name: str, number: int, part: slice, sliced: str) -> str:
    """One of the maps that were joined, or a slice of what a convolution gives."""
    source = graph.nodes[name]
    if source.op_type == "Concat":
        return str(source.input[number])
    wide = graph.nodes[source.input[0]]
    seen = _convolved(graph, wide, wide.input[0], part, f"{sliced}_wide")
    return graph.add(source.op_type, [seen, *source.input[1:]], f"{sliced}_widened", source)


def _convolved(graph: Graph, like: NodeProto, seen: str, part: slice, gives: str, **more: Any) -> str:
    """Some of the channels that a convolution gives."""
    kept = [graph.keep(f"{gives}_{i}", graph.weights[name][part]) for i, name in enumerate(like.input[1:])]
    return graph.add("Conv", [seen, *kept], gives, like, **more)


def _enlarged_together(graph: Graph) -> None:
    """Both answers brought to the square's size in one go, and not each among padding to whole blocks."""
    joined = graph.nodes[graph.nodes[graph.answer].input[0]]
    large = [graph.nodes[graph.nodes[name].input[0]] for name in joined.input]
    answers = graph.add("Concat", [each.input[0] for each in large], "answers", axis=0)
    wide = graph.add("Resize", [answers, *large[0].input[1:]], "answers_wide", large[0])
    axis = graph.keep("answers_axis", np.array([1]))
    graph.add("Squeeze", [wide, axis], joined.output[0])


def _taking(graph: Graph, name: str) -> NodeProto:
    return next(node for node in graph.nodes.values() if name in node.input)


def _group(node: NodeProto) -> int:
    return next((int(each.i) for each in node.attribute if each.name == "group"), 1)

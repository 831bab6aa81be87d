"""The rewritten graph answers as the exported one; needs what the training installs, and is skipped without."""

import numpy as np
import pytest

onnx = pytest.importorskip("onnx", reason="onnx is a requirement of the training alone")
runtime = pytest.importorskip("onnxruntime")
lighter = pytest.importorskip("lesions.training.lighter").lighter
helper, numpy_helper = onnx.helper, onnx.numpy_helper

SIDE, WIDE = 64, 48  # squares, and channels in the middle of a block


class Sketch:
    """A graph of the exported kind: two networks of one block down and one up."""

    def __init__(self):
        self.draws, self.nodes, self.weights = np.random.default_rng(4), [], []

    def constant(self, name, values):
        self.weights.append(numpy_helper.from_array(np.asarray(values), name))
        return name

    def add(self, kind, takes, gives, **more):
        self.nodes.append(
            helper.make_node(kind, takes, gives if isinstance(gives, list) else [gives], **more)
        )
        return gives

    def convolved(self, seen, gives, outside, inside, size=1, **more):
        shape = outside, inside, size, size
        scale = 1 / np.sqrt(inside * size * size)
        weights = self.constant(f"{gives}_w", self.draws.normal(0, scale, shape).astype(np.float32))
        bias = self.constant(f"{gives}_b", self.draws.normal(0, 0.1, outside).astype(np.float32))
        return self.add(
            "Conv", [seen, weights, bias], gives, kernel_shape=[size, size], pads=[size // 2] * 4, **more
        )

    def filtered(self, seen, name, channels, outside, bend, limits=()):
        """Depthwise, bent, pointwise."""
        seen = self.convolved(seen, f"{name}_deep", channels, 1, 3, group=channels)
        seen = self.add(bend, [seen, *limits], f"{name}_bent")
        return self.convolved(seen, f"{name}_mixed", outside, channels)

    def member(self, seen, name):
        seen = self.add("Sub", [seen, "half"], f"{name}_less")
        seen = self.add("Div", [seen, "half"], f"{name}_share")
        fine = self.convolved(seen, f"{name}_stem", 16, 3, 3, strides=[2, 2])
        wide = self.add(
            "Clip", [self.convolved(fine, f"{name}_wide", WIDE, 16), "none", "six"], f"{name}_clip"
        )
        coarse = self.convolved(
            self.filtered(wide, name, WIDE, 16, "Clip", ("none", "six")),
            f"{name}_down",
            16,
            16,
            3,
            strides=[2, 2],
        )
        risen = self.add("Resize", [coarse, "", "twice"], f"{name}_risen", mode="linear")
        joined = self.add("Concat", [risen, fine], f"{name}_joined", axis=1)
        seen = self.convolved(self.filtered(joined, f"{name}_up", 32, 16, "Relu"), f"{name}_head", 1, 16)
        large = self.add("Resize", [seen, "", "twice"], f"{name}_large", mode="linear")
        return self.add("Gather", [large, "first"], f"{name}_map", axis=1)

    def model(self):
        for name, values in (
            ("white", np.float32(255)),
            ("half", np.float32(0.5)),
            ("none", np.float32(0)),
            ("six", np.float32(6)),
            ("twice", np.array([1, 1, 2, 2], np.float32)),
            ("first", np.int64(0)),
            ("each", np.array([1, 1])),
        ):
            self.constant(name, values)
        planes = self.add("Transpose", ["squares"], "planes", perm=[0, 3, 1, 2])
        numbers = self.add("Cast", [planes], "numbers", to=onnx.TensorProto.FLOAT)
        self.add("Split", [self.add("Div", [numbers, "white"], "shares"), "each"], ["one", "two"], axis=0)
        maps = [self.member(name, f"of_{name}") for name in ("one", "two")]
        self.add("Sigmoid", [self.add("Concat", maps, "both", axis=0)], "probability")
        squares = helper.make_tensor_value_info("squares", onnx.TensorProto.UINT8, [2, SIDE, SIDE, 3])
        answer = helper.make_tensor_value_info("probability", onnx.TensorProto.FLOAT, [2, SIDE, SIDE])
        graph = helper.make_graph(self.nodes, "sketch", [squares], [answer], self.weights)
        return helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=8)


def answered(model, squares):
    session = runtime.InferenceSession(model.SerializeToString(), providers=["CPUExecutionProvider"])
    return session.run(None, {"squares": squares})[0]


def test_the_rewritten_graph_gives_the_same_probabilities(monkeypatch):
    monkeypatch.setattr(
        "lesions.training.lighter._NEAR", 16 * (SIDE // 2) ** 2
    )  # so that there is something to cut
    squares = np.random.default_rng(1).integers(0, 256, (2, SIDE, SIDE, 3), dtype=np.uint8)
    plain = Sketch().model()
    expected, rewritten = answered(plain, squares), lighter(Sketch().model())
    onnx.checker.check_model(rewritten)
    assert answered(rewritten, squares) == pytest.approx(expected, abs=2e-6)
    groups = [a.i for node in rewritten.graph.node for a in node.attribute if a.name == "group" and a.i > 1]
    assert groups == [16] * 10  # per network three slices of the block and the two maps that were joined
    assert (
        sum(node.op_type == "Resize" for node in rewritten.graph.node) == 3
    )  # one up in each, both answers at once

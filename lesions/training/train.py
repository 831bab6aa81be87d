"""The training loop: seeded, with averaged weights, watched on pictures that do not train."""

from __future__ import annotations

import copy
import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import torch
from torch import Tensor
from torch.nn import functional

from . import data
from .augment import Stock, Strength, places, views
from .network import OutlineNet


@dataclass(frozen=True)
class Plan:
    """Everything that decides the outcome besides the pictures."""

    seed: int = 7
    encoder: str = "lite2"
    strength: Strength = field(default_factory=Strength)
    rounds: int = 100
    batch: int = 16
    side: int = 256
    rate: float = 5e-4
    decay: float = 1e-2
    average: float = 0.999
    wide_share: float = 0.5  # extra weight of 3:2 pictures (large cameras, small lesions)
    border: float = 0.5


Watcher = Callable[[int, float, OutlineNet], None]


def stock_of(examples: list[data.Example], device: torch.device) -> tuple[Stock, Tensor]:
    """Put the pictures on the device; returns them with their true aspects."""
    pairs = [data.squeezed(e) for e in examples]
    pictures = torch.from_numpy(np.stack([p for p, _ in pairs])).permute(0, 3, 1, 2).contiguous()
    masks = torch.from_numpy(np.stack([m for _, m in pairs]))[:, None]
    aspects = torch.tensor([e.aspect for e in examples], dtype=torch.float32)
    reach, centre, size = (t.to(device) for t in places(masks, aspects))
    return Stock(pictures.to(device), masks.to(device), reach, centre, size), aspects


def loss(logits: Tensor, target: Tensor, inside: Tensor, border: float) -> Tensor:
    """Cross-entropy (heavier along the border) plus one minus the soft Jaccard index, inside the picture."""
    edge = functional.max_pool2d(target, 7, 1, 3) - (1 - functional.max_pool2d(1 - target, 7, 1, 3))
    weight = inside * (1 + border * edge)
    entropy = (
        functional.binary_cross_entropy_with_logits(logits, target, weight, reduction="sum") / weight.sum()
    )
    p = torch.sigmoid(logits) * inside
    wanted = target * inside
    both = (p * wanted).sum((1, 2, 3))
    either = (p + wanted).sum((1, 2, 3)) - both
    return entropy + (1 - (both + 1) / (either + 1)).mean()


def train(examples: list[data.Example], plan: Plan, device: torch.device, watch: Watcher) -> OutlineNet:
    """Train on the examples and return the network with averaged weights.

    `watch` is called after every round with its number, the mean loss and the averaged network.
    """
    torch.manual_seed(plan.seed)
    stock, aspects = stock_of(examples, device)
    net = OutlineNet(plan.encoder, plan.side).to(device, memory_format=torch.channels_last)
    averaged: OutlineNet = copy.deepcopy(net).eval()
    steps = max(1, len(examples) // plan.batch)
    stepper = Stepper(net, stock, plan)
    average = _Average(averaged, net, plan.average)
    worth = torch.where(aspects > 1.45, 1 + plan.wide_share, 1.0)
    for number in range(plan.rounds):
        order = torch.multinomial(worth, steps * plan.batch, replacement=True).to(device).view(steps, -1)
        for i, chosen in enumerate(order):
            stepper.step(chosen, plan.rate * _rate_at(number * steps + i, plan.rounds * steps))
            average.follow(number * steps + i)
        watch(number, stepper.mean_loss(steps), averaged)
    return averaged


class Stepper:
    """One optimisation step; on a GPU it is recorded once and replayed, for it is hundreds of tiny kernels."""

    def __init__(self, net: OutlineNet, stock: Stock, plan: Plan) -> None:
        self.net, self.stock, self.plan = net, stock, plan
        device = stock.pictures.device
        self.rate = torch.zeros((), device=device)
        self.chosen = torch.zeros(plan.batch, dtype=torch.int64, device=device)
        self.total = torch.zeros((), device=device)
        self.optimizer = torch.optim.AdamW(
            net.parameters(),
            lr=self.rate,
            weight_decay=plan.decay,
            capturable=device.type == "cuda",
            foreach=False if device.type == "cpu" else None,
        )
        self.graph = self._recorded() if device.type == "cuda" else None

    def step(self, chosen: Tensor, rate: float) -> None:
        self.chosen.copy_(chosen)
        self.rate.fill_(rate)
        if self.graph is None:
            self.optimizer.zero_grad(set_to_none=True)
            self._step()
        else:
            self.graph.replay()

    def mean_loss(self, steps: int) -> float:
        """Mean over the last `steps` steps; starts counting anew."""
        mean = float(self.total) / steps
        self.total.zero_()
        return mean

    def _step(self) -> None:
        pictures, target, inside = views(self.stock, self.chosen, self.plan.side, self.plan.strength)
        with torch.autocast(pictures.device.type, torch.bfloat16, pictures.is_cuda, cache_enabled=False):
            logits = self.net(pictures)
        value = loss(logits.float(), target, inside, self.plan.border)
        value.backward()
        torch.nn.utils.clip_grad_norm_(self.net.parameters(), 1.0)
        self.optimizer.step()
        self.total.add_(value.detach())

    def _recorded(self) -> torch.cuda.CUDAGraph:
        stream = torch.cuda.Stream()
        stream.wait_stream(torch.cuda.current_stream())
        with torch.cuda.stream(stream):
            for _ in range(3):  # at rate 0: lets the libraries choose their kernels, moves no weight
                self.optimizer.zero_grad(set_to_none=True)
                self._step()
        torch.cuda.current_stream().wait_stream(stream)
        self.optimizer.zero_grad(set_to_none=True)
        graph = torch.cuda.CUDAGraph()
        with torch.cuda.graph(graph):
            self._step()
        self.total.zero_()
        return graph


class _Average:
    """Keeps the averaged weights close behind the present ones; normalisation statistics likewise."""

    def __init__(self, averaged: OutlineNet, net: OutlineNet, keep: float) -> None:
        old, new = averaged.state_dict(), net.state_dict()
        floats = [k for k, v in old.items() if v.is_floating_point()]
        self.old, self.new, self.keep = [old[k] for k in floats], [new[k] for k in floats], keep

    @torch.no_grad()
    def follow(self, step: int) -> None:
        keep = min(self.keep, (step + 1) / (step + 10))
        torch._foreach_lerp_(self.old, self.new, 1 - keep)


def _rate_at(step: int, steps: int) -> float:
    """Warm-up, then half a cosine down to nothing."""
    warm = max(1, min(500, steps // 10))
    if step < warm:
        return (step + 1) / warm
    return 0.5 * (1 + math.cos(math.pi * (step - warm) / max(1, steps - warm)))

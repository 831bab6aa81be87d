"""The networks whose answers are averaged: unlike in encoder and in views, so that they err in different places."""

from __future__ import annotations

import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context

import torch

from . import data
from .augment import Strength
from .network import OutlineNet
from .train import Plan, Watcher, train


def plans(seed: int, rounds: int) -> list[Plan]:
    """The pair: the larger network with all views, the smaller one with milder colours and no faded lesions."""
    larger = Plan(seed=seed, rounds=rounds)
    return [larger, replace(larger, seed=seed + 1, encoder="lite0", strength=Strength(faded=0.0, colour=0.5))]


def trained(examples: list[data.Example], pair: list[Plan], device: str) -> list[OutlineNet]:
    """One network for each plan: on GPUs all at once, one device each where there are enough; else in turn."""
    if device == "cpu":
        return [_member(examples, plan, device) for plan in pair]
    where = [f"cuda:{i % torch.cuda.device_count()}" for i in range(len(pair))]
    with ProcessPoolExecutor(len(pair), get_context("spawn")) as pool:
        return list(pool.map(_member, [examples] * len(pair), pair, where))


def _member(examples: list[data.Example], plan: Plan, device: str) -> OutlineNet:
    torch.backends.cudnn.benchmark = True
    if device != "cpu":
        torch.cuda.set_device(device)
    trained: OutlineNet = train(examples, plan, torch.device(device), _watcher(plan)).cpu()
    return trained


def _watcher(plan: Plan) -> Watcher:
    begun = time.monotonic()

    def say(number: int, loss: float, _: OutlineNet) -> None:
        taken = time.monotonic() - begun
        sys.stderr.write(
            f"{plan.encoder}: round {number + 1} of {plan.rounds}, loss {loss:.4f}, {taken:.0f} s\n"
        )

    return say

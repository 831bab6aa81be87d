"""The networks whose answers are averaged: trained one for each seed, as many at a time as there are devices."""

from __future__ import annotations

import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context

import torch

from . import data
from .network import OutlineNet
from .train import Plan, Watcher, train


def trained(examples: list[data.Example], plan: Plan, seeds: list[int], device: str) -> list[OutlineNet]:
    """One network for each seed; as many at a time as there are devices."""
    devices = [f"cuda:{i}" for i in range(torch.cuda.device_count())] if device == "cuda" else ["cpu"]
    plans = [replace(plan, seed=seed) for seed in seeds]
    where = [devices[i % len(devices)] for i in range(len(seeds))]
    if len(devices) == 1:
        return [_member(examples, one, device) for one, device in zip(plans, where, strict=True)]
    with ProcessPoolExecutor(len(devices), get_context("spawn")) as pool:
        return list(pool.map(_member, [examples] * len(seeds), plans, where))


def _member(examples: list[data.Example], plan: Plan, device: str) -> OutlineNet:
    torch.backends.cudnn.benchmark = True
    if device != "cpu":
        torch.cuda.set_device(device)
    return train(examples, plan, torch.device(device), _watcher(plan.seed, plan.rounds)).cpu()


def _watcher(seed: int, rounds: int) -> Watcher:
    begun = time.monotonic()

    def say(number: int, loss: float, _: OutlineNet) -> None:
        taken = time.monotonic() - begun
        sys.stderr.write(f"seed {seed}: round {number + 1} of {rounds}, loss {loss:.4f}, {taken:.0f} s\n")

    return say

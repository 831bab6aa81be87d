"""Train the learned outline: `python -m lesions.training DATA_FOLDER --out FOLDER`."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import torch

from lesions.analysis.outline import learned

from . import card, data, judge
from .export import export
from .members import plans, trained
from .network import OutlineNet
from .train import Plan


def main(words: list[str] | None = None) -> int:
    asked = _parser().parse_args(words)
    pair = plans(asked.seed, asked.rounds)
    examples = data.load_all(asked.data / data.TRAINS, asked.pictures)
    _package(trained(examples, pair, asked.device), pair, len(examples), asked)
    return 0


def _package(members: list[OutlineNet], pair: list[Plan], examples: int, asked: argparse.Namespace) -> None:
    weights: Path = asked.out / "outline.onnx"
    digest = export(members, pair[0].side, weights)
    # The card judges the file that was just written, not the one that is shipped.
    learned.WEIGHTS = weights
    judged = {
        name: judge.judge_all(data.load_all(asked.data / name, asked.pictures))
        for name in (data.CHOOSES, data.LOOKS)
    }
    facts: dict[str, object] = {
        "digest": digest,
        "size": weights.stat().st_size / 1e6,
        "parameters": sum(p.numel() for m in members for p in m.parameters()) / 1e6,
        "trained": examples,
    }
    card.write(asked.out / "CARD.md", pair, facts, judged)
    print(f"{weights}: {facts['size']:.1f} MB, SHA-256 {digest}")


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m lesions.training", description=__doc__)
    parser.add_argument("data", type=Path, help=f"folder with {data.TRAINS}, {data.CHOOSES} and {data.LOOKS}")
    parser.add_argument(
        "--out", type=Path, required=True, help="folder for outline.onnx, outline.sha256, CARD.md"
    )
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--rounds", type=int, default=Plan.rounds, help="fewer for a trial or without a GPU")
    parser.add_argument("--pictures", type=int, help="at most so many of each set, for a trial")
    parser.add_argument(
        "--device", choices=("cuda", "cpu"), default="cuda" if torch.cuda.is_available() else "cpu"
    )
    return parser


if __name__ == "__main__":
    sys.exit(main())

"""python -m lesions.analysis measure|compare"""

from __future__ import annotations

import argparse
import json
import math
import sys
from pathlib import Path
from typing import NoReturn

from .types import Comparison, Measurement, Outline, Scale

_GIVEN_UNCERTAINTY = 0.02  # common practice, no source: what a typed scale is trusted to


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        raise ValueError(message)


def main(arguments: list[str] | None = None) -> int:
    """Answer on stdout; 0 answered, 2 unreadable input or wrong arguments with one line on stderr."""
    try:
        asked = _parser().parse_args(arguments)
        result = _measure(asked) if asked.question == "measure" else _compare(asked)
    except (ValueError, OSError) as fault:
        print(f"lesions.analysis: {_one_line(fault)}", file=sys.stderr)
        return 2
    if asked.json:
        print(json.dumps(result.to_json(), ensure_ascii=False, allow_nan=False))
        return 0
    from lesions.analysis import terminal  # noqa: PLC0415  loads numpy, which help does without

    lines = (
        terminal.of_measurement(result) if isinstance(result, Measurement) else terminal.of_comparison(result)
    )
    print("\n".join(lines))
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(prog="python -m lesions.analysis", description="Measure a picture, or compare two.")
    questions = parser.add_subparsers(dest="question", required=True)
    one = questions.add_parser("measure", help="outline and measure one picture")
    one.add_argument("picture", type=Path)
    one.add_argument("--mm-per-px", type=float, metavar="F", help="millimetres per pixel of the full picture")
    one.add_argument("--outline", type=Path, metavar="FILE.json", help='{"points": [[x, y], ...]}')
    two = questions.add_parser("compare", help="lay the later picture on the earlier one")
    two.add_argument("earlier", type=Path)
    two.add_argument("later", type=Path)
    two.add_argument("--mm-per-px", type=float, nargs=2, metavar=("E", "L"))
    two.add_argument("--outlines", type=Path, nargs=2, metavar=("E.json", "L.json"))
    for each in (one, two):
        each.add_argument("--json", action="store_true", help="one JSON object instead of sentences")
    return parser


def _measure(asked: argparse.Namespace) -> Measurement:
    return _measured(asked.picture.read_bytes(), asked.mm_per_px, asked.outline)


def _compare(asked: argparse.Namespace) -> Comparison:
    from .pipeline import compare  # noqa: PLC0415  loads scikit-image, which help does without

    earlier, later = asked.earlier.read_bytes(), asked.later.read_bytes()
    scales, outlines = asked.mm_per_px or (None, None), asked.outlines or (None, None)
    first, second = _measured(earlier, scales[0], outlines[0]), _measured(later, scales[1], outlines[1])
    return compare(earlier, later, earlier_measurement=first, later_measurement=second)


def _measured(data: bytes, mm_per_px: float | None, outline: Path | None) -> Measurement:
    from .pipeline import measure  # noqa: PLC0415  loads scikit-image, which help does without

    if mm_per_px is not None and not (mm_per_px > 0 and math.isfinite(mm_per_px)):
        raise ValueError("--mm-per-px must be a number above 0")
    scale = None if mm_per_px is None else Scale(mm_per_px, "given", _GIVEN_UNCERTAINTY)
    return measure(data, scale=scale, outline=None if outline is None else _outline(outline))


def _outline(path: Path) -> Outline:
    try:
        return Outline.from_json(json.loads(path.read_text("utf-8")))
    except (ValueError, KeyError, TypeError) as fault:
        raise ValueError(f'{path.name} is no outline: {{"points": [[x, y], ...]}} is wanted') from fault


def _one_line(fault: Exception) -> str:
    return " ".join(str(fault).split())


if __name__ == "__main__":
    sys.exit(main())

"""Growth is not zoom: pairs made of real pictures, and what the comparison says of each.

python -m tests.bench.pairs --pictures FOLDER [--pairs 40] [--half first|second|all] [--seed 1000] [--sheets FOLDER]

FOLDER holds NAME.jpg and NAME_mask.png (an expert's outline). Every second picture is the `first` half, for
developing; the others judge. A pair is sure where neither outline is doubted by its own picture. Seed 1000 judged until
version 2026.5 and was looked into for 2026.6; from then on a seed that no table of results/imaging.md names judges.
"""

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from lesions.analysis import pipeline
from lesions.analysis.compare import rim
from lesions.analysis.types import Comparison, Scale, area_of
from tests.bench import pair_maker, pair_sheet
from tests.bench.pair_maker import KINDS, Pair
from tests.bench.table import load, row

SCALE_ERROR = 0.01  # of each scale, one standard deviation: a ruler read, common practice, no source
WITHIN = 0.03


@dataclass(frozen=True)
class Seen:
    """One pair and what was said of it."""

    name: str
    pair: Pair
    scaled: bool
    found: Comparison

    @property
    def sure(self):
        """By the pictures themselves: what the comparison doubts on top is counted by itself."""
        return not self.found.earlier.doubt and not {d.code for d in self.found.later.doubt} - {"rim_unmoved"}

    @property
    def aligned(self):
        return self.found.registration.aligned

    @property
    def zoom_error(self):
        matrix = np.array(self.found.registration.matrix)
        return abs(float(np.hypot(matrix[0, 0], matrix[1, 0])) / self.pair.zoom - 1)

    @property
    def beyond(self):
        """Whether growth is said, not in doubt: of the outlines' area, in millimetres where known, or of the rim's."""
        return not self.said_doubtful and any(
            row is not None and row.beyond and row.delta > 0 for row in (self.area, self.rim)
        )

    @property
    def area(self):
        return area_of(self.found.deltas)

    @property
    def rim(self):
        return next((d for d in self.found.deltas if d.name == rim.NAME), None)

    @property
    def shrunk(self):
        """Whether the outlines say that the lesion became smaller."""
        return bool(self.area and self.area.beyond and self.area.delta < 0)

    @property
    def said_doubtful(self):
        return any(doubt.code == "rim_unmoved" for doubt in self.found.later.doubt)

    @property
    def drawn(self):
        return any(region.kind == "grown" for region in self.found.regions)

    @property
    def fresh(self):
        return any(region.kind in ("new_colour", "darker") for region in self.found.regions)


def pictures(folder, half):
    """Names of the half, without lesions that leave the frame or have no skin round them to be held."""
    names = sorted(p for p in Path(folder).glob("*.jpg") if p.with_name(f"{p.stem}_mask.png").exists())
    start, step = {"first": (0, 2), "second": (1, 2), "all": (0, 1)}[half]
    for name in names[start::step]:
        mask = np.array(Image.open(name.with_name(f"{name.stem}_mask.png")).convert("L")) > 127
        rim = max(3, mask.shape[1] // 20)
        inner = np.zeros_like(mask)
        inner[rim:-rim, rim:-rim] = True
        if mask.any() and not (mask & ~inner).any():
            yield name, mask


def pairs(folder, half, most, seed=1000):
    """Pairs of every kind in turn; the two in a row of one kind are with and without scales."""
    for i, (name, mask) in enumerate(pictures(folder, half)):
        if i >= most:
            return
        pixels = np.array(Image.open(name).convert("RGB"))
        kind = KINDS[i // 2 % len(KINDS)]
        yield name.stem, pair_maker.make(pixels, mask, kind, seed=seed + i), i % 2 == 0, i


def scales(pair, scaled, seed):
    if not scaled:
        return None, None
    rng = np.random.default_rng([seed, 9])
    return [Scale(mm * (1 + SCALE_ERROR * rng.normal()), "ruler", SCALE_ERROR) for mm in pair.mm_per_px]


def judged(name, pair, scaled, seed):
    both = [
        pipeline.measure(data, scale=scale, look_for_ruler=False)
        for data, scale in zip((pair.earlier, pair.later), scales(pair, scaled, seed), strict=True)
    ]
    found = pipeline.compare(pair.earlier, pair.later, earlier_measurement=both[0], later_measurement=both[1])
    return Seen(name, pair, scaled, found)


def share(rows, what):
    rows = list(rows)
    return f"{sum(map(what, rows))} of {len(rows)}" if rows else "none"


def table(seen):
    for title, some in (
        ("all", seen),
        ("sure", [s for s in seen if s.sure]),
        ("sure, with scales", [s for s in seen if s.sure and s.scaled]),
        ("sure, without scales", [s for s in seen if s.sure and not s.scaled]),
    ):
        report(title, some)
    for kind in KINDS:
        some = [s for s in seen if s.sure and s.pair.kind == kind]
        text = ", ".join(share(some, w) for w in (aligned, beyond, drawn, fresh))
        row(f"  {kind.name}: aligned, beyond, grown drawn, darker or new drawn", text)
    rims([s for s in seen if s.sure])


def rims(sure):
    """How often the rim itself was found again, how true it is, and what becomes of outlines that drew in."""
    found = [s for s in sure if s.rim is not None]
    still = [s.rim.delta for s in found if s.pair.kind.growth == 1]
    row("sure: the rim found again", f"{len(found)} of {len(sure)}")
    if still:
        row("  not grown: its change of area, root mean square", f"{np.sqrt(np.mean(np.square(still))):.2%}")
    for title, patch in (("new patch", True), ("no patch, no growth", False)):
        some = [s for s in sure if s.pair.kind.patch == patch and s.pair.kind.growth == 1]
        less = [s for s in some if s.shrunk]
        row(
            f"  {title}: outline smaller beyond, of these said to be doubtful",
            f"{share(some, shrunk)}, {share(less, said)}",
        )


def report(title, some):
    laid = [s for s in some if s.aligned]
    grown = [s for s in some if s.pair.kind.growth > 1]
    still = [s for s in some if s.pair.kind.growth == 1]
    row(f"{title}: pairs, aligned", f"{len(some)}, {share(some, aligned)}")
    row(f"  scale within {WITHIN:.0%} of the camera's, of the aligned", share(laid, right))
    if laid:
        error = np.sqrt(np.mean([s.zoom_error**2 for s in laid]))
        row("  error of the scale, root mean square", f"{error:.2%}")
    row("  grown: beyond / drawn / both", " / ".join(share(grown, w) for w in (beyond, drawn, both)))
    row("  not grown: beyond / drawn / either", " / ".join(share(still, w) for w in (beyond, drawn, either)))


def aligned(s):
    return s.aligned


def right(s):
    return s.zoom_error <= WITHIN


def beyond(s):
    return s.beyond


def drawn(s):
    return s.drawn


def fresh(s):
    return s.fresh


def shrunk(s):
    return s.shrunk


def said(s):
    return s.said_doubtful


def both(s):
    return s.beyond and s.drawn


def either(s):
    return s.beyond or s.drawn


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--pictures", type=Path, required=True)
    parser.add_argument("--pairs", type=int, default=40)
    parser.add_argument("--half", choices=("first", "second", "all"), default="second")
    parser.add_argument("--seed", type=int, default=1000)
    parser.add_argument("--sheets", type=Path, help="folder for one sheet a pair: earlier, later, change map")
    asked = parser.parse_args()
    load()
    seen = [judged(*each) for each in pairs(asked.pictures, asked.half, asked.pairs, asked.seed)]
    table(seen)
    if asked.sheets:
        asked.sheets.mkdir(parents=True, exist_ok=True)
        for s in seen:
            pair_sheet.draw(s).save(asked.sheets / f"{s.name}.png")
    load()


if __name__ == "__main__":
    main()

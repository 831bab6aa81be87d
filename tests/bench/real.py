"""Open pictures with experts' outlines: the learned outline, the vote and both, by skin tone and by hard kind."""

from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image
from skimage.draw import polygon2mask

from lesions.analysis.outline import agreement, doubts, finders, learned
from lesions.analysis.picture import prepare
from lesions.analysis.picture.colour import to_lab
from tests.bench import kinds
from tests.bench.table import row

DATA = Path(__file__).resolve().parents[3] / "shared" / "data"
SMALL, LARGE = DATA / "dermoscopy-small", DATA / "dermoscopy"
BOTH = "network and vote"


@dataclass(frozen=True)
class Judged:
    """One open picture: per way its Jaccard with the expert and whether it was doubted."""

    name: str
    ways: dict
    tone: str
    kinds: set


def judged(picture):
    """Read and made ready once; the network looks once, whoever of the three asks."""
    pixels = np.array(Image.open(picture).convert("RGB"))
    truth = np.array(Image.open(picture.with_name(f"{picture.stem}_mask.png")).convert("L")) > 127
    ready = prepare.picture(picture.read_bytes())
    with one_look():
        found = {way: search(ready) for way, search in WAYS.items()}
    ways = {way: (score(ready, ring, truth), bool(doubt)) for way, (ring, doubt) in found.items()}
    return Judged(picture.stem, ways, tone(pixels, truth), kinds.of(pixels, truth))


def score(ready, ring, truth):
    if ring is None:
        return 0.0
    return agreement.jaccard(polygon2mask(truth.shape, ready.to_full(ring)[:, ::-1] - 0.5), truth)


@contextmanager
def one_look():
    """The network's answer is kept: within this block there is one picture only."""
    plain, kept = learned.look, []

    def once(pixels):
        kept[:] = kept or [plain(pixels)]
        return kept[0]

    learned.look = once
    try:
        yield
    finally:
        learned.look = plain


def learned_alone(ready):
    """The network's outline as it comes, not held against the vote."""
    if learned.available():
        return None, (doubts.NONE_FOUND,)
    seen = learned.look(ready.pixels)
    ring = finders.border(seen.probability)
    if ring is None:
        return None, (doubts.NONE_FOUND,)
    return ring, doubts.of_network(ready, ring, seen.agreement, 1.0)


def vote_alone(ready):
    plain, learned.available = learned.available, lambda: "switched off for this row"
    try:
        return both(ready)
    finally:
        learned.available = plain


def both(ready):
    """What the program answers."""
    found = finders.search(ready)
    return found.ring, found.doubt


WAYS = {"learned alone": learned_alone, "vote alone": vote_alone, BOTH: both}


def tone(pixels, truth):
    """ITA class of the skin outside the lesion (Chardon 1991)."""
    skin = np.median(to_lab(pixels[~truth][::7]), axis=0)
    ita = np.degrees(np.arctan2(skin[0] - 50, skin[2]))
    names = ("very light", "light", "intermediate", "tan", "brown", "dark")
    return names[int(sum(ita <= limit for limit in (55, 41, 28, 10, -30)))]


def table(most):
    """Every second small picture up to `most`, all large ones; then both together by what makes them hard."""
    row("the learned finder", learned.available() or "works")
    seen = []
    for names in (sorted(SMALL.glob("*.jpg"))[1::2][:most], sorted(LARGE.glob("*.jpg"))):
        if names:
            folder = [judged(name) for name in names]
            for way in WAYS:
                collection(f"{names[0].parent.name}, {way}", folder, way)
            seen += folder
    if seen:
        by_kind(seen)
    else:
        row("open pictures", f"none at {DATA}")


def collection(what, pictures, way):
    quality_rows(what, *columns(pictures, way))
    for group in sorted({p.tone for p in pictures}):
        scores, _ = columns([p for p in pictures if p.tone == group], way)
        row(f"  skin {group}: pictures, mean / median", f"{len(scores)}, {shown(scores)}")
    worst = sorted((p.ways[way][0], p.name) for p in pictures)[:5]
    row("  worst five", ", ".join(f"{name[-7:]} {value:.2f}" for value, name in worst))


def by_kind(pictures):
    """Of what the program answers."""
    for kind in sorted(set().union(*(p.kinds for p in pictures))):
        scores, doubted = columns([p for p in pictures if kind in p.kinds], BOTH)
        row(f"{kind}: pictures, Jaccard mean / median", f"{len(scores)}, {shown(scores)}")
        weak = doubted[scores < 0.65]
        row("  under 0.65, and of these doubted", f"{len(weak)}, {weak.sum()}")


def columns(pictures, way):
    """Scores and doubts, one each per picture."""
    scores, doubted = zip(*(p.ways[way] for p in pictures), strict=True)
    return np.array(scores), np.array(doubted)


def shown(scores):
    return f"{scores.mean():.3f} / {np.median(scores):.3f}"


def quality_rows(what, scores, doubted):
    bad, good = scores < 0.65, scores >= 0.8
    row(f"{what}: {len(scores)} pictures, Jaccard mean / median", shown(scores))
    row(
        "  under 0.65: how many, share doubted", f"{bad.sum()}, {doubted[bad].mean() if bad.any() else 1:.3f}"
    )
    row(
        "  over 0.80: how many, share doubted",
        f"{good.sum()}, {doubted[good].mean() if good.any() else 0:.3f}",
    )

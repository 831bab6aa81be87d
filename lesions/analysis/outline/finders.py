"""Find the outline by two independent finders, the network first, and doubt it where they or repetitions differ."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lesions.analysis.outline import agreement, doubts, learned, refine, vote
from lesions.analysis.outline.vote import Found
from lesions.analysis.picture import binary, contour, light, resample
from lesions.analysis.picture.contour import Ring
from lesions.analysis.picture.light import Array
from lesions.analysis.picture.prepare import Prepared
from lesions.analysis.types import Doubt

_VOTE_WIDTH = 256  # the size at which the vote was tried on pictures with experts' outlines
_SECOND_WIDTH = 128  # enough to see whether both finders mean the same thing
_SMOOTH = 1.0
# The vote's border moves to where the skin turns. The network's stays: on real pictures each bit of that costs
# agreement with the experts (Jaccard 0.850 without, 0.847 with half, 0.843 with all of the lean that it had).
_VOTE_LEAN = 3.0


@dataclass(frozen=True)
class Search:
    """The border in working pixels or None, every reason to doubt it, and who found it, for the methods."""

    ring: Ring | None
    doubt: tuple[Doubt, ...]
    by: str


def search(ready: Prepared) -> Search:
    """Find the lesion by the network and doubt it by its turns and by the vote; by the vote alone without it.

    Parameters
    ----------
    ready : Prepared
        The picture.
    """
    missing = learned.available()
    small = ready.coarser(_VOTE_WIDTH if missing else _SECOND_WIDTH)
    voted = vote.find_outline(small.density, small.lab, small.around)
    if missing is not None:
        return _by_vote(ready, small, voted, missing)
    if not voted.mask.any():  # no channel shows anything at all: whatever the network saw is not there
        return Search(None, (doubts.NONE_FOUND,), "the network")
    seen = learned.look(ready.pixels)
    ring = border(seen.probability)
    if ring is None:
        return Search(None, (doubts.NONE_FOUND,), "the network")
    second = contour.fill(ring * (ready.zoom / small.zoom), small.shape)
    agreed = agreement.jaccard(second, voted.mask)
    return Search(ring, doubts.of_network(ready, ring, seen.agreement, agreed), "the network")


def border(probability: Array) -> Ring | None:
    """Trace a probability map round its heaviest piece, at sub-pixel places; None where there is none."""
    piece = learned.piece(probability)
    if not piece.any():
        return None
    box = binary.box(piece, 4)
    near = piece[box]
    level = np.where(resample.within(near, 2), probability[box], 0.0).astype(np.float32)
    level[binary.eroded(near, 2)] = 1.0
    ring = contour.trace(level, learned.LEVEL)
    return None if ring is None else contour.smooth(ring + np.array([box[1].start, box[0].start]), _SMOOTH)


def _by_vote(ready: Prepared, small: Prepared, found: Found, why: str) -> Search:
    by = f"the vote alone ({why})"
    rough = contour.of_mask(found.mask) if found.mask.any() else None
    if rough is None:
        return Search(None, (doubts.NONE_FOUND,), by)
    mask = contour.fill(rough * (small.zoom / ready.zoom), ready.shape)
    ring = refine.border(mask, light.grey(ready.density), ready.around, lean=_VOTE_LEAN)
    if ring is None:
        return Search(None, (doubts.NONE_FOUND,), by)
    return Search(ring, doubts.of_vote(small, found, ring * (ready.zoom / small.zoom)), by)

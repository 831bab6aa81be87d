"""Decide when an outline should not be believed without a person's look."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from lesions.analysis.outline.vote import Found
from lesions.analysis.picture import binary, contour, light, resample
from lesions.analysis.picture.contour import Ring
from lesions.analysis.picture.light import Mask
from lesions.analysis.picture.prepare import Prepared
from lesions.analysis.picture.quality import on_rim
from lesions.analysis.types import Message

# The vote: chosen on 200 open pictures with experts' outlines, judged on 200 others (tests/bench/imaging.py): of
# outlines under a Jaccard of 0.65 these limits doubt 93 %, of those over 0.80 they doubt 25 %.
AGREEMENT_LEAST = 0.88
SOLIDITY_LEAST = 0.87
CONTRAST_LEAST = 0.03
RIM_MOST = 0.10
SHARE_MOST = 0.60
SHARE_LEAST = 0.002
# The network: chosen on the 400 open pictures that also chose it, and seen on the 31 that are only looked at: of
# outlines under 0.65 these limits doubt 24 of 25 and 6 of 6, of those over 0.80 9 % and 1 of 18. From 0.87 to 0.89 the
# first two figures are the same.
TURNS_LEAST = 0.875
FINDERS_LEAST = 0.30
NETWORK_RIM_MOST = 0.50
NETWORK_SHARE_MOST = 0.80

NONE_FOUND = Message("none_found")
_Check = tuple[bool, str]  # whether it is so, and the code of the reason


def of_vote(ready: Prepared, found: Found, ring: Ring) -> tuple[Message, ...]:
    """List every reason to doubt an outline that the vote found; empty where there is none."""
    mask = contour.fill(ring, ready.shape)
    disagree = found.agreement < AGREEMENT_LEAST
    faint = _contrast(ready, mask) < CONTRAST_LEAST
    return _listed(
        (disagree, "ways_disagree"),
        (faint, "faint_border"),
        *_placed(ready, ring, mask, RIM_MOST, SHARE_MOST),
    )


def of_network(ready: Prepared, ring: Ring, turns: float, finders: float) -> tuple[Message, ...]:
    """List every reason to doubt an outline that the network found.

    Parameters
    ----------
    ready : Prepared
        The picture.
    ring : float (N, 2)
        The outline in its pixels.
    turns : float
        Jaccard index with the outline that is kept which every turned and mirrored outline reaches.
    finders : float
        Jaccard index of the outline with the vote's.
    """
    mask = contour.fill(ring, ready.shape)
    return _listed(
        (turns < TURNS_LEAST, "turns_disagree"),
        (finders < FINDERS_LEAST, "ways_disagree"),
        *_placed(ready, ring, mask, NETWORK_RIM_MOST, NETWORK_SHARE_MOST),
    )


def _placed(ready: Prepared, ring: Ring, mask: Mask, rim: float, most: float) -> tuple[_Check, ...]:
    share = binary.count(mask) / max(1, binary.count(ready.around.usable))
    return (
        (on_rim(ring, ready.around) > rim, "leaves_picture"),
        (share > most, "fills_picture"),
        (share < SHARE_LEAST, "very_small"),
        (contour.solidity(ring) < SOLIDITY_LEAST, "ragged"),
    )


def _listed(*checks: _Check) -> tuple[Message, ...]:
    return tuple(Message(code) for bad, code in checks if bad)


def _contrast(ready: Prepared, mask: Mask) -> float:
    """Median density just inside less just outside."""
    reach = max(3, int(0.15 * np.sqrt(mask.sum() / np.pi)))
    outside = resample.within(mask, reach) & ~resample.within(mask, 2)
    inside = mask & (ndimage.distance_transform_edt(mask) <= reach)
    outside &= ready.around.usable
    view = light.grey(ready.density)
    if not inside.any() or not outside.any():
        return 0.0
    return float(np.median(view[inside]) - np.median(view[outside]))

"""When an outline should not be believed without a person's look."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from . import contour, light, resample
from .contour import Ring
from .light import Mask
from .outline import Found
from .prepare import Prepared
from .quality import on_rim
from .types import Doubt

# Chosen on 200 open pictures with experts' outlines, judged on 200 others (tests/bench/imaging.py): of outlines
# under a Jaccard of 0.65 these limits doubt 93 %, of those over 0.80 they doubt 25 %.
AGREEMENT_LEAST = 0.88
SOLIDITY_LEAST = 0.87
CONTRAST_LEAST = 0.03
RIM_MOST = 0.10
SHARE_MOST = 0.60
SHARE_LEAST = 0.002

NONE_FOUND = Doubt("none_found", "No lesion was found; draw its outline.")


def about(ready: Prepared, found: Found, ring: Ring) -> tuple[Doubt, ...]:
    """List every reason to doubt an automatic outline; empty where there is none."""
    mask = contour.fill(ring, ready.shape)
    share = float(mask.sum() / max(1, ready.around.usable.sum()))
    checks = (
        (found.agreement < AGREEMENT_LEAST, "ways_disagree", "Several ways of finding the border disagree."),
        (
            _contrast(ready, mask) < CONTRAST_LEAST,
            "faint_border",
            "The lesion hardly differs from the skin round it.",
        ),
        (
            on_rim(ring, ready.around) > RIM_MOST,
            "leaves_picture",
            "The outline runs along the rim of the picture.",
        ),
        (share > SHARE_MOST, "fills_picture", "The outline takes most of the picture."),
        (share < SHARE_LEAST, "very_small", "The outline is very small."),
        (contour.solidity(ring) < SOLIDITY_LEAST, "ragged", "The outline is unusually ragged."),
    )
    return tuple(Doubt(code, f"{text} Check it.") for bad, code, text in checks if bad)


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

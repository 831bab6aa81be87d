"""What makes an open picture hard, by name, for the table of tests/bench/real.py.

A picture's kinds are read from its pixels and from the expert's outline, never from the program's answer; the
limits are ours. One picture may be of several kinds; "none of these" is what the others leave.
"""

import numpy as np
from PIL import Image
from scipy import ndimage

from lesions.analysis.picture.colour import to_lab

FAINT = 12.0  # difference in CIELAB between lesion and the skin round it
PINK = 8.0  # redder than the skin by this, and hardly darker
HALF = 0.5  # share of the frame
DARK_CORNER = 40  # of 255, in at least two corners
STICKER = 0.01  # share of the frame in a colour that skin does not have
THICK_HAIR = 0.03  # share of thin dark lines outside the lesion


def of(pixels, truth) -> set[str]:
    """Kinds of one picture, judged at one small size."""
    pixels = np.array(Image.fromarray(pixels).resize((256, 192)))
    truth = np.array(Image.fromarray(truth).resize((256, 192), Image.Resampling.NEAREST))
    return {word for word, holds in _tests(pixels, truth).items() if holds} or {"none of these"}


def _tests(pixels, truth):
    lab = to_lab(pixels)
    skin = ndimage.binary_dilation(truth, iterations=14) & ~ndimage.binary_dilation(truth, iterations=3)
    inside, outside = np.median(lab[truth], axis=0), np.median(lab[skin if skin.any() else ~truth], axis=0)
    apart = inside - outside
    return {
        "faint": np.linalg.norm(apart) < FAINT,
        "pink, hardly darker": apart[1] > PINK and apart[0] > -12,
        "over half of the frame": truth.mean() > HALF,
        "touches the frame": np.concatenate([truth[0], truth[-1], truth[:, 0], truth[:, -1]]).mean() > 0.03,
        "dark frame": sum(corner.max() < DARK_CORNER for corner in _corners(pixels)) >= 2,
        "sticker or pen": (_foreign(lab) & ~truth).mean() > STICKER,
        "thick hair": (_lines(lab[..., 0]) & ~truth).mean() > THICK_HAIR,
    }


def _corners(pixels):
    return [pixels[y, x] for y in (slice(0, 6), slice(-6, None)) for x in (slice(0, 6), slice(-6, None))]


def _foreign(lab):
    """Blue, green or violet, clearly coloured: stickers, pen, dressings."""
    a, b = lab[..., 1], lab[..., 2]
    return (np.hypot(a, b) > 12) & ((b < -4) | (a < -8))


def _lines(lightness):
    """Black top-hat: thin and darker than what lies round it."""
    closed = ndimage.grey_closing(lightness, size=(7, 7))
    return closed - lightness > 12

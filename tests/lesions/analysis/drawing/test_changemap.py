"""The change map shows where, and its legend says what without leaning on colour."""

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from lesions.analysis.drawing import changemap
from lesions.analysis.drawing.phantom import grown, recaptured, with_new_patch
from tests.lesions.analysis.pictures import compared, drawn, small

BASE = small(31, axes_mm=(6.0, 5.0), irregularity=0.4, hair=0.3)
BULGED = recaptured(grown(BASE, 1.12, one_sided=True), 5)
PATCHED = recaptured(with_new_patch(BASE, "blue_grey"), 6)


def opened(png):
    image = Image.open(io.BytesIO(png))
    image.load()
    return image


@pytest.mark.parametrize("later", [BULGED, PATCHED])
def test_changed_skin_is_drawn_over_and_the_rest_is_left(later):
    result = compared(BASE, later)
    image = opened(changemap.draw(drawn(BASE)[0], result))
    assert image.format == "PNG" and image.width == BASE.width and image.height > BASE.height + 60
    shown, plain = np.array(image)[: BASE.height].astype(int), np.array(drawn(BASE)[1].image).astype(int)
    moved = np.abs(shown - plain).max(axis=2) > 60
    assert moved[:80, :80].mean() < 0.01
    for region in result.regions:
        x, y = np.mean(region.points, axis=0).astype(int)
        assert moved[y - 4 : y + 5, x - 4 : x + 5].mean() > 0.2


def test_patterns_differ_without_colour():
    """Two kinds must not fall together for eyes that see no colour (WCAG 2.2, 1.4.1)."""
    y, x = np.mgrid[0:40, 0:40]
    fills = [kind.pattern(x, y) for kind in changemap._KINDS.values()]
    for i, one in enumerate(fills):
        assert all((one != other).mean() > 0.15 for other in fills[:i])
    letters = [kind.letter for kind in changemap._KINDS.values()]
    assert len(set(letters)) == len(letters)


def test_the_map_is_no_larger_than_asked_and_carries_nothing():
    image = opened(changemap.draw(drawn(BASE)[0], compared(BASE, BULGED), max_side=300))
    assert image.width == 300 and not image.info


def test_what_does_not_align_shows_the_earlier_outline_only():
    result = compared(BASE, BULGED)
    lost = replace(result, regions=(), registration=replace(result.registration, aligned=False, matrix=None))
    assert changemap.draw(drawn(BASE)[0], lost) != changemap.draw(drawn(BASE)[0], result)


def test_another_picture_is_refused():
    other = drawn(small(32, width=640))[0]
    with pytest.raises(ValueError, match="earlier picture"):
        changemap.draw(other, compared(BASE, BULGED))

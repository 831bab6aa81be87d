"""The rim looked for again in the later picture. Truth is the drawing's own (plane geometry)."""

from dataclasses import replace

import numpy as np
import pytest

from lesions.analysis import pipeline
from lesions.analysis.compare import rim, skin
from lesions.analysis.compare.overlay import Similarity
from lesions.analysis.drawing.phantom import grown, recaptured
from lesions.analysis.types import Delta, Outline, Region
from tests.lesions.analysis.compare.test_compare import BASE, BULGED, GREW, SAME, delta
from tests.lesions.analysis.pictures import compared, drawn, measured

SHRANK = recaptured(grown(BASE, 0.85), 8)
LESS = Delta("area", "mm²", 10.0, 9.0, -1.0, 0.2, 0.4, True)


def drawn_in(result, by, drawn_by="automatic"):
    """The same measurement with its outline drawn in round its middle, and an area to match."""
    ring = np.array(result.outline.points)
    middle = ring.mean(axis=0)
    closer = (ring - middle) * by + middle
    measures = [
        replace(m, value=m.value * by**2) if m.name in ("area", "area_px") else m for m in result.measures
    ]
    points = tuple((float(x), float(y)) for x, y in closer)
    return replace(result, outline=Outline(points, drawn_by), measures=tuple(measures))


def asked(later_measurement):
    return pipeline.compare(
        drawn(BASE)[0],
        drawn(SAME)[0],
        earlier_measurement=measured(BASE),
        later_measurement=later_measurement,
    )


@pytest.mark.parametrize(
    ("later", "truth", "within"), [(SAME, 0.0, 0.01), (GREW, 0.15, 0.04), (SHRANK, -0.15, 0.04)]
)
def test_the_rim_says_how_much_the_area_changed(later, truth, within):
    found = delta(compared(BASE, later), rim.NAME)
    assert found.delta == pytest.approx(truth, abs=within)
    assert found.beyond == (truth != 0)


def test_an_outline_that_drew_in_alone_is_doubted():
    result = asked(drawn_in(measured(SAME), 0.93))
    assert [d.code for d in result.later.doubt] == ["rim_unmoved"]
    assert all(m.doubtful for m in result.later.measures if m.value is not None)
    assert "shrunk" not in {r.kind for r in result.regions}


def test_a_persons_outline_and_a_lesion_that_shrank_are_not_doubted():
    assert asked(drawn_in(measured(SAME), 0.93, "person")).later.doubt == ()
    shrank = compared(BASE, SHRANK)
    assert delta(shrank, "area").beyond and delta(shrank, "area").delta < 0
    assert shrank.later.doubt == ()


def test_growth_that_only_the_rim_shows_is_drawn():
    result = pipeline.compare(
        drawn(BASE)[0],
        drawn(GREW)[0],
        earlier_measurement=measured(BASE),
        later_measurement=drawn_in(measured(GREW), 0.935),
    )
    assert delta(result, "area").beyond is False and delta(result, rim.NAME).beyond is True
    gained = drawn(BASE)[1].truth["area_mm2"] * 0.15
    assert sum(r.area for r in result.regions if r.kind == "grown") == pytest.approx(gained, rel=0.4)


def test_a_rim_hidden_by_a_new_patch_leaves_a_smaller_outline_unconfirmed():
    patch = Region(((0.0, 0.0), (1.0, 0.0), (0.0, 1.0)), "new_colour", 1.0, "mm²")
    assert rim.unconfirmed(LESS, None, (patch,)) and not rim.unconfirmed(LESS, None, ())
    assert not rim.unconfirmed(replace(LESS, delta=1.0), None, (patch,))
    assert not rim.unconfirmed(replace(LESS, beyond=False), None, (patch,))
    assert not rim.unconfirmed(LESS, rim.Moved(-0.08, np.zeros((3, 2)), still=True), (patch,))


def test_an_outline_that_widened_alone_is_doubted_and_true_growth_is_not():
    wider = asked(drawn_in(measured(SAME), 1.06))
    assert delta(wider, "area").beyond and [d.code for d in wider.later.doubt] == ["rim_unmoved"]
    assert sum(r.area for r in wider.regions if r.kind == "grown") < 0.02 * measured(BASE).value("area")
    for later in (GREW, BULGED):
        grew = compared(BASE, later)
        assert delta(grew, "area").beyond and grew.later.doubt == ()


@pytest.mark.parametrize(
    ("sought", "agreeing", "like", "zoom_error", "firm"),
    [
        (47, 23, 0.86, 0.0005, True),  # a lesion grown by a quarter, the same skin
        (87, 21, 0.74, 0.0045, False),  # skin that a lesion grown by half took along
        (38, 15, 0.43, 0.0027, False),  # other people's skin, the most of 192 such pairs
        (44, 12, 0.64, 0.0025, False),  # and the likest
        (60, 40, 0.50, 0.005, True),  # many are enough, however like
    ],
)
def test_few_patches_hold_where_they_are_plainly_the_same_skin(sought, agreeing, like, zoom_error, firm):
    hold = skin.Hold(Similarity(1, 0, 0, 0), (0.0, 0.0), sought, agreeing, 0.5, zoom_error, like)
    assert hold.firm is firm

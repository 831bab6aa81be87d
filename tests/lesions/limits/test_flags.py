"""Limits as data, and what numbers cannot answer. The shipped limits: clinic setting, no source, but for the 6 mm."""

from dataclasses import replace

import pytest

from clinic import policies
from clinic.policies import PolicyRefused
from lesions.analysis.types import Comparison, Delta, Measure, Measurement, Message, Quality, Registration
from lesions.limits import flags
from tests import build

COLOURS = ("white", "red", "light_brown", "dark_brown", "blue_grey", "black")


def measurement(**values):
    known = (
        {"area": 10.0, "feret": 4.0, "asymmetry_axes": 1.0}
        | {f"colour_{name}": 0.0 for name in COLOURS}
        | values
    )
    measures = tuple(Measure(name, value, "", 0.1, "") for name, value in known.items())
    return Measurement("v", "0", 10, 10, None, None, (), measures, ())


FAINT = Message("faint_border")


def comparison(later=None, beyond=True, aligned=True, **earlier):
    before, after = measurement(**earlier), later or measurement()
    deltas = []
    for one, two in zip(before.measures, after.measures, strict=True):
        known = one.value is not None and two.value is not None
        change = two.value - one.value if known else None
        deltas.append(Delta(one.name, "", one.value, two.value, change, 0.1, 0.2, beyond if known else None))
    laid = Registration(aligned, None, None, None, False, () if aligned else (Message("skin_not_found"),))
    return Comparison("v", before, after, laid, tuple(deltas), ())


@pytest.fixture
def shipped(db):
    return build.flags_in_force()


def raised(shipped, later=None, compared=None):
    later = later or measurement()
    drafts = flags.raise_flags(later, compared or comparison(later), shipped)
    return {draft.code: draft for draft in drafts}


def test_all_measured_and_inside_the_limits_raises_nothing(shipped):
    assert raised(shipped) == {}


def test_growth_counts_beyond_the_limit_and_beyond_repeatability(shipped):
    # 10 % of the area: clinic setting, no source
    later = measurement(area=11.5)
    found = raised(shipped, later)
    assert found.keys() == {"area_growth"} and found["area_growth"].value == pytest.approx(15)
    assert raised(shipped, later, comparison(later, beyond=False)) == {}
    just = measurement(area=11.0)
    assert raised(shipped, just) == {}


def test_diameter_is_flagged_above_six_millimetres_and_not_at_six(shipped):
    """ABCDE rule, D: above 6 mm (common practice, no source)."""
    still = comparison(measurement(feret=6.0), feret=6.0)
    assert raised(shipped, measurement(feret=6.0), still) == {}
    wide = comparison(measurement(feret=6.1), feret=6.1)
    assert raised(shipped, measurement(feret=6.1), wide).keys() == {"diameter"}


def test_a_new_colour_is_named(shipped):
    # 3 % of the area: clinic setting, no source
    later = measurement(colour_blue_grey=0.06)
    found = raised(shipped, later)["new_colour"]
    assert found.params["new"] == ["colour_blue_grey"] and found.value == pytest.approx(6)


@pytest.mark.parametrize(
    ("code", "later"),
    [
        ("doubtful", replace(measurement(), doubt=(FAINT,))),
        ("inadequate", replace(measurement(), quality=(Quality("focus", 0.0, 1.0, False),))),
        ("unmeasured", measurement(asymmetry_axes=None)),
    ],
)
def test_what_numbers_cannot_answer_waits_like_a_limit_passed(shipped, code, later):
    assert code in raised(shipped, later)


def test_doubt_governs_its_measures_raise_no_flag_of_their_own(shipped):
    """docs/interfaces.md: `doubt` speaks of the outline, and what was measured on it waits for a person's look."""
    wide = measurement(area=20.0, feret=9.0, asymmetry_axes=2.0, colour_black=0.2)
    assert {"area_growth", "diameter", "asymmetry", "new_colour"} <= raised(shipped, wide).keys()
    unsure = replace(wide, doubt=(FAINT,))
    drafts = flags.raise_flags(unsure, comparison(unsure), shipped)
    assert [draft.code for draft in drafts] == ["doubtful"]
    assert drafts[0].params == {"doubts": [{"code": "faint_border", "params": {}}]}


def test_doubt_in_the_earlier_outline_silences_the_change_alone(shipped):
    later = measurement(area=20.0, feret=9.0)
    compared = comparison(later)
    compared = replace(compared, earlier=replace(compared.earlier, doubt=(FAINT,)))
    drafts = flags.raise_flags(later, compared, shipped)
    assert [draft.code for draft in drafts] == ["doubtful", "diameter"]
    assert drafts[0].params == {"of_earlier": True}


def test_an_outline_that_only_the_comparison_doubts_is_looked_at(shipped):
    """Its own limits and a new patch still count; that it became smaller does not."""
    later = measurement(feret=9.0)
    compared = comparison(later)
    compared = replace(compared, later=replace(later, doubt=(Message("rim_unmoved"),)))
    drafts = flags.raise_flags(later, compared, shipped)
    assert [draft.code for draft in drafts] == ["doubtful", "diameter_growth", "diameter"]
    assert drafts[0].params == {
        "doubts": [{"code": "rim_unmoved", "params": {}}],
        "of_comparison": True,
    }


def test_unaligned_pictures_and_first_pictures_wait(shipped):
    found = raised(shipped, compared=comparison(aligned=False))["unaligned"]
    assert found.params == {"reasons": [{"code": "skin_not_found", "params": {}}]}
    assert {d.code for d in flags.raise_flags(measurement(), None, shipped)} == {"nothing_to_compare"}


def test_without_limits_everything_waits():
    assert {d.code for d in flags.raise_flags(measurement(), comparison(), None)} == {"no_limits"}


def test_no_verdict_in_any_sentence():
    words = ("benign", "malignant", "suspicious", "melanoma", "cancer", "normal")
    assert not [word for word in words if word in flags.shipped().lower()]


@pytest.mark.django_db
@pytest.mark.parametrize(
    "text",
    ["nonsense =", "name = 'x'", flags.shipped().replace("growth", "shrinks"), flags.shipped() + "\nodd = 1"],
)
def test_a_faulty_table_never_becomes_a_draft(text):
    with pytest.raises(PolicyRefused):
        policies.draft(kind="flags", toml=text, by=None)


def test_the_shipped_table_has_no_fault_and_every_limit_a_source():
    assert flags.check(flags.shipped()) == []
    assert all(limit.source for limit in flags.limits(flags.shipped()))

"""The worked scores of docs/sources.md: dermoscopedia (ABCD, 7-point), NICE NG12 and CKS, Argenziano 1998, DermNet."""

import re
from decimal import Decimal
from itertools import product

import pytest

from scheduling.rules import checklist_sums

WEIGHTED = (
    "change_in_size",
    "irregular_border",
    "irregular_colour",
    "inflammation",
    "oozing",
    "change_in_sensation",
)
DERMOSCOPIC = (
    "atypical_network",
    "blue_whitish_veil",
    "atypical_vessels",
    "irregular_streaks",
    "irregular_dots",
    "irregular_blotches",
    "regression",
)
THREE = ("asymmetry", "atypical_network", "blue_white_structures")


def ticked(names, chosen):
    assert set(chosen) <= set(names)
    return {name: name in chosen for name in names}


def abcd(a, b, c, d):
    return checklist_sums.abcd_rule(asymmetry=a, border=b, colours=c, structures=d)


# Dermoscopedia, ABCD rule, worked in docs/sources.md: A, B, C, D, total score, threshold of 4.75 reached, where it lies among the published limits
@pytest.mark.parametrize(
    "given, total, met, reading",
    [
        ((0, 0, 1, 1), "1.0", False, "below both"),
        ((0, 0, 2, 2), "2.0", False, "below both"),
        ((1, 4, 3, 3), "4.7", False, "below both"),
        ((1, 5, 3, 3), "4.8", True, "between the"),
        ((2, 3, 3, 2), "5.4", True, "between the"),
        ((2, 4, 3, 2), "5.5", True, "above both"),
        ((2, 6, 5, 4), "7.7", True, "above both"),
        ((2, 8, 6, 5), "8.9", True, "above both"),
    ],
)
def test_abcd_rule(given, total, met, reading):
    score = abcd(*given)
    assert (score.value, score.threshold_met) == (Decimal(total), met)
    assert f"score {total}, {reading} published limits, 4.75 and 5.45" in score.words


def test_abcd_takes_810_inputs_and_no_score_lies_on_a_limit():
    # 3 x 9 x 6 x 5 combinations (Tas 2019), 1.0 to 8.9
    scores = [abcd(*given) for given in product(range(3), range(9), range(1, 7), range(1, 6))]
    values = {score.value for score in scores}
    assert (len(scores), min(values), max(values)) == (810, Decimal("1.0"), Decimal("8.9"))
    assert all(score.threshold_met == (score.value > Decimal("4.75")) for score in scores)
    assert all(("above both" in score.words) == (score.value > Decimal("5.45")) for score in scores)


@pytest.mark.parametrize("index, name", list(enumerate(["asymmetry", "border", "colours", "structures"])))
@pytest.mark.parametrize("side", ["below", "above"])
def test_abcd_refuses_what_the_rule_does_not_know(index, name, side):
    wrong = {"below": (-1, -1, 0, 0), "above": (3, 9, 7, 6)}[side][index]
    given = [1, 1, 1, 1]
    given[index] = wrong
    with pytest.raises(ValueError, match=f"{name} {wrong} is not between"):
        abcd(*given)


# NICE NG12 and CKS, worked in docs/sources.md; the 8 mm lesion is a published exam example
@pytest.mark.parametrize(
    "chosen, diameter, total, met",
    [
        ({"change_in_size"}, "5", 2, False),
        ({"change_in_size"}, "8", 3, True),
        ({"inflammation", "change_in_sensation"}, "7", 3, True),
        (WEIGHTED, "7.0", 10, True),
        (set(), "6.9", 0, False),
        (set(), "7.0", 1, False),
        ({"irregular_border"}, "1", 2, False),
        ({"irregular_colour", "oozing"}, "1", 3, True),
    ],
)
def test_weighted_seven_point(chosen, diameter, total, met):
    score = checklist_sums.weighted_seven_point(diameter_mm=Decimal(diameter), **ticked(WEIGHTED, chosen))
    assert (score.value, score.threshold_met) == (total, met)
    assert score.words.startswith(f"{total} of 10. Published threshold (NICE NG12): 3 or more")
    assert "any one feature counts as much." in score.words


@pytest.mark.parametrize("diameter", ["0", "-1", "NaN"])
def test_a_diameter_is_above_zero(diameter):
    with pytest.raises(ValueError, match="above zero"):
        checklist_sums.weighted_seven_point(diameter_mm=Decimal(diameter), **ticked(WEIGHTED, set()))


# Argenziano 1998; dermoscopedia, worked in docs/sources.md: total, classic threshold of 3, revised threshold of 1
@pytest.mark.parametrize(
    "chosen, total, classic, revised",
    [
        (set(), 0, False, False),
        ({"irregular_streaks"}, 1, False, True),
        ({"irregular_streaks", "irregular_dots"}, 2, False, True),
        ({"blue_whitish_veil", "irregular_dots"}, 3, True, True),
        ({"irregular_streaks", "irregular_blotches", "regression"}, 3, True, True),
        ({"atypical_network"}, 2, False, True),
        ({"atypical_vessels"}, 2, False, True),
        (DERMOSCOPIC, 10, True, True),
    ],
)
def test_dermoscopic_seven_point(chosen, total, classic, revised):
    given = ticked(DERMOSCOPIC, chosen)
    by_threshold = [checklist_sums.dermoscopic_seven_point(**given, revised=which) for which in (False, True)]
    assert [score.value for score in by_threshold] == [total, total]
    assert [score.threshold_met for score in by_threshold] == [classic, revised]
    assert "(Argenziano 1998): 3 or more" in checklist_sums.dermoscopic_seven_point(**given).words
    assert "(revised, as restated on dermoscopedia): 1 or more" in by_threshold[1].words


# DermNet: asymmetry and network = 2; asymmetry alone = 1
@pytest.mark.parametrize(
    "chosen, total, met",
    [
        (set(), 0, False),
        ({"asymmetry"}, 1, False),
        ({"asymmetry", "atypical_network"}, 2, True),
        ({"blue_white_structures", "atypical_network"}, 2, True),
        (THREE, 3, True),
    ],
)
def test_three_point(chosen, total, met):
    score = checklist_sums.three_point(**ticked(THREE, chosen))
    assert (score.value, score.threshold_met) == (total, met)
    assert score.words == f"{total} of 3. Published threshold (DermNet): 2 or more."


def test_beside_a_sum_stands_no_verdict_and_no_instruction():
    """What the sources advise at their limits is a doctor's to say: docs/domain.md, "Looking safely"."""
    for words in checklist_sums.READINGS.values():
        said = words.lower()
        assert not {"excise", "biopsy", "monitor", "referral", "suspect", "melanoma"} & set(
            re.findall(r"[a-z]+", said)
        )
        assert "suspected" not in said and "published" in said

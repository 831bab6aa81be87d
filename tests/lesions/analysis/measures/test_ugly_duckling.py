"""One lesion against the same person's others (Grob and Bonerandi 1998, from memory), with drawn numbers."""

import math
import random

import pytest

from lesions.analysis import wording
from lesions.analysis.measures import ugly_duckling


def flock(count=23, seed=1):
    """Lesions of one kind: sizes spread by a quarter, a fifth of each dark, two colours or three."""
    rng = random.Random(seed)
    return [
        {
            "area": 12 * math.exp(rng.gauss(0, 0.25)),
            "feret": 4 * math.exp(rng.gauss(0, 0.12)),
            "darkness": rng.uniform(0.15, 0.3),
            "colours": rng.choice([2, 3]),
        }
        for _ in range(count)
    ]


@pytest.mark.parametrize(
    ("odd", "reason"),
    [
        ({"area": 60.0, "feret": 9.0, "darkness": 0.9}, "larger and darker than the other 23"),
        ({"area": 12.0, "feret": 12.0}, "longer than the other 23"),
        ({"area": 1.5, "feret": 1.4}, "smaller than the other 23"),
        (
            {"area": 60.0, "darkness": 0.9, "colours": 6},
            "larger, darker and of more colours than the other 23",
        ),
        ({"area": 12.0, "feret": 4.0, "darkness": 0.2, "colours": 2}, ""),
    ],
)
def test_the_odd_one_is_named_with_its_reason(odd, reason):
    others = [row | {"colours": 2} for row in flock()]
    found = ugly_duckling.distances_from_others(
        [*others, {"area": 12.0, "feret": 4.0, "darkness": 0.2, "colours": 2} | odd]
    )
    assert wording.apart(found[-1]) == reason
    assert (found[-1].distance > ugly_duckling.LEAST_DISTANCE) == found[-1].is_apart == bool(reason)


def test_an_odd_one_does_not_make_the_others_odd():
    """Median and MAD: one giant among them moves neither by much, however large it is."""
    giant = {"area": 600.0, "feret": 40.0, "darkness": 1.0, "colours": 6}
    large, huge = (
        ugly_duckling.distances_from_others([*flock(), giant | {"area": area}]) for area in (600.0, 600_000.0)
    )
    assert large[:-1] == huge[:-1] and huge[-1].distance > large[-1].distance
    before = ugly_duckling.distances_from_others(flock())
    assert max(abs(a.distance - b.distance) for a, b in zip(before, large, strict=False)) < 1


def test_alike_lesions_seldom_stand_out():
    found = [each for seed in range(40) for each in ugly_duckling.distances_from_others(flock(seed=seed))]
    assert sum(each.is_apart for each in found) / len(found) < 0.03


@pytest.mark.parametrize(("count", "assessed"), [(7, False), (8, True)])
def test_below_eight_lesions_nothing_is_assessed(count, assessed):
    assert (ugly_duckling.distances_from_others(flock(count)) is not None) == assessed


def test_only_what_all_have_is_compared():
    rows = [*flock(), {"darkness": 0.2, "colours": 2}]
    rows[0] |= {"area": 500.0}
    assert not ugly_duckling.distances_from_others(rows)[0].is_apart
    assert ugly_duckling.distances_from_others([*rows, {}]) is None


def test_the_distance_is_the_robust_z_score_worked_by_hand():
    """Others' areas e^0 to e^6: median 3, MAD 2; e^9 lies (9 - 3) / (1.4826 * 2) = 2.0235 away."""
    rows = [{"area": math.exp(i)} for i in [*range(7), 9]]
    assert ugly_duckling.distances_from_others(rows)[-1].distance == pytest.approx(6 / (1.4826 * 2))


def test_darkness_is_the_share_of_dark_colours():
    shares = {"colour_dark_brown": 0.3, "colour_blue_grey": 0.1, "colour_black": 0.05}
    assert ugly_duckling.darkness(shares) == pytest.approx(0.45)
    assert ugly_duckling.darkness(shares | {"colour_black": None}) is None

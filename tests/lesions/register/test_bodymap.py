"""Sites, sides and the body chart.

Sources: the codes stand in DICOM CID 4029 "Dermatology Anatomic Site" (starter set of our reference notes,
docs/sources.md); shoulder and sole, which it lacks, are SNOMED CT from public value sets (docs/sources.md). The
check digit of a SNOMED CT identifier is Verhoeff's (SNOMED CT release file specification, "Check-digit
computation"; tables from memory). Left and right on a chart that faces the viewer: common practice, no source.
"""

import math

import pytest

from lesions.register.bodymap import (
    CHART,
    CODES,
    REGION_OF,
    REGIONS,
    WrongSide,
    centre,
    check_place,
    check_side,
    region_at,
    site_words,
)

PIECES = [piece for view in CHART.values() for piece in view]
STARTER_SET = """
43067004 68698007 16621002 41310005 40069000 113179006 68598004 36141000 16251004 66934001 23747009
1902009 79313003 2059009 86719006 24483006 43081002 4658004 244106003 244107007 244111001 66643007
113182001 75093004 76261009 22180002 45981001 72939005 70559009 41550009 33712006 70887009 61248009
73958006 4578000 25763004 47224004 60496002 84607009 52034004 770809003 770805009 60944009 48014002
"""
# Finger, front and back of the knee: DICOM CID 4029 too. Shoulder, sole: SNOMED CT (docs/sources.md).
ADDED = "244169007 181553006 84507004 76552005 57999000"

PERMUTE = [[1, 5, 7, 6, 2, 8, 3, 0, 9, 4]]
for _ in range(6):
    PERMUTE.append([PERMUTE[-1][digit] for digit in PERMUTE[0]])


def dihedral(a, b):
    """Multiplication in the dihedral group of ten elements, rotations 0-4, reflections 5-9."""
    if a < 5:
        return (a + b) % 5 if b < 5 else (a + b - 5) % 5 + 5
    return (a - 5 - b) % 5 + 5 if b < 5 else (a - b) % 5


def verhoeff_holds(digits):
    check = 0
    for position, digit in enumerate(reversed(digits)):
        row = position % 8
        check = dihedral(check, PERMUTE[row - 1][int(digit)] if row else int(digit))
    return check == 0


def test_verhoeff_on_the_published_example():
    # 236 has the check digit 3 (the usual worked example of the method, from memory).
    assert verhoeff_holds("2363")
    assert not verhoeff_holds("2364")
    assert not verhoeff_holds("3263")


@pytest.mark.parametrize("code", CODES)
def test_every_code_is_a_valid_snomed_identifier(code):
    assert verhoeff_holds(code)


def test_the_codes_are_the_starter_set_and_the_added_each_once():
    assert sorted(region.code for region in REGIONS) == sorted([*STARTER_SET.split(), *ADDED.split()])
    assert len({region.words for region in REGIONS}) == len(REGIONS)


# ---- left is on the viewer's right in front, and on the viewer's left behind --------------------------


@pytest.mark.parametrize(
    "view, x, y, words",
    [
        ("front", 390, 260, "RIGHT upper arm, front"),
        ("front", 610, 260, "LEFT upper arm, front"),
        ("back", 390, 260, "LEFT upper arm, back"),
        ("back", 610, 260, "RIGHT upper arm, back"),
        ("front", 450, 850, "RIGHT lower leg, front"),
        ("back", 450, 850, "LEFT lower leg, back"),
        ("front", 320, 580, "RIGHT palm"),
        ("back", 320, 580, "LEFT hand, back"),
        ("front", 560, 300, "LEFT chest"),
        ("front", 500, 300, "breastbone"),
        ("back", 430, 300, "LEFT upper back"),
        ("back", 500, 300, "upper back, midline"),
        ("front", 500, 430, "abdomen, midline"),
        ("front", 440, 430, "RIGHT abdomen"),
        ("back", 560, 520, "RIGHT buttock"),
        ("front", 500, 110, "nose"),
        ("front", 530, 125, "LEFT cheek"),
        ("front", 400, 232, "RIGHT shoulder"),
        ("back", 400, 232, "LEFT shoulder"),
        ("front", 316, 606, "RIGHT finger"),
        ("back", 316, 606, "LEFT finger"),
        ("back", 684, 606, "RIGHT finger"),
        ("front", 450, 728, "RIGHT knee, front"),
        ("front", 550, 728, "LEFT knee, front"),
        ("back", 450, 728, "LEFT knee, back"),
        ("back", 330, 850, "LEFT sole"),
        ("back", 670, 850, "RIGHT sole"),
    ],
)
def test_a_point_is_a_site_and_a_side(view, x, y, words):
    assert site_words(*region_at(view, x, y)) == words


@pytest.mark.parametrize("piece", PIECES, ids=lambda piece: f"{piece.view} {piece.code} {piece.side}")
def test_every_piece_is_reached_by_its_centre_with_the_side_of_the_view(piece):
    x, y = piece.centre
    assert region_at(piece.view, x, y) == (piece.code, piece.side)
    if piece.side == "midline":
        assert x == pytest.approx(500)
    else:
        assert (piece.side == "left") == ((x > 500) == (piece.view == "front"))


@pytest.mark.parametrize("view", CHART)
def test_the_chart_is_a_mirror_of_itself(view):
    other = {"left": "right", "right": "left", "midline": "midline"}
    for step in range(35):
        x = 255.3 + 7 * step  # off every edge, where a point may fall to either neighbour
        for y in range(9, 1000, 13):
            hit, twin = region_at(view, x, y), region_at(view, 1000 - x, y)
            assert (hit and (hit[0], other[hit[1]])) == twin


def test_front_and_back_disagree_about_left_at_the_same_spot():
    for x, y in ((390, 250), (350, 450), (450, 600), (450, 800), (320, 580)):
        assert {region_at("front", x, y)[1], region_at("back", x, y)[1]} == {"left", "right"}


BESIDE = [("front", 5, 5), ("back", 995, 500), ("front", 500, 800), ("front", 350, 100)]


@pytest.mark.parametrize("view, x, y", BESIDE)
def test_beside_the_body_is_no_site(view, x, y):
    assert region_at(view, x, y) is None


def test_pieces_lie_on_the_chart_and_have_a_size():
    for piece in PIECES:
        assert all(0 <= x <= 1000 and 0 <= y <= 1000 for x, y in piece.ring)
        assert all(math.isfinite(value) for value in piece.centre)


# ---- sides in words ----------------------------------------------------------------------------------


TAKES = {"paired": {"left", "right"}, "either": {"left", "right", "midline"}, "midline": {"midline"}}


@pytest.mark.parametrize("region", REGIONS, ids=lambda region: region.words)
def test_each_site_takes_the_sides_of_its_kind_and_no_other(region):
    takes = TAKES[region.sides]
    for side in ("left", "right", "midline"):
        if side in takes:
            check_side(region.code, side)
            check_place(region.code, side, *centre(region.code, side))
        else:
            with pytest.raises(WrongSide, match=region.words):
                check_side(region.code, side)


@pytest.mark.parametrize("side", ["", "bilateral", "LEFT", None])
def test_a_word_that_is_no_side_is_refused(side):
    with pytest.raises(WrongSide, match="left, right or midline"):
        check_side("45981001", side)


def test_a_site_finer_or_wider_than_the_chart_is_drawn_as_charted_sites():
    charted = {piece.code for piece in PIECES}
    for region in REGIONS:
        assert (region.code in charted) == (not region.drawn_as)
        assert set(region.drawn_as) <= charted


def test_words_and_chart_must_agree():
    check_place("45981001", "left", "front", 610, 260)
    with pytest.raises(WrongSide, match="The words say RIGHT, the chart shows LEFT"):
        check_place("45981001", "right", "front", 610, 260)
    with pytest.raises(WrongSide, match="the chart shows LEFT upper arm, back"):
        check_place("45981001", "left", "back", 390, 260)
    with pytest.raises(WrongSide, match="beside the body"):
        check_place("45981001", "left", "front", 10, 10)
    check_place("2059009", "left", *centre("1902009", "left"))


def test_the_nail_of_a_finger_lies_on_a_finger_and_is_set_from_behind():
    view, x, y = centre("770809003", "left")
    assert (view, site_words(*region_at(view, x, y))) == ("back", "LEFT finger")


@pytest.mark.parametrize(
    "words, region",
    [
        ("shoulder", "arm"),
        ("finger", "hand"),
        ("knee, front", "leg"),
        ("knee, back", "leg"),
        ("sole", "sole"),
    ],
)
def test_the_plan_knows_the_new_sites_by_the_region_of_the_facts(words, region):
    # The regions are the closed list of FACTS; shoulder with arm as in ICD-O C44.6 (from memory).
    assert REGION_OF[next(code for code, row in CODES.items() if row.words == words)] == region


def test_words():
    assert site_words("45981001", "left") == "LEFT upper arm, front"
    assert site_words("75093004", "midline") == "abdomen, midline"
    assert site_words("113179006", "midline") == "nose"
    with pytest.raises(KeyError):
        site_words("0", "left")

"""Who may be on record already; the limit of likeness is a clinic setting, no source."""

from datetime import date

import pytest

from clinic.formats.folding import fold
from clinic.merging import alike
from tests import build

BORN = date(1971, 7, 19)


def like(one, other):
    return alike.is_like_name(tuple(map(fold, one)), tuple(map(fold, other)))


@pytest.mark.parametrize(
    "one, other",
    [
        (("Martha", "Massey"), ("Marhta", "Massie")),
        (("Dwayne", "Abroms"), ("Duane", "Abrams")),
        (("Michelle", "Dunningham"), ("Michele", "Cunnigham")),
    ],
)
def test_names_of_published_pairs_are_alike(one, other):
    """Spellings of one name in Winkler, String comparator metrics and enhanced decision rules, 1990 (from memory)."""
    assert like(one, other) and like(other, one)


@pytest.mark.parametrize(
    "one, other",
    [
        (("Zoë", "Müller-Łukasz"), ("Zoe", "Mueller-Lukasz")),
        (("Zoë", "Müller"), ("Zoe", "Müller-Łukasz")),
        (("Zoë", "Müller"), ("Müller", "Zoe")),
        (("", "Müller"), ("Zoë", "Mueller")),
        (("Jon", "Meyer"), ("John", "Meier")),
    ],
)
def test_a_name_is_alike_in_another_spelling_order_or_half(one, other):
    """Common practice, no source."""
    assert like(one, other) and like(other, one)


@pytest.mark.parametrize(
    "one, other",
    [
        (("Anna", "Keller"), ("Peter", "Sommer")),
        (("Zoë", "Müller"), ("Ada", "Brandt")),
        (("Jo", ""), ("", "Brandt")),
    ],
)
def test_other_names_are_not_alike(one, other):
    """Common practice, no source."""
    assert not like(one, other)


@pytest.mark.django_db
def test_those_of_another_day_and_another_number_are_left_out():
    build.patient(given_name="Zoë", family_name="Müller", born=date(1972, 7, 19), phone="01 11 22 33")
    assert alike.find_alike(given_name="Zoë", family_name="Müller", born=BORN, phone="01 44 55 66") == []


@pytest.mark.django_db
def test_each_is_shown_once_with_all_that_is_alike():
    both = build.patient(given_name="Zoë", family_name="Müller", born=BORN, phone="01 11 22 33")
    house = build.patient(
        given_name="Karl", family_name="Müller", born=date(1999, 1, 1), phone="+353 1 11 22 33"
    )
    found = alike.find_alike(given_name="Zoe", family_name="Mueller", born=BORN, phone="00353 1 112233")
    assert [(one.patient, one.by_name, one.by_phone) for one in found] == [
        (both, True, True),
        (house, False, True),
    ]


@pytest.mark.django_db
def test_no_telephone_is_not_the_same_telephone():
    build.patient(phone="")
    build.patient(phone="ask at the gate")
    assert alike.find_alike(family_name="Brandt", born=BORN, phone="") == []
    assert alike.find_alike(family_name="Brandt", born=BORN, phone="ask at the gate") == []

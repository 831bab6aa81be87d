"""Pairs of records that may be one person are found at night, once. The limits are a clinic setting, no source."""

from datetime import date

import pytest

from clinic import clock
from clinic.merging import likely_same, pairs
from clinic.models import AuditRecord, ContactRoute, LikelyPair
from clinic.people import patients
from tests import build
from tests.clinic.merging.merge_scene import merge
from tests.scheduling import scene

pytestmark = pytest.mark.django_db
BORN = date(1957, 8, 9)


@pytest.fixture(autouse=True)
def _noon():
    with clock.at(scene.NOON):
        yield


def person(name, family="Marchbank", born=BORN, **more):
    return build.patient(given_name=name, family_name=family, born=born, **more)


def found():
    likely_same.find_pairs(scene.TODAY)
    return {(pair.one.given_name, pair.other.given_name): pair.reason for pair in LikelyPair.objects.all()}


@pytest.mark.parametrize(
    ("other", "reason"),
    [
        ({"name": "Otilie"}, "name"),
        ({"name": "Marchbank", "family": "Ottilie"}, "name"),
        ({"name": "Ottilie", "phone": "01632 960 111"}, "both"),
        ({"name": "Ottilie", "born": date(1957, 9, 8), "phone": "01632 960 111"}, "phone"),
        # Somebody who married: the name is another one, day of birth and telephone are the same.
        ({"name": "Ottilie", "family": "Quillfeather", "phone": "01632 960 111"}, "both"),
    ],
)
def test_a_pair_says_by_what_it_was_found(other, reason):
    person("Ottilie", phone="01632 960 111")
    person(**other)
    assert list(found().values()) == [reason]


@pytest.mark.parametrize(
    "other",
    [
        {"name": "Ottilie", "born": date(1988, 1, 1)},
        {"name": "Bertram"},
        # A household: one telephone, another name and another day.
        {"name": "Bertram", "born": date(1988, 1, 1), "phone": "01632 960 111"},
    ],
)
def test_who_is_plainly_another_is_not_found(other):
    person("Ottilie", phone="01632 960 111")
    person(**other)
    assert found() == {}


def test_a_pair_is_found_once_and_bears_a_day():
    person("Ottilie"), person("Otilie")
    assert likely_same.find_pairs(scene.TODAY) == 1
    assert likely_same.find_pairs(scene.TODAY) == 0
    assert LikelyPair.objects.get().due_on > scene.TODAY
    assert AuditRecord.objects.filter(action="pair.find").count() == 1


def test_two_people_are_never_found_again_also_after_a_merge():
    one, other, third = person("Ottilie"), person("Otilie"), person("Ottilie")
    likely_same.find_pairs(scene.TODAY)
    for pair in LikelyPair.objects.filter(one__in=(one, other), other=third):
        pairs.say_two_people(pair=pair, by=build.nurse(), revision=pair.revision)
    newer = build.patient(given_name="Ottilie", family_name="Marchbank", born=date(1970, 1, 1))
    patients.amend(patient=newer, by=build.nurse(), revision=newer.revision, born=BORN)
    merge(newer, one)
    likely_same.find_pairs(scene.TODAY)
    open_now = {(pair.one, pair.other) for pair in pairs.open_pairs()}
    assert open_now == {(other, newer)}


def test_a_number_of_a_carer_makes_no_pair():
    one = person("Ottilie", phone="01632 960 111")
    person("Ottilie", born=date(1988, 1, 1), phone="01632 960 111")
    mother = one.carers.create(name="A mother", relation="mother", authority="everything", valid_from=BORN)
    ContactRoute.objects.filter(patient=one).update(carer=mother)
    assert found() == {}

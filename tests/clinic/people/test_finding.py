"""People are found by what they say of themselves, in any spelling. Common practice, no source."""

from datetime import date

import pytest
from django.db import connection

from clinic.models import ContactRoute, NamePart, Patient
from clinic.people import finding, patients
from tests import build

pytestmark = pytest.mark.django_db
BORN = date(1971, 7, 19)


@pytest.fixture
def zoe():
    build.patient(given_name="Zacharias", family_name="Mulligan", born=date(1972, 7, 19), phone="01 999 0000")
    return build.patient(given_name="Zoë", family_name="Müller-Łukasz", born=BORN, phone="+353 (0)1 234 5678")


@pytest.mark.parametrize(
    "words",
    [
        "Zoe",
        "ZOË",
        "MÜLLER",
        "Muller",
        "Mueller",
        "Lukasz",
        "łuk",
        "Müller, Zoë",
        "Zoë Müller",
        "zoe mueller-lukasz",
        "MullerLukasz",
        "Müller Łukasz",
        "1971-07-19",
        "19.7.1971",
        "19/07/1971",
        "Muller 19 Jul 1971",
        "19 July 1971",
        "01 234 5678",
        "(01) 234-5678",
        "+353 1 234 5678",
        "00353 1 2345678",
        "5678",
        "Zoe 012345678",
    ],
)
def test_whatever_she_says_of_herself_finds_her(zoe, words):
    """The spellings of the desk's own list, and E.123 for the number."""
    assert list(finding.search(words)) == [zoe]


@pytest.mark.parametrize(
    "words", ["Zoe 1972-07-19", "Zoe Mulligan", "Mullers", "31.2.1971", "01 234 5679", "678 12", "?!"]
)
def test_what_does_not_fit_finds_nobody(zoe, words):
    assert list(finding.search(words)) == []


def test_a_number_finds_its_record_with_or_without_prefix_and_zeros(zoe):
    for words in (zoe.number, zoe.number.lower(), str(zoe.pk), f"{zoe.pk:05d}", f"QD {zoe.pk}"):
        assert list(finding.search(words)) == [zoe]


def test_a_number_on_file_without_its_country_is_found_from_abroad():
    someone = build.patient(phone="(087) 123 4567")
    assert list(finding.search("+353 87 123 4567")) == list(finding.search("00353871234567")) == [someone]


@pytest.mark.parametrize("stored, typed", [("O'Brien", "obrien"), ("O’Brien", "O'Brien"), ("OBrien", "O'Brien"),
                                           ("O Brien", "O'Brien"), ("van den Berg", "Vandenberg"), ("Straßer", "STRASSER"),
                                           ("Strasser", "straßer"), ("Sørensen", "Soerensen"), ("Ångström", "Aangstroem"),
                                           ("Anne-Marie", "annemarie"), ("Annemarie", "Anne-Marie")])  # fmt: skip
def test_another_spelling_finds_the_same_name(stored, typed):
    someone = build.patient(family_name=stored)
    assert list(finding.search(typed)) == [someone]


def test_a_new_name_is_found_and_the_old_one_is_not(zoe):
    patients.amend(patient=zoe, by=build.nurse(), revision=1, family_name="Ødegård")
    assert list(finding.search("odegard")) == [zoe] and not finding.search("Muller").exists()
    patients.amend(patient=zoe, by=build.nurse(), revision=2, given_name="Bö")
    assert list(finding.search("Boe Oedegaard")) == [zoe]


def test_an_address_is_no_telephone_number(zoe):
    patients.add_route(patient=zoe, by=build.nurse(), kind="email", value="z2223334@example.org")
    patients.add_route(patient=zoe, by=build.nurse(), kind="phone", value="0 44 55 66 77")
    assert not finding.search("2223334").exists() and list(finding.search("044556677")) == [zoe]


def test_nothing_typed_lists_everybody(zoe):
    assert finding.search(" ").count() == 2


def test_two_people_of_one_name_tell_themselves_apart():
    one = build.patient(given_name="Bram", family_name="Tolliver", born=BORN)
    other = build.patient(given_name="bram", family_name="tólliver", born=date(1980, 1, 2))
    alone = build.patient(given_name="Bram", family_name="Sedge")
    assert finding.shared_names([one, alone]) == {one.pk}
    assert finding.shared_names([one, other, alone]) == {one.pk, other.pk}
    assert list(finding.namesakes(one)) == [other]


def plan_of(rows):
    """The database's own plan. PostgreSQL is told to avoid reading whole tables, which it prefers where they are small."""
    sql, values = rows.query.sql_with_params()
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET LOCAL enable_seqscan = off")
        cursor.execute(f"EXPLAIN {'QUERY PLAN ' if connection.vendor == 'sqlite' else ''}{sql}", values)
        return "\n".join(str(row) for row in cursor.fetchall())


@pytest.mark.parametrize(
    "rows, index",
    [
        (lambda: NamePart.objects.filter(part__begins="mul").values("patient"), "name_parts_by_beginning"),
        (
            lambda: ContactRoute.objects.filter(phone_key__begins="8765").values("patient"),
            "routes_by_phone_key",
        ),
        (lambda: Patient.objects.filter(born=BORN).order_by(), "patients_by_birth"),
        (lambda: Patient.objects.filter(folded_family="muller").order_by(), "patients_of_a_name"),
    ],
)
def test_a_search_reads_an_index_and_no_whole_table(rows, index):
    """SQLite's manual, "EXPLAIN QUERY PLAN": SEARCH reads a part of a table or index, SCAN all of it."""
    plan = plan_of(rows())
    assert index in plan and "SCAN" not in plan.replace("Index Only Scan", "").replace("Index Scan", "")
    if connection.vendor == "sqlite" and "begins" in str(rows().query):
        assert ">? AND" in plan


def test_a_beginning_is_a_range_and_takes_no_wildcard():
    build.patient(family_name="Under_Score")
    assert not NamePart.objects.filter(part__begins="%").exists()
    assert not NamePart.objects.filter(part__begins="under_").exists()
    assert NamePart.objects.filter(part__begins="undersc").exists()

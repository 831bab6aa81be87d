"""What was typed is taken apart as days, numbers and names; the orders of a day: common practice, no source."""

from datetime import date

import pytest

from clinic.formats.language import Language
from clinic.people.typed import Sought, read

BORN = date(1971, 7, 19)


@pytest.mark.parametrize(
    "text",
    [
        "1971-07-19",
        "19.7.1971",
        "19. 7. 1971",
        "19.07.1971",
        "19/07/1971",
        "19-07-1971",
        "19 Jul 1971",
        "19 July 1971",
        "19 JULY 1971",
        "19. jul. 1971",
        "19-Jul-1971",
    ],
)
def test_a_day_is_read_in_the_usual_forms(text):
    """ISO 8601 and the forms of CLDR 44 for en, en-GB and de (medium, short with the whole year); from memory."""
    assert read(text) == Sought(days=(BORN,))


def test_a_month_is_read_in_the_language_of_the_clinic():
    """CLDR 44, German: May is Mai, March is Mär (März)."""
    german = Language(lambda text: {"May": "Mai", "Mar": "Mär"}.get(text, text), lambda one, many, n: many)
    assert read("3. Mai 1950", german).days == (date(1950, 5, 3),)
    assert read("3. März 1950", german).days == (date(1950, 3, 3),)


@pytest.mark.parametrize("text", ["31.2.1949", "1949-13-01", "19 Jux 1971", "0.0.0000"])
def test_a_day_that_does_not_exist_is_none(text):
    assert read(text).days == ()


def test_words_days_and_numbers_stand_in_any_order():
    sought = read("Müller, Zoë 19.7.1971 +353 1 234-5678 qd-00012")
    assert sought == Sought(("muller", "zo"), (BORN,), ("00012",), ("+353 1 234-5678",))


@pytest.mark.parametrize("text", ["QD-00012", "qd 12", "QD12"])
def test_a_number_of_a_record_bears_its_prefix(text):
    assert [int(number) for number in read(text).records] == [12]


@pytest.mark.parametrize("text", ["", "  ", "?!", "---", "\x00", "''"])
def test_signs_alone_are_nothing(text):
    assert read(text).is_empty


def test_a_text_without_end_is_cut():
    assert len(read("abc " * 5000).words) <= 8 and read("9" * 5000).numbers == ("9" * 200,)

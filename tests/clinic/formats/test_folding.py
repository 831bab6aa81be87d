"""What is folded, against published tables: Unicode's decompositions, the transliteration of passports, E.164."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.formats.folding import fold, name_parts, phone_key, phone_keys_at_home

# ICAO Doc 9303, Machine Readable Travel Documents, part 3, "Transliteration of multinational Latin-based characters",
# as reprinted at egov.ice.gov/sevishelp (letters up to Ø), the rest from memory.
ICAO = {
    "Á": "A", "À": "A", "Â": "A", "Ä": "AE", "Ã": "A", "Ă": "A", "Å": "AA", "Ą": "A", "Ć": "C", "Č": "C", "Ç": "C", "Ð": "D",
    "Ď": "D", "É": "E", "Ë": "E", "Ę": "E", "Ě": "E", "Ğ": "G", "Ħ": "H", "ı": "I", "İ": "I", "Ķ": "K", "Ł": "L", "Ĺ": "L",
    "Ľ": "L", "Ŀ": "L", "Ń": "N", "Ñ": "N", "Ň": "N", "Ŋ": "N", "Ö": "OE", "Õ": "O", "Ő": "O", "Ř": "R", "Ś": "S", "Š": "S",
    "Ş": "S", "Ŧ": "T", "Ü": "UE", "Ů": "U", "Ű": "U", "Ý": "Y", "Ź": "Z", "Ż": "Z", "Ž": "Z", "Þ": "TH", "Æ": "AE", "Œ": "OE",
    "Ø": "OE", "ß": "SS", "Đ": "D",
}  # fmt: skip


@pytest.mark.parametrize("letter", ICAO)
def test_a_letter_meets_its_spelling_in_a_passport(letter):
    assert fold(f"K{letter}n") == fold(f"K{ICAO[letter]}n") == fold(f"k{letter.lower()}n")


@pytest.mark.parametrize("letter", [one for one in ICAO if len(unicodedata.normalize("NFKD", one)) > 1])
def test_a_letter_meets_itself_without_its_mark(letter):
    """Unicode Standard Annex 15: NFKD parts a letter from its marks."""
    assert fold(f"k{letter}n") == fold(f"k{unicodedata.normalize('NFKD', letter)[0]}n")


@pytest.mark.parametrize(
    "one, other",
    [
        ("Müller", "Mueller"),
        ("Müller", "MULLER"),
        ("Straßer", "Strasser"),
        ("O'Brien", "O’BRIEN"),
        ("Anne-Marie", "Anne Marie"),
        ("Zoe\u0308", "Zoë"),
        ("Łukasz", "Lukasz"),
    ],
)
def test_spellings_of_one_name_are_one(one, other):
    assert fold(one) == fold(other) != ""


def test_names_that_differ_by_a_letter_stay_two():
    assert fold("Meyer") != fold("Meier") and fold("Hansen") != fold("Hanson")


@given(st.text(max_size=40))
def test_folding_twice_is_folding_once(name):
    assert fold(fold(name)) == fold(name)


@given(st.text(alphabet="aeouößæøłbnŁ-' AEÄ", max_size=30), st.integers(0, 30))
def test_a_beginning_stays_a_beginning(name, length):
    assert fold(name).startswith(fold(name[:length]))


def test_a_name_begins_at_each_of_its_words():
    assert name_parts("van den Berg") == {"vandenberg", "denberg", "berg"}
    assert name_parts("Müller-Łukasz") == {"mullerlukasz", "lukasz"}
    assert name_parts("O'Brien") == {"obrien", "brien"}
    assert name_parts("Zoe\u0308") == {"zo"} and name_parts(" - ") == set()


def test_a_number_has_one_key_in_every_spelling():
    """ITU-T E.123: 5 and 7: an international number with +, a national one with its trunk prefix, often in brackets."""
    at_home = {
        phone_key(text)
        for text in ("(01) 234 5678", "01 234 5678", "01-234-5678", "012345678", "01/234.5678")
    }
    abroad = {
        phone_key(text)
        for text in ("+353 1 234 5678", "00353 1 234 5678", "+353 (0)1 234-5678", "+35312345678")
    }
    assert at_home == {"12345678"[::-1]} and abroad == {"35312345678"[::-1]}


@pytest.mark.parametrize(
    "number", ["+353 1 234 5678", "00353 (0)1 234 5678", "+1 1 234 5678", "+49 1 234 5678"]
)
def test_a_number_from_abroad_meets_the_one_without_its_country(number):
    """ITU-T E.164, 6.1: a country code has one to three digits."""
    assert phone_key("01 234 5678") in phone_keys_at_home(number)


def test_a_number_without_a_country_has_no_other_key():
    assert phone_keys_at_home("01 234 5678") == []

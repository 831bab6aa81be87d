"""One spelling for all spellings of a name or a telephone number, so that what was typed meets what is on file.

Made for comparing only: nobody reads a folded name. Letters lose case and marks (Unicode's compatibility decomposition,
NFKD). What has no decomposition is spelled as in passports: ICAO Doc 9303, part 3, "Transliteration of multinational
Latin-based characters" (Ł L, Đ D, Þ TH, Æ AE, ß SS). There the same letter may also stand with a second vowel (Ä as AE,
Å as AA, Ø and Ö as OE, Ü as UE), so that ae, aa, oe and ue count as the vowel alone on both sides.
"""

import re
import unicodedata
from collections.abc import Iterator
from typing import Final

LONGEST: Final = 80
_SPELLED: Final = str.maketrans(
    {
        "ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe", "ı": "i", "ħ": "h", "ŋ": "n",
        "ŧ": "t",
    }
)  # fmt: skip
_LONG_A: Final = re.compile(r"a[ae]+")
_WITH_E: Final = re.compile(r"([ou])e+")
_WORD: Final = re.compile(r"[^\W_]+")
_TRUNK: Final = "(0)"
# Country codes have one to three digits (E.164, 6.1); what is left of a number has more than this.
_COUNTRY_CODES: Final = (1, 2, 3)
_SHORTEST_NUMBER: Final = 5


def fold(text: str) -> str:
    """Fold a name or a part of one to its letters and figures, without blanks, hyphens and apostrophes.

    What is folded from the beginning of a name is the beginning of what is folded from the whole.
    """
    plain = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text).casefold()).translate(_SPELLED)
    letters = "".join(one for one in plain if one.isalnum())
    return _WITH_E.sub(r"\1", _LONG_A.sub("a", letters))[:LONGEST]


def name_parts(name: str) -> set[str]:
    """Fold a name from the beginning of each of its words: “van den Berg” is vandenberg, denberg and berg."""
    # Decomposed first: a letter that is stored as letter and mark would end a word at its mark.
    words = _WORD.findall("".join(_unmarked(name)))
    return {folded for start in range(len(words)) if (folded := fold("".join(words[start:])))}


def _unmarked(text: str) -> Iterator[str]:
    return (one for one in unicodedata.normalize("NFKD", text) if not unicodedata.combining(one))


def digits_of(text: str) -> str:
    """Give the figures of a text, whatever script they are written in."""
    return "".join(str(unicodedata.decimal(one)) for one in text if one.isdecimal())


def phone_key(text: str) -> str:
    """Fold a telephone number to its figures, the last one first, without the zeros that lead out of town or country.

    Backwards, since spellings of one number differ in front: 01 234 5678, +353 1 234 5678, 00353 (0)1 234 5678.
    """
    return digits_of(text.replace(_TRUNK, "")).lstrip("0")[::-1]


def phone_keys_at_home(text: str) -> list[str]:
    """Give the keys that a number with a country code can have where it stands on file without it; else none."""
    number = text.strip().lstrip("(")
    if not number.startswith(("+", "00")):
        return []
    # Which figures are the country's is not told apart here: each length that a code can have is tried.
    digits = digits_of(number.replace(_TRUNK, "")).lstrip("0")
    return [phone_key(digits[code:]) for code in _COUNTRY_CODES if len(digits) - code >= _SHORTEST_NUMBER]

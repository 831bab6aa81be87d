"""Write the criteria of the risk tiers as sentences, from what they ask, never from words that stand beside them."""

from collections.abc import Iterable
from typing import Any, Final

from clinic.formats.language import alternatives
from clinic.tiers.tier_set import Condition, Context

_WORDS: Final = {
    "age": "age",
    "naevi": "number of moles on the whole body",
    "atypical": "number of atypical moles",
    "phototype": "skin phototype",
    "relatives": "number of first-degree relatives with melanoma",
    "other_relatives": "number of other relatives with melanoma, and of any with pancreatic cancer",
    "affected_relatives": "number of all relatives with melanoma or pancreatic cancer",
    "red_hair": "red hair",
    "blue_eyes": "blue eyes",
    "gene_carrier": "CDKN2A or an equivalent variant",
    "past_melanoma": "melanoma in the past",
    "several_melanomas": "two or more invasive melanomas, one of them within the last 10 years",
    "dysplastic_syndrome": "dysplastic naevus syndrome",
    "past_keratinocyte": "basal or squamous cell carcinoma in the past",
    "family_keratinocyte": "a relative with basal or squamous cell carcinoma or solar keratoses",
    "many_keratoses": "more than 20 solar keratoses",
    "some_keratoses": "some solar keratoses",
    "sunburns": "several sunburns in the past",
    "blistering_burns": "a sunburn that blistered",
    "sunbeds": "has used sunbeds",
    "immunosuppressed": "immunosuppressed",
    "transplanted": "has received a transplant",
}
_BANDS: Final = {"over100": "more than 100", "over10": "more than 10", "0": "none"}
FLAGS: Final = {
    "found": "read in a published text",
    "found-2nd": "second-hand, confirm before use",
    "memory H": "from memory, to be checked",
    "memory M": "from memory, to be confirmed",
}
_TESTS: Final = {"at_least": "at least", "at_most": "at most", "over": "over"}


def caution(flag: str) -> str:
    """Say beside a reason how sure it is, where it was not read in the published text itself."""
    return "" if flag == "found" else FLAGS.get(flag, "")


def sentence(when: Iterable[Condition]) -> str:
    """“Skin phototype is I, and age is over 45.”"""
    words = ", and ".join(_condition(condition) for condition in when)
    return f"{words[:1].upper()}{words[1:]}."


def _condition(one: Condition) -> str:
    name = _WORDS[one.answer]
    if isinstance(one.value, bool):
        return f"{name}: {'yes' if one.value else 'no'}"
    if one.operator == "in":
        return f"{name} is {alternatives([_band(value) for value in one.value])}"
    test = _TESTS.get(one.operator)
    return f"{name} is {test} {one.value}" if test else f"{name} is {_band(one.value)}"


def _band(value: Any) -> str:
    return _BANDS.get(str(value), str(value).replace("-", " to "))


def figure(row: Context) -> str:
    """“3.64 times (2.56 to 5.37)”"""
    span = f" ({row.interval[0]:g} to {row.interval[1]:g})" if row.interval else " (interval not given)"
    return f"{row.value:g} times{span}"

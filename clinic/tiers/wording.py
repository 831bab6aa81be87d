"""Write the criteria of the risk tiers as sentences, from what they ask, never from words that stand beside them."""

from collections.abc import Sequence
from functools import reduce
from typing import Any, Final

from clinic.formats import fault_wording
from clinic.formats.language import ENGLISH, Language, alternatives, gettext_noop
from clinic.formats.strict_toml import Fault
from clinic.tiers.tier_set import Condition, Context

_WORDS: Final = {
    "age": gettext_noop("age"),
    "naevi": gettext_noop("number of moles on the whole body"),
    "atypical": gettext_noop("number of atypical moles"),
    "phototype": gettext_noop("skin phototype"),
    "relatives": gettext_noop("number of first-degree relatives with melanoma"),
    "other_relatives": gettext_noop(
        "number of other relatives with melanoma, and of any with pancreatic cancer"
    ),
    "affected_relatives": gettext_noop("number of all relatives with melanoma or pancreatic cancer"),
    "red_hair": gettext_noop("red hair"),
    "blue_eyes": gettext_noop("blue eyes"),
    "gene_carrier": gettext_noop("CDKN2A or an equivalent variant"),
    "past_melanoma": gettext_noop("melanoma in the past"),
    "several_melanomas": gettext_noop("two or more invasive melanomas, one of them within the last 10 years"),
    "dysplastic_syndrome": gettext_noop("dysplastic naevus syndrome"),
    "past_keratinocyte": gettext_noop("basal or squamous cell carcinoma in the past"),
    "family_keratinocyte": gettext_noop(
        "a relative with basal or squamous cell carcinoma or solar keratoses"
    ),
    "many_keratoses": gettext_noop("more than 20 solar keratoses"),
    "some_keratoses": gettext_noop("some solar keratoses"),
    "sunburns": gettext_noop("several sunburns in the past"),
    "blistering_burns": gettext_noop("a sunburn that blistered"),
    "sunbeds": gettext_noop("has used sunbeds"),
    "immunosuppressed": gettext_noop("immunosuppressed"),
    "transplanted": gettext_noop("has received a transplant"),
}
_BANDS: Final = {
    "over100": gettext_noop("more than 100"),
    "over10": gettext_noop("more than 10"),
    "0": gettext_noop("none"),
}
_BAND: Final = gettext_noop("{low} to {high}")
_MARKS: Final = {
    "found": gettext_noop("read in a published text"),
    "found-2nd": gettext_noop("second-hand, confirm before use"),
    "memory H": gettext_noop("from memory, to be checked"),
    "memory M": gettext_noop("from memory, to be confirmed"),
}
_YES, _NO = gettext_noop("{name}: yes"), gettext_noop("{name}: no")
_IS: Final = gettext_noop("{name} is {value}")
_TESTS: Final = {
    "at_least": gettext_noop("{name} is at least {value}"),
    "at_most": gettext_noop("{name} is at most {value}"),
    "over": gettext_noop("{name} is over {value}"),
}
_AND: Final = gettext_noop("{first}, and {second}")
_FIGURE: Final = gettext_noop("{value} times ({low} to {high})")
_FIGURE_ALONE: Final = gettext_noop("{value} times (interval not given)")


def mark(flag: str, language: Language = ENGLISH) -> str:
    """Say how far a text was read where it was published; empty for a clinic's own setting."""
    return language.translate(_MARKS[flag]) if flag in _MARKS else ""


def caution(flag: str, language: Language = ENGLISH) -> str:
    """Say what stands beside a reason that was not read in the published text itself."""
    return "" if flag == "found" else mark(flag, language)


def sentence(when: Sequence[Condition], language: Language = ENGLISH) -> str:
    """Write conditions as one sentence: “Skin phototype is I, and age is over 45.”"""
    together = language.translate(_AND)
    said = [_condition(condition, language) for condition in when]
    words = reduce(lambda first, second: together.format(first=first, second=second), said)
    return f"{words[:1].upper()}{words[1:]}."


def says_just(when: Sequence[Condition], words: str, language: Language = ENGLISH) -> bool:
    """Say whether one thing is asked and these words name it: its sentence adds nothing."""
    asked = language.translate(_WORDS[when[0].answer])
    return len(when) == 1 and when[0].value is True and asked.lower() == words.lower()


def _condition(one: Condition, language: Language) -> str:
    template, value = _template(one), ""
    if one.operator == "in":
        value = alternatives([_band(value, language) for value in one.value], language)
    elif not isinstance(one.value, bool):
        value = _band(one.value, language)
    name = language.translate(_WORDS[one.answer])
    return language.translate(template).format(name=name, value=value)


def _template(one: Condition) -> str:
    if isinstance(one.value, bool):
        return _YES if one.value else _NO
    return _TESTS.get(one.operator, _IS)


def _band(value: Any, language: Language) -> str:
    if isinstance(value, str) and value in _BANDS:
        return language.translate(_BANDS[value])
    # A whole number has no dash and stands as it is.
    low, _dash, high = str(value).partition("-")
    return language.translate(_BAND).format(low=low, high=high) if high else low


def figure(row: Context, language: Language = ENGLISH) -> str:
    """Write a published relative risk: “3.64 times (2.56 to 5.37)”."""
    if row.interval is None:
        return language.translate(_FIGURE_ALONE).format(value=f"{row.value:g}")
    low, high = (f"{end:g}" for end in row.interval)
    return language.translate(_FIGURE).format(value=f"{row.value:g}", low=low, high=high)


# ---- what is wrong with a text of criteria ---------------------------------------------------------

_FAULTS: Final = {
    "no_approver": gettext_noop("a criterion without a source names who approves it"),
    "design_alone": gettext_noop("“design” stands with source “{words}”, and only there"),
    "no_interval": gettext_noop("must be two numbers above 0, the lower first"),
    "value_outside": gettext_noop("does not hold the value; the lower end stands first"),
    "no_answer": gettext_noop("must name at least one answer, such as {like}"),
    "unknown_answer": gettext_noop("there is no such answer; known are {known}"),
    "no_test": gettext_noop("needs one of {known}"),
    "unknown_operator": gettext_noop("is no operator of {answer}; known are {known}"),
    "no_answers": gettext_noop("must be a list of answers"),
    "none_of": gettext_noop("{value} is none of {known}"),
    "no_whole_number": gettext_noop("must be a whole number from 0 to 150"),
}


def say_faults(faults: Sequence[Fault], language: Language = ENGLISH) -> list[str]:
    """Write what is wrong with a text of criteria, each fault with its place."""
    return [fault_wording.say(fault, language, _FAULTS) for fault in faults]

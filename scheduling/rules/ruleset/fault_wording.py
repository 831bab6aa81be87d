"""Say what is wrong with a rule set, in the language of the reader."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from clinic.formats import fault_wording as common
from clinic.formats.language import ENGLISH, Language, gettext_noop
from clinic.formats.strict_toml import Fault

_SENTENCES: Final = {
    "no_then": gettext_noop(
        "is missing: say what follows the last phase (open, end or ask); a schedule never stops silently"
    ),
    "no_source_key": gettext_noop(
        "is missing: a rule names its source, or says “clinic setting, no source” and its approver"
    ),
    "no_length": gettext_noop('is missing: a duration, "open" or "once"'),
    "no_other_rule": gettext_noop("there is no other rule “{other}”"),
    "another_purpose": gettext_noop("“{other}” has another purpose or another anchor"),
    "not_from_anchor": gettext_noop("{purpose} cannot be counted from anchor “{anchor}”"),
    "superseded": gettext_noop("this edition is superseded by {by}"),
    "longer_than_120_months": gettext_noop("is longer than 120 months"),
    "longer_than_100_years": gettext_noop("is longer than 100 years"),
    "only_with_ask": gettext_noop('stands with then = "ask", and only there'),
    "one_open_phase": gettext_noop("counted from attendance, a risk rule is one open phase"),
    "as_decided_elsewhere": gettext_noop('“as decided” needs anchor = "decision"'),
    "as_decided_once": gettext_noop("“as decided” happens once"),
    "no_approver": gettext_noop("a rule without a source names who approves it"),
    "no_phase": gettext_noop('no phase at all is only said with then = "end"'),
    "open_not_last": gettext_noop("an open phase can only be the last"),
    "open_alone": gettext_noop('“open” stands with a last phase for = "open", and only there'),
    "interval_out_of_range": gettext_noop(
        "needs 1 day to 120 months, the short end first and the target inside"
    ),
    "early_too_long": gettext_noop("must be shorter than the interval itself"),
    "late_too_long": gettext_noop("is longer than the interval itself: the next visit would be due first"),
    "nobody_seen": gettext_noop("is shorter than the interval: nobody would be seen"),
    "no_interval": gettext_noop(
        'must be a duration such as "P3M" or a range such as "P3M..P6M", not {value}'
    ),
    "no_duration": gettext_noop('must be a duration such as "P3M", "P2Y" or "P2M15D", not {value}'),
    "range_is_window": gettext_noop("a range is its own window"),
    "no_tolerance": gettext_noop("a single interval says how early and how late is in time"),
    "no_conditions": gettext_noop("must be a table: {like}"),
    "no_fact": gettext_noop("is no fact of anchor “{anchor}”"),
    "one_operator": gettext_noop("needs exactly one operator: {like}"),
    "no_operator": gettext_noop("is no operator; there are: {known}"),
    "empty_list": gettext_noop("needs a list that is not empty"),
    "thickness_only": gettext_noop(
        "at_least and below compare a thickness, the other operators compare words"
    ),
    "value_yes_or_no": gettext_noop("{value} is not true or false"),
    "no_quotes": gettext_noop("{value} must be written in quotes"),
    "no_thickness": gettext_noop("{value} is not a thickness in mm with at most one decimal"),
    "none_of": gettext_noop("{value} is not one of: {known}"),
}


def say(fault: Fault, language: Language = ENGLISH) -> str:
    """Write one fault with its place."""
    return common.say(fault, language, _SENTENCES)


def say_all(faults: Iterable[Fault], language: Language = ENGLISH) -> str:
    """Write several in one line."""
    return "; ".join(say(fault, language) for fault in faults)

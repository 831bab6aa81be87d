"""Write rules for a reader: their own texts in the reader's language, and what the program says of them."""

from django.utils.text import capfirst
from django.utils.translation import gettext, gettext_lazy

from clinic.wording import SPOKEN
from lesions.register import bodymap
from scheduling.planning.wording import language_code
from scheduling.rules.plan import wording
from scheduling.rules.ruleset.rule import Rule, RuleSet
from scheduling.rules.ruleset.vocabulary import SOURCELESS

FLAGS = {
    "found": gettext_lazy("read in a published text"),
    "found-2nd": gettext_lazy("second-hand, confirm before use"),
    "memory H": gettext_lazy("from memory, to be checked"),
    "memory M": gettext_lazy("from memory, to be checked before it is relied on"),
    "derived": gettext_lazy("worked out from published figures"),
    "design": gettext_lazy("a choice of the clinic"),
}


def title_of(of: Rule | RuleSet) -> str:
    """Give a title in the reader's language where the set gives it."""
    return of.text("title", language_code())


def source_of(rule: Rule) -> str:
    """Write the source as the set gives it; that there is none is said in the reader's language."""
    return gettext(rule.source) if rule.source in SOURCELESS else rule.text("source", language_code())


def edition_of(rule: Rule) -> str:
    """Write the edition; nothing for a setting without a source, which has only its own number."""
    return (
        ""
        if rule.source in SOURCELESS and rule.edition.isdecimal()
        else rule.text("edition", language_code())
    )


def body_of(rule: Rule) -> str:
    """Write what the rule plans and when it applies."""
    sites = {code: gettext(words) for code, words in bodymap.SITES}
    return capfirst(wording.rule_body(rule, sites, SPOKEN))


def phases_of(rule: Rule) -> str:
    """Write how often, for how long, and what then."""
    return ", ".join(wording.phase_labels(rule, SPOKEN))


def flag_of(rule: Rule) -> str:
    """Say how well the source is known; where there is none, there is nothing to have read."""
    return "" if rule.source in SOURCELESS else str(FLAGS.get(rule.flag, rule.flag))

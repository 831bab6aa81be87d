"""Why something is due, what a person must answer and how a recall ended, in the reader's language."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from django import template
from django.utils.translation import gettext as _

from clinic.wording import write_day
from scheduling.checklists.definitions import words_of_threshold
from scheduling.models import Checklist, Override
from scheduling.planning import wording
from scheduling.recalls import overrides
from scheduling.rule_changes.comparison import Planned
from scheduling.rules.plan.plan import Reason

register = template.Library()
register.filter("source_words", wording.source_words)
register.filter("own_decision", wording.is_own_decision)
register.filter("problem_words", wording.problem_words)
register.filter("ended_words", wording.ended_words)
FOLLOWING = 12  # how many days of a series are named


@register.filter
def reason_words(reason: Reason | Mapping[str, Any]) -> str:
    """Say why something is due, closed by one full stop: some reasons are several sentences."""
    said = wording.reason_words(reason)
    return said if said.endswith(".") else f"{said}."


@register.filter
def why_ended(row: Override) -> str:
    """Say why somebody's own interval or day holds no more."""
    return _("replaced by a later decision") if row.ended_reason == overrides.REPLACED else row.ended_reason


@register.filter
def threshold_words(row: Checklist) -> str:
    """Write the sum of a checklist beside its published threshold."""
    return words_of_threshold(row)


@register.filter
def first_days(planned: Planned) -> str:
    """Write the first visit of a series, and the days of those that follow."""
    first = planned.first
    days = {
        "target": write_day(first.target),
        "earliest": write_day(first.earliest),
        "latest": write_day(first.latest),
        "then": _days(planned.then),
    }
    if first.earliest == first.latest:
        text = _("First on %(target)s; then about %(then)s.") if planned.then else _("First on %(target)s.")
    elif planned.then:
        text = _("First between %(earliest)s and %(latest)s; then about %(then)s.")
    else:
        text = _("First between %(earliest)s and %(latest)s.")
    return text % days


@register.filter
def following_days(days: Sequence[date]) -> str:
    """Say about which days a series goes on."""
    text = _("Then about %(days)s and on.") if len(days) > FOLLOWING else _("Then about %(days)s.")
    return text % {"days": _days(days[:FOLLOWING])}


def _days(days: Sequence[date]) -> str:
    return ", ".join(write_day(day) for day in days)

"""What the tests of the engine ask: a plan under the shipped set, one row of it, the problems by code."""

import re
from datetime import date

from scheduling.rules.plan import engine
from scheduling.rules.ruleset import ruleset
from tests.scheduling.rules.build import build
from tests.scheduling.rules.sets import HEAD, one_rule

DEFAULT = ruleset.load(ruleset.shipped("default"))
TODAY = date(2024, 6, 1)
MELANOMA = {"code": "melanoma", "anchor": "2024-01-31"}
CHECK = {"purpose": "full_skin_check", "subject": "patient"}


def plan(rules=DEFAULT, today=None, **facts):
    """The plan on `today`; where none is given, on a day on which all that is recorded has happened."""
    return engine.plan(build(**facts), rules, today or last_day(facts))


def last_day(facts):
    recorded = re.findall(
        r"'(?:on|anchor|answered_on|fulfilled_on|assessed_on|last_image_on)': '([0-9-]+)'", str(facts)
    )
    return max([TODAY, *map(date.fromisoformat, recorded)])


def row(answer, purpose="full_skin_check", subject=None):
    """The one row for this purpose, or for this purpose and subject."""
    (found,) = [due for due in answer.due if due.purpose == purpose and subject in (None, due.subject)]
    return found


def codes(answer):
    return {(problem.code, problem.subject) for problem in answer.problems}


def rule_set(*texts):
    return ruleset.load(HEAD + "\n".join(text.replace(HEAD, "") for text in texts))


YEARS = (
    '[{ every = "P3M", for = "P1Y", early = "P14D", late = "P14D" }, '
    '{ every = "P6M", for = "P1Y", early = "P30D", late = "P30D" }]'
)


def by_attendance(phases, then, notice):
    return ruleset.load(one_rule(phases=phases, then=then, notice=notice, spacing='"attendance"'))

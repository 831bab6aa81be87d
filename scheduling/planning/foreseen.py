"""Foresee what the plan would ask about a lesion if a decision were signed; nothing is written."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from django.utils.translation import gettext as _

from clinic import clock
from clinic.models import Purpose
from clinic.wording import write_day
from lesions.looking.foresight import Foreseen, Supposed
from lesions.models import Lesion
from lesions.review import owed, signoff
from scheduling.models import Plan as PlanRow
from scheduling.planning.gather import gather_facts
from scheduling.planning.rules_in_force import rules_in_force
from scheduling.rules.facts import facts
from scheduling.rules.facts.facts import Facts
from scheduling.rules.plan import engine
from scheduling.rules.plan.plan import Plan


def foresee(lesion: Lesion, supposed: Sequence[Supposed], at_hand: bool = False) -> list[Foreseen]:
    """Give one answer for each supposed decision; with `at_hand` none while the stored plan is out of date."""
    rules = rules_in_force()
    if rules is None:
        return [Foreseen() for _ in supposed]
    known, today = _known(lesion, at_hand), clock.today()
    if known is None:
        return []
    plans = [engine.plan(_if_signed(known, lesion, one), rules[1], today) for one in supposed]
    return [_about(plan, f"lesion:{lesion.pk}") for plan in plans]


def _known(lesion: Lesion, at_hand: bool) -> Facts | None:
    """Read what the last plan was made from, if it still stands: one query in place of ten."""
    current = {"patient": lesion.patient_id, "facts_revision": lesion.patient.facts_revision}
    stored = PlanRow.objects.filter(**current).values_list("facts", flat=True).first()
    if stored is not None:
        return facts.parse(stored)
    return None if at_hand else gather_facts(lesion.patient)


def _if_signed(known: Facts, lesion: Lesion, supposed: Supposed) -> Facts:
    """Give the facts as the signature would leave them; what is said of a photograph alone decides nothing."""
    if supposed is None or supposed[0] in owed.OF_THE_PICTURE:
        return known
    decision, months = supposed
    moved: Any = signoff.moved_by(decision, months)
    lesions = [replace(row, **moved) if row.id == str(lesion.pk) else row for row in known.lesions]
    # The last of all: as a signature given now would be, of two on one day the later decides.
    order = 1 + max((row.order for row in known.decisions), default=0)
    word: Any = decision
    signed = facts.DecisionFact("supposed", order, str(lesion.pk), word, clock.today(), months)
    return replace(known, lesions=tuple(lesions), decisions=(*known.decisions, signed))


def _about(plan: Plan, subject: str) -> Foreseen:
    due = sorted((one for one in plan.due if one.subject == subject), key=lambda one: one.target)
    words = [
        _("%(what)s between %(earliest)s and %(latest)s")
        % {
            "what": Purpose(one.purpose).label,
            "earliest": write_day(one.earliest),
            "latest": write_day(one.latest),
        }
        for one in due
    ]
    picture = next(((one.earliest, one.latest) for one in due if one.purpose == Purpose.LESION_IMAGE), None)
    return Foreseen(tuple(words), picture)

"""Answer what follows where a schedule ends: go on as before, another interval, or a discharge."""

from datetime import date

from django.db import models
from django.utils.translation import gettext_lazy as _

from clinic.models import Member
from scheduling.models import Override, PlanProblem, SeriesEnd
from scheduling.recalls import discharge, overrides
from scheduling.recalls.closing import RecallRefused


class Answer(models.TextChoices):
    GO_ON = "go_on", _("Go on as before")
    INTERVAL = "interval", _("Another interval")
    DISCHARGE = "discharge", _("Discharge from these checks")


def can_answer(problem: PlanProblem) -> bool:
    """Say whether the problem is the end of a rule's schedule, so that it has these answers."""
    return problem.code == "what_follows" and "rule" in problem.params


def answer_what_follows(
    *,
    problem: PlanProblem,
    by: Member,
    answer: str,
    reason: str,
    revision: int,
    interval: str = "",
    until: date | None = None,
    accepted: bool = False,
) -> Override | SeriesEnd:
    """Write one answer; an interval always has an end, after which it is asked again."""
    given = problem.params
    about = {"patient": problem.patient, "by": by, "purpose": given["purpose"], "subject": given["subject"]}
    if answer == Answer.DISCHARGE:
        key = (given["rule"], given["of"])
        return discharge.end_series(**about, series=[key], note=reason)[0]
    # An interval without an end would be a discharge from ever being asked again.
    if until is None:
        raise RecallRefused(_("Say until when this holds: then somebody is asked again."))
    every = given["every"] if answer == Answer.GO_ON else interval
    return overrides.set_interval(
        **about, interval=every, until=until, reason=reason, revision=revision, accepted=accepted
    )

"""Find and end what was asked of a dermatologist because of one recall: after an attempt, or a missed visit."""

from collections.abc import Iterable
from typing import Any

from django.db import models
from django.db.models import CharField, Q, QuerySet, Value
from django.db.models.functions import Cast, Concat

from clinic.access import Act, may
from clinic.duties import ledger
from clinic.models import Duty, Member
from scheduling.models import Recall

KIND = "decide_what_follows"


def asked_about(recall: Recall) -> QuerySet[Duty]:
    """Find what was asked of a dermatologist because of one recall, answered or not."""
    rows = Q(opened_from__in=_keys(recall.attempts.all())) | Q(
        opened_from__in=_keys(recall.appointments.all())
    )
    return Duty.objects.filter(rows, kind=KIND)


def waiting_about(recall: Recall) -> QuerySet[Duty]:
    """Find what was asked about a recall and is not answered yet."""
    return asked_about(recall).filter(ended_at__isnull=True).select_related("patient")


def answer(recall: Recall, *, by: list[Member | None], evidence: models.Model) -> None:
    """End what was asked, by the first of these who may sign; `None` is the program, where the desk itself may."""
    for who in by:
        if who is None or may(who, Act.SIGN_OFF):
            for duty in waiting_about(recall):
                ledger.end_duty(duty, by=who, evidence=evidence)
            return


def reached(recalls: Iterable[Recall], *, by: Member, evidence: models.Model) -> None:
    """End the duty to go on trying, because it is booked."""
    # “Go on trying” was opened by the dermatologist's answer, so the step of that answer is where it comes from.
    for recall in recalls:
        said = [f"clinic.step:{key}" for key in asked_about(recall).values_list("steps", flat=True) if key]
        for duty in Duty.objects.filter(kind="try_on", opened_from__in=said, ended_at=None).select_related(
            "patient"
        ):
            ledger.end_duty(duty, by=by, evidence=evidence)


def _keys(rows: QuerySet[Any]) -> QuerySet[Any]:
    """Give the words by which duties name these rows, made by the database: one question instead of three."""
    named = Concat(Value(f"{rows.model._meta.label_lower}:"), Cast("pk", CharField()))
    return rows.order_by().values_list(named)

"""Hints from below: the facts of a patient changed, so the plan is asked for at once."""

from typing import Any

from django.dispatch import receiver

from clinic import jobs
from clinic.signals import facts_changed


@receiver(facts_changed, dispatch_uid="scheduling replans")
def ring_for_a_plan(*, patient_id: int, **_: Any) -> None:
    jobs.ring("replan", patient_id)

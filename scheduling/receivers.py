"""Ask for a new plan as soon as the facts of a patient have changed.

A lost signal only delays the plan: the sweep finds whose plan is out of date.
"""

from typing import Any

from django.dispatch import receiver

from clinic import jobs
from clinic.signals import facts_changed
from clinic.trail import audit
from scheduling.today import worklists


@receiver(facts_changed, dispatch_uid="scheduling replans")
def request_plan(*, patient_id: int, **_: Any) -> None:
    """Ask for a patient's plan to be made anew."""
    jobs.request_work("replan", patient_id)


# With every audit record, in its transaction: whoever it is about is looked at again on Today.
audit.ALSO.append(worklists.touch)

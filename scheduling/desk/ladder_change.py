"""Bring another ladder into force: whoever was tried as often as it allows goes to a dermatologist at once."""

from django.db import transaction
from django.db.models import Count, Q

from clinic import policies
from clinic.models import Member, Policy
from scheduling.desk import what_next
from scheduling.models import OPEN, Recall
from scheduling.planning import ladder


@transaction.atomic
def approve(*, policy: Policy, by: Member, revision: int) -> Policy:
    """Approve a proposed ladder, by a second person, and ask about every recall whose attempts it uses up."""
    approved = policies.approve(policy=policy, by=by, revision=revision)
    # Only a first choice, in one question: `ask_if_used_up` leaves out what a dermatologist has answered.
    counted = Count("attempts", filter=Q(attempts__counts=True, attempts__struck__isnull=True))
    for urgency, rungs in ladder.in_force().items():
        tried = Recall.objects.filter(state__in=OPEN, urgency=urgency).annotate(tried=counted)
        for recall in tried.filter(tried__gte=rungs.attempts).select_related("patient"):
            what_next.ask_if_used_up(recall, rungs.attempts)
    return approved

"""What the rules cannot answer and a person must, as it is open now."""

from django.db.models import QuerySet

from scheduling.models import PlanProblem


def open_problems() -> QuerySet[PlanProblem]:
    # A record that ended is asked nothing more; one that is ending still is.
    live = {"patient__merged_into__isnull": True, "patient__status__in": ("active", "ending")}
    return PlanProblem.objects.filter(gone_on__isnull=True, **live)

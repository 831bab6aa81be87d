"""Whose patient somebody is: the dermatologist who saw them last. Clinic setting, no source."""

from django.db.models import OuterRef, Subquery

from clinic.models import Role, Visit


def last_seen_by(column: str = "by", until: str = "") -> Subquery:
    """Give who saw the patient of each row last, up to the day in the column `until`; as the key, or as `by__name`."""
    visits = Visit.objects.filter(patient=OuterRef("patient"), by__role=Role.DERMATOLOGIST, struck_at=None)
    visits = visits.filter(attended_on__lte=OuterRef(until)) if until else visits
    return Subquery(visits.order_by("-attended_on", "-pk").values(column)[:1])

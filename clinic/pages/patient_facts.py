"""One question for the patient and for what is rare about a record, so that a page asks only for what is there."""

from django.db.models import Exists, OuterRef, Q, QuerySet

from clinic.duties import proposals
from clinic.merging import pairs
from clinic.models import Merge, Patient


def patients() -> QuerySet[Patient]:
    """Find patients, each with whether somebody bears a like name, a pair or a proposal waits, a record was merged."""
    key = OuterRef("pk")
    # Wider than a namesake, who shares the initial too: this only spares a question where nobody can be one.
    alike = Patient.objects.filter(folded_family=OuterRef("folded_family"), merged_into__isnull=True)
    return Patient.objects.annotate(
        has_namesake=Exists(alike.exclude(pk=key)),
        has_pairs=Exists(pairs.open_pairs().filter(Q(one=key) | Q(other=key))),
        has_merges=Exists(Merge.objects.filter(survivor=key, undone__isnull=True)),
        has_proposals=Exists(proposals.waiting().filter(patient=key)),
    )

"""What is said where two records are merged or parted, or where that is refused."""

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from clinic.models import Patient

MERGE = _("merge two records of one person")
UNMERGE = _("undo a merge: two people after all")
MERGED_ALREADY = _("One of the two records is merged already.")
BOTH_IN_CARE = _(
    "One of the two records has ended, or care is ending: resume it, or end both the same way first."
)
PROPOSALS_FIRST = _("Something is proposed about these records: it is confirmed or refused first.")
TWO_MERGE = _("Two people merge records, and this clinic has one.")
DAYS_MOVED = _("Days of this patient have moved since it was proposed: refuse it, and propose it anew.")
UNDONE_ALREADY = _("This merge is undone already.")
LATER_MERGE_FIRST = _("Another record was merged later: that merge is undone first.")

_ANSWERS_DIFFER = _(
    "merge %(gone)s into %(kept)s: their answers to photographs differ, the stricter holds until asked again"
)
_BOTH_DIFFER = _(
    "merge %(gone)s into %(kept)s: their days of birth differ; "
    "their answers to photographs differ, the stricter holds until asked again"
)


def say_merge(gone: Patient, survivor: Patient, answers_differ: bool = False) -> str:
    """A proposed merge in words; `answers_differ`: those to photographs."""
    said = {"gone": f"{gone.number} {gone}", "kept": f"{survivor.number} {survivor}"}
    # Whoever confirms sees two like names here, and must not take two people for one.
    if gone.born != survivor.born and answers_differ:
        return _BOTH_DIFFER % said
    if gone.born != survivor.born:
        return gettext("merge %(gone)s into %(kept)s: their days of birth differ") % said
    if answers_differ:
        return _ANSWERS_DIFFER % said
    return gettext("merge %(gone)s into %(kept)s") % said


def say_unmerge(gone: Patient, survivor: Patient) -> str:
    said = {"gone": f"{gone.number} {gone}", "kept": f"{survivor.number} {survivor}"}
    return gettext("part %(gone)s from %(kept)s again") % said

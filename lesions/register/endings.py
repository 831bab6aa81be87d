"""Judge changes of a lesion that end something owed: who may make them, who proposes, what a confirmation does."""

from collections.abc import Sequence
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinic import clock
from clinic.duties import proposals
from clinic.duties.proposals import Proposable
from clinic.models import Member, Proposal, change
from clinic.trail import audit
from lesions.models import Lesion, LesionState, Monitoring

ENDED = (LesionState.REMOVED, LesionState.GONE, LesionState.ERROR)
ACT = "lesion.change"
# Only a procedure or a signature moves a lesion into or out of these.
_BY_A_ROW = (LesionState.BIOPSY_DECIDED, LesionState.BIOPSY_TAKEN, LesionState.REMOVED)
_CLOSENESS: dict[str | None, int] = {None: 0, Monitoring.LONG: 1, Monitoring.SHORT: 2}


class LesionRefused(ValueError):
    """Raised where a lesion cannot be changed so; the text is the sentence for the page."""


def moved(lesion: Lesion, state: str | None, monitoring: str | None) -> dict[str, Any]:
    """Find what would change (None keeps). Raises LesionRefused for what only a procedure or a signature moves."""
    fields: dict[str, Any] = {}
    if state is not None and state != lesion.state:
        _check_state(lesion, state)
        fields["state"] = state
    # A lesion that is gone would otherwise ask for its next picture for ever.
    if state in ENDED and lesion.monitoring:
        fields["monitoring"] = None
    elif monitoring is not None and (monitoring or None) != lesion.monitoring:
        _check_monitoring(monitoring)
        fields["monitoring"] = monitoring or None
    return fields


def _check_state(lesion: Lesion, state: str) -> None:
    if state not in LesionState.values:
        raise LesionRefused(_("This is not a state of a lesion."))
    if state in _BY_A_ROW:
        raise LesionRefused(_("Record the procedure, or sign “already removed”: that moves the lesion."))
    if lesion.state in _BY_A_ROW and state == LesionState.WATCHED:
        raise LesionRefused(_("A decision was signed: a later signature is what replaces it."))


def _check_monitoring(monitoring: str) -> None:
    if monitoring not in ("", *Monitoring.values):
        raise LesionRefused(_("Monitoring is short, long or none."))


def ends_a_duty(lesion: Lesion, fields: dict[str, Any]) -> bool:
    """Say whether the change ends a duty: whether a look that is owed would come later or never."""
    if fields.get("state") in ENDED:
        return True
    # Watching more closely ends nothing: anybody may do that at once.
    return "monitoring" in fields and _CLOSENESS[fields["monitoring"]] < _CLOSENESS[lesion.monitoring or None]


def needs_two(fields: dict[str, Any]) -> bool:
    """Say whether the change needs two members, one of them a dermatologist: “entered in error” does."""
    return fields.get("state") == LesionState.ERROR


def propose(lesion: Lesion, by: Member, reason: str, fields: dict[str, Any]) -> Proposal:
    what = {name: fields[name] for name in ("state", "monitoring") if fields.get(name, lesion) is not lesion}
    urgent = lesion.urgent_signs.filter(answered_by__isnull=True).exists()
    return proposals.propose(
        ACT, patient=lesion.patient, subject=lesion, by=by, reason=reason, urgent=urgent, **what
    )


def write(lesion: Lesion, by: Member, revision: int, fields: dict[str, Any], **details: Any) -> Lesion:
    change(lesion, seen=revision, at=clock.now(), **fields)
    audit.record("lesion.amend", by=by, subject=lesion, patient=lesion.patient, changed=fields, **details)
    return lesion


def _apply(proposal: Proposal, by: Member) -> Lesion:
    lesion = (
        Lesion.objects.select_for_update(of=("self",))
        .select_related("patient")
        .get(pk=proposals.key_of(proposal))
    )
    given = proposal.fields
    # Worked out anew: between the proposal and its answer a procedure may have moved the lesion.
    fields = moved(lesion, given.get("state"), given["monitoring"] or "" if "monitoring" in given else None)
    return write(lesion, by, lesion.revision, fields, proposed_by=proposal.proposed_by.pk)


def _describe(rows: Sequence[Proposal]) -> dict[int, str]:
    lesions = Lesion.objects.in_bulk([proposals.key_of(row) for row in rows])
    return {row.pk: _in_words(row, lesions[proposals.key_of(row)]) for row in rows}


def _in_words(proposal: Proposal, lesion: Lesion) -> str:
    parts = []
    if state := proposal.fields.get("state"):
        parts.append(str(LesionState(state).label))
    if "monitoring" in proposal.fields:
        wanted = proposal.fields["monitoring"]
        parts.append(
            _("monitoring %(how)s") % {"how": Monitoring(wanted).label} if wanted else _("no monitoring")
        )
    return _("lesion %(label)s: %(changes)s") % {"label": lesion.label, "changes": ", ".join(parts)}


CHANGE = Proposable(
    gettext_lazy("change a lesion so that something owed ends"), _apply, _describe, either=True
)

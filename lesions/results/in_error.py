"""Strike through a procedure or a result recorded in error: at once by who recorded it, later by two people.

It stays readable and counts nowhere: what it moved returns, what it opened is owed no more, what it ended again.
"""

from collections.abc import Callable, Sequence
from typing import Any

from django.db import transaction
from django.db.models import F, Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinic import clock
from clinic.duties import ledger, proposals
from clinic.duties.kinds import KINDS
from clinic.duties.proposals import Proposable
from clinic.models import Duty, Member, Proposal, change
from clinic.people import longer_waits
from clinic.trail import audit
from lesions.models import Diagnosis, Lesion, Procedure
from lesions.register import register, subjects
from lesions.results.report_checks import ResultRefused
from lesions.review import owed

Recorded = Procedure | Diagnosis
ACT = "result.in_error"
# Asked before it goes: an upper app reopens what it completed, or raises ResultRefused where what follows is booked.
BEFORE: list[Callable[[Recorded], None]] = []


@transaction.atomic
def take_back(*, row: Recorded, by: Member, revision: int) -> Recorded:
    """Take it back, by who recorded it and within ten minutes, unless somebody has acted on it.

    Raises ResultRefused or StaleRow.
    """
    if row.by_id != by.pk:
        raise ResultRefused(_("Only who recorded it takes it back; later two people enter it in error."))
    if clock.now() - row.changed_at > ledger.TAKE_BACK:
        raise ResultRefused(_("Ten minutes are over: two people enter it in error, one proposes it."))
    _check_nobody_acted(row)
    return _strike(row, by, revision)


def may_take_back(row: Recorded, by: Member) -> bool:
    return row.by_id == by.pk and clock.now() - row.changed_at <= ledger.TAKE_BACK


@transaction.atomic
def propose(*, row: Recorded, by: Member, reason: str) -> Proposal:
    """Propose that it was entered in error: one of the two is a dermatologist, whichever."""
    if row.struck_at is not None:
        raise ResultRefused(_("It is struck through already."))
    _check_stands_alone(row)
    return proposals.propose(ACT, patient=row.patient, subject=row, by=by, reason=reason, urgent=True)


def _check_nobody_acted(row: Recorded) -> None:
    done = Duty.objects.filter(opened_from=audit.subject_of(row), ended_at__isnull=False)
    last = done.select_related("ended_by").first()
    if last:
        said = {"who": last.ended_by or _("Somebody"), "what": KINDS[last.kind].words}
        raise ResultRefused(_("%(who)s has already acted on it: %(what)s.") % said)
    if isinstance(row, Diagnosis) and row.versions.count() > 1:
        raise ResultRefused(_("It was amended since: amend it again, or two people enter it in error."))
    later = (
        owed.standing()
        .filter(lesion=row.lesion_id, signed_at__gt=row.changed_at)
        .select_related("by")
        .first()
    )
    if row.lesion_id and later:
        said = {"who": later.by, "what": later.get_decision_display()}
        raise ResultRefused(_("%(who)s has signed “%(what)s” since.") % said)


def _check_stands_alone(row: Recorded) -> None:
    """Refuse where its report stands: a result of tissue that was never taken would hang in the air."""
    if isinstance(row, Procedure):
        told_with = Q(procedure=row) | Q(versions__report_of=row)
        report = Diagnosis.objects.filter(told_with).select_related("by").first()
        if report:
            said = {"who": report.by, "what": report.get_code_display()}
            raise ResultRefused(
                _("%(who)s has recorded its report, %(what)s: that is struck through first.") % said
            )


def _strike(row: Recorded, by: Member, revision: int, **details: Any) -> Recorded:
    _check_stands_alone(row)
    for ask in BEFORE:
        ask(row)
    # No signature is asked for here, because a mistake must go; the trail keeps which days it moved.
    waits, patient = longer_waits.before(row.patient), row.patient
    change(row, seen=revision, at=clock.now(), where={"struck_at": None}, struck_at=clock.now(), struck_by=by)
    ledger.reopen(patient, evidence=row, by=by)
    for duty in Duty.objects.filter(opened_from=audit.subject_of(row), ended_at__isnull=True):
        ledger.withdraw(duty, by=by, because=row)
    if isinstance(row, Procedure):
        _put_lesion_back(row)
    # Somebody believes it now. Striking it through on paper does not tell that person.
    elif row.told_on:
        _ask_what_to_say(row, by)
    longer = [wait.plain() for later in waits for wait in later()]
    action = "procedure.strike" if isinstance(row, Procedure) else "diagnosis.strike"
    proposals.settle_all(proposals.about(row), "taken_back")
    audit.record(action, by=by, subject=row, patient=patient, longer=longer, **details)
    return row


def _put_lesion_back(cut: Procedure) -> None:
    """Put the lesion back as it stood before, where nothing else has moved it since."""
    if cut.lesion_id is None or not cut.before:
        return
    lesion = register.lock(cut.lesion_id)
    others = lesion.procedures.filter(Q(on__gt=cut.on) | Q(on=cut.on, pk__gt=cut.pk))
    if lesion.state == cut.before["after"] and not others.exists():
        found = Lesion.objects.filter(pk=lesion.pk)
        fields = {"state": cut.before["state"], "monitoring": cut.before["monitoring"]}
        found.update(**fields, revision=F("revision") + 1, changed_at=clock.now())


def _ask_what_to_say(row: Diagnosis, by: Member) -> None:
    """Have a dermatologist decide who tells the patient that what was said was never so, and how."""
    ledger.open_duty(
        "decide_what_follows",
        patient=row.patient,
        opened_from=row,
        by=by,
        urgent=True,
        because={"code": "told_in_error", "diagnosis": row.code},
    )


def _row_of(proposal: Proposal) -> Recorded:
    label, _colon, key = proposal.subject.partition(":")
    model: type[Recorded] = Procedure if label == "lesions.procedure" else Diagnosis
    return model.everything.select_related("patient", "lesion").get(pk=key)


def _apply(proposal: Proposal, by: Member) -> None:
    row = _row_of(proposal)
    # Taken back by its writer before the second person had answered: done is done.
    if row.struck_at is None:
        _strike(row, by, row.revision, proposed_by=proposal.proposed_by_id)


def _describe(rows: Sequence[Proposal]) -> dict[int, str]:
    about = {row.pk: row.subject.removeprefix("lesions.") for row in rows}
    words = subjects.in_words(about.values())
    return {key: _("recorded in error: %(what)s") % {"what": words[what]} for key, what in about.items()}


IN_ERROR = Proposable(gettext_lazy("strike a procedure or a result through"), _apply, _describe, either=True)

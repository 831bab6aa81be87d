"""Write what a plain entry about a result changes in this app, and undo it when the entry is struck through."""

from collections.abc import Mapping
from typing import Final

from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, may
from clinic.duties import ledger
from clinic.duties.ledger import DutyRefused
from clinic.duties.steps import Hook
from clinic.models import Duty, Step, change
from clinic.trail import audit
from lesions.models import Diagnosis
from lesions.results import results_owed

_WITHOUT_REPORT = ("lost", "none")


def _diagnosis_of(duty: Duty) -> Diagnosis | None:
    """Find the diagnosis that an entry is about; None where it is about something else, such as a letter.

    Raises DutyRefused where it was struck through since: what was said of it then stays said.
    """
    kind, _sep, key = duty.subject.partition(":")
    if kind != "diagnosis":
        return None
    row = Diagnosis.everything.select_related("patient").get(pk=key)
    if row.struck_at is not None:
        raise DutyRefused(_("This result was recorded in error since: what was said of it stays said."))
    return row


def told(step: Step) -> None:
    """Write the day of telling with the diagnosis too, where the alarms read it; not for a further report."""
    row = _diagnosis_of(step.duty)
    if step.outcome != "told":
        return
    _check_teller(step)
    if row is None:
        audit.record("diagnosis.tell", by=step.by, subject=step, patient=step.duty.patient, **_told_to(step))
        return
    if step.on < row.reported_on:
        raise DutyRefused(_("The patient is told on the day of the report or after it."))
    change(row, seen=row.revision, at=clock.now(), told_on=step.on, told_by=step.by)
    audit.record("diagnosis.tell", by=step.by, subject=row, patient=row.patient, **_told_to(step))


def _told_to(step: Step) -> dict[str, str]:
    """Say in the audit record when it was told and to whom: a carer by the name that stood then."""
    name = step.carer.name if step.carer else step.whom
    said = {"on": str(step.on), "told_to": step.told_to, "whom": name, "why": step.why_told}
    return {key: value for key, value in said.items() if value}


def _check_teller(step: Step) -> None:
    """Let a dermatologist tell it, or whom the reader named; nobody named: what can wait, anybody who may."""
    named, by = step.duty.owner, step.by
    if may(by, Act.READ_RESULTS) or by == named:
        return
    if named is not None:
        raise DutyRefused(
            _("%(who)s was named to tell this; a dermatologist may, or names another.") % {"who": named}
        )
    # A malignant result is told by who can answer the questions that follow, unless a dermatologist named somebody.
    if step.duty.urgent:
        raise DutyRefused(_("A dermatologist tells this, or names who does: nobody was named."))


def untold(step: Step) -> None:
    row = _diagnosis_of(step.duty)
    if row is None:
        audit.record("diagnosis.untell", by=step.by, subject=step, patient=step.duty.patient)
        return
    # What was told was the old report; taken back now, the duty to tell the new one would be lost with it.
    if row.versions.filter(corrected=True, at__gte=step.at).exists():
        raise DutyRefused(_("The report was corrected since: it is read and told anew."))
    if step.outcome == "told":
        change(row, seen=row.revision, at=clock.now(), told_on=None, told_by=None)
        audit.record("diagnosis.untell", by=step.by, subject=row, patient=row.patient)


def read(step: Step) -> None:
    if row := _diagnosis_of(step.duty):
        results_owed.ask_what_follows(row, step, step.by)
        results_owed.ask_whether_they_agree(row, step, step.by)


def no_report_will_come(step: Step) -> None:
    """End what waits for a report: nothing is sent or confirmed any more; a dermatologist decides what follows."""
    if step.outcome in _WITHOUT_REPORT and step.duty.subject != "patient":
        kinds = ("send_specimen", "confirm_specimen", "report")
        ledger.end_all(kinds, by=step.by, evidence=step, subject=step.duty.subject, patient=step.duty.patient)


def report_may_come(step: Step) -> None:
    for duty in Duty.objects.filter(evidence=audit.subject_of(step)):
        ledger.take_back(duty=duty, by=step.by, revision=duty.revision)


def will_not_be_known(step: Step) -> None:
    if row := _diagnosis_of(step.duty):
        _set_not_known(row, step, [*row.not_known, *results_owed.wanting(row)])


def may_be_known(step: Step) -> None:
    """Ask again for what may be known; what was given up before stays given up."""
    if row := _diagnosis_of(step.duty):
        # The version that stood when it was given up says which names were given up by that very step.
        before = row.versions.filter(at__lte=step.at).last()
        kept = before.values["not_known"] if before else []
        _set_not_known(row, step, [name for name in row.not_known if name in kept])


def _set_not_known(row: Diagnosis, step: Step, names: list[str]) -> None:
    before = row.not_known
    change(row, seen=row.revision, at=clock.now(), not_known=names)
    audit.record(
        "diagnosis.amend",
        by=step.by,
        subject=row,
        patient=row.patient,
        changed={"not_known": [before, names]},
    )


def _nothing(step: Step) -> None:
    """Undo nothing: what the reading opened is withdrawn with it."""


# kind → what follows a recorded step, and what follows one that was struck through
HOOKS: Final[Mapping[str, tuple[Hook, Hook]]] = {
    "tell": (told, untold),
    "read": (read, _nothing),
    "send_specimen": (no_report_will_come, report_may_come),
    "confirm_specimen": (no_report_will_come, report_may_come),
    "report": (no_report_will_come, report_may_come),
    "complete": (will_not_be_known, may_be_known),
}

"""Keep calls of people whom nobody can find: each is owed until it is filed, or two people say it is not ours."""

from collections.abc import Iterable

from django.db import transaction
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, require
from clinic.duties import ledger
from clinic.duties.ledger import DutyRefused
from clinic.models import Duty, Member, Patient, Step, change
from clinic.trail import audit
from lesions.models import Sign
from lesions.register import concerns
from scheduling.models import UnfiledCall


@transaction.atomic
def take(*, by: Member, name: str, number: str, words: str, signs: Iterable[str] = ()) -> Duty:
    """Keep the call in the caller's words. Signs of the skin make it urgent."""
    require(by, Act.NOTE_SIGNS)
    said = {"name": name.strip(), "number": number.strip(), "words": words.strip()}
    heard = [sign for sign in Sign.values if sign in set(signs)]
    if not all(said.values()):
        raise DutyRefused(_("Say who rang, from which number, and what was said."))
    call = UnfiledCall.objects.create(by=by, at=clock.now(), signs=heard, **said)
    audit.record("call.take", by=by, subject=call, signs=heard)
    return ledger.open_duty(
        "file_call",
        patient=None,
        opened_from=call,
        by=by,
        urgent=bool(heard),
        note=f"{call.name}, {call.number}: {call.words}",
        because={"code": "signs", "signs": heard} if heard else None,
    )


def settled(step: Step) -> None:
    """File the call under a patient, with its signs; or close it where a second person says it is nobody's."""
    duty = step.duty
    if step.outcome == "filed":
        _file(step, _patient_of(step.whom))
    # One person alone could end in this way every call that is a trouble to place.
    elif step.by_id == duty.opened_by_id:
        raise DutyRefused(_("“No patient of ours” is said by a second person, not by who took the call."))


def _patient_of(number: str) -> Patient:
    found = Patient.objects.filter(number__iexact=number.strip(), merged_into__isnull=True).first()
    if found is None:
        raise DutyRefused(_("No record has this number."))
    return found


def _file(step: Step, patient: Patient) -> None:
    duty, call = step.duty, call_of(step.duty)
    change(duty, seen=duty.revision, at=clock.now(), patient=patient)
    audit.record("call.file", by=step.by, subject=call, patient=patient, words=call.words)
    for sign in call.signs or [Sign.WORRY]:
        concerns.note(patient=patient, by=step.by, sign=sign, words=call.words)


def struck(step: Step) -> None:
    """Refuse to take a filing back: what the caller said stands on a record by now, and is answered there."""
    if step.outcome == "filed":
        raise DutyRefused(_("The worry is urgent work of that patient by now: an examination answers it."))


def call_of(duty: Duty) -> UnfiledCall:
    return UnfiledCall.objects.get(pk=duty.opened_from.partition(":")[2])

"""A result is told to the patient, to who may be told it that day, or to somebody named with a word why.

That nothing of a person's health is said to whoever has no authority: common practice, no source.
"""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse

from clinic import clock
from clinic.duties import ledger, steps
from clinic.duties.ledger import DutyRefused
from clinic.duties.telling import THE_PATIENT, WhoWasTold
from clinic.models import AuditRecord, Duty, Step
from clinic.people import carers
from tests import build
from tests.page import read

pytestmark = pytest.mark.django_db
SAID = {"how": "phone", "words": "the result, and the next visit"}
WORDS = "told so on the form of 3 May"


@pytest.fixture
def patient():
    return build.patient(family_name="Told")


@pytest.fixture
def duty(patient):
    with transaction.atomic():
        return ledger.open_duty("tell", patient=patient, opened_from=patient, by=None)


def carer(patient, authority="everything", name="Anna WhoWasTold", **more):
    span = {"valid_from": build.days_ago(30)} | more
    return carers.add(
        patient=patient, by=build.nurse(), name=name, relation="daughter", authority=authority, **span
    )


def tell(duty, told=None, outcome="told", by=None, **more):
    said = SAID | {"outcome": outcome, "told": told} | more
    by = by or build.dermatologist()
    return steps.settle(duty=duty, by=by, revision=duty.revision, **said)


def test_the_patient_is_told_and_the_audit_record_says_so(duty):
    step = tell(duty, THE_PATIENT)
    assert (step.told_to, step.whom, step.carer, step.why_told) == ("patient", "", None, "")
    details = AuditRecord.objects.get(action="diagnosis.tell").details
    assert details == {"on": str(clock.today()), "told_to": "patient"}


def test_who_may_be_told_today_is_told(patient, duty):
    anna = carer(patient)
    step = tell(duty, WhoWasTold("carer", anna))
    assert (step.told_to, step.carer) == ("carer", anna)
    details = AuditRecord.objects.get(action="diagnosis.tell").details
    assert (details["told_to"], details["whom"]) == ("carer", "Anna WhoWasTold")


def test_somebody_else_is_named_with_a_word_why(duty):
    step = tell(duty, WhoWasTold("other", why=WORDS), whom="Ben Other")
    assert (step.told_to, step.whom, step.why_told) == ("other", "Ben Other", WORDS)
    details = AuditRecord.objects.get(action="diagnosis.tell").details
    assert (details["told_to"], details["whom"], details["why"]) == ("other", "Ben Other", WORDS)


@pytest.mark.parametrize(
    "told, more, sentence",
    [
        (None, {}, "Say who was told"),
        (None, {"whom": "Ben Other"}, "not chosen"),
        (WhoWasTold("nobody"), {}, "Say who was told"),
        (THE_PATIENT, {"whom": "Ben Other"}, "not chosen"),
        (WhoWasTold("patient", why=WORDS), {}, "not chosen"),
        (WhoWasTold("carer"), {}, "may not be told a result"),
        (WhoWasTold("other", why=" "), {"whom": "Ben Other"}, "say why that person may be"),
        (WhoWasTold("other", why=WORDS), {"whom": " "}, "Name who was told"),
        (THE_PATIENT, {"outcome": "cannot"}, "choose one of the two"),
        (None, {"outcome": "cannot", "whom": "Ben Other"}, "not chosen"),
        (WhoWasTold("other"), {"outcome": "cannot", "whom": "Ben Other"}, "say why"),
    ],
)
def test_nobody_else_is_told_and_nothing_is_written(duty, told, more, sentence):
    with pytest.raises(DutyRefused, match=sentence):
        tell(duty, told, **more)
    assert not Step.objects.exists() and Duty.objects.get().ended_at is None


def test_who_may_not_be_told_that_day_is_refused(patient, duty):
    no_more = carer(patient)
    carers.end(carer=no_more, by=build.nurse(), revision=no_more.revision)
    rows = [
        no_more,
        carer(patient, "appointments"),
        carer(patient, "nothing"),
        carer(patient, valid_from=clock.today() + timedelta(1)),
        carer(patient, valid_until=build.days_ago(1)),
        carer(build.patient()),
    ]
    for row in rows:
        with pytest.raises(DutyRefused, match="may not be told a result that day"):
            tell(duty, WhoWasTold("carer", row))
    late = carer(patient, valid_from=clock.today())
    with pytest.raises(DutyRefused, match="that day"):
        tell(duty, WhoWasTold("carer", late), on=build.days_ago(2))


def test_cannot_be_told_may_name_somebody_with_why_or_nobody(patient, duty):
    anna = carer(patient)
    step = tell(duty, WhoWasTold("carer", anna), outcome="cannot")
    assert (step.told_to, step.carer) == ("carer", anna)
    steps.strike(step=step, by=step.by)
    duty.refresh_from_db()
    assert tell(duty, outcome="cannot").told_to == ""


def test_the_database_holds_who_was_told(duty):
    row = {
        "duty": duty,
        "on": clock.today(),
        "by": build.dermatologist(),
        "at": clock.now(),
        "outcome": "told",
    }
    for wrong in (
        {},
        {"told_to": "patient", "whom": "Ben Other"},
        {"told_to": "carer"},
        {"told_to": "other", "whom": "Ben Other"},
        {"told_to": "other", "why_told": WORDS},
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            Step.objects.create(**row | wrong)
    assert Step.objects.create(**row | {"told_to": "patient"}).pk


def test_the_page_offers_who_may_be_told_and_keeps_what_was_typed(patient, duty):
    anna, _clara = carer(patient), carer(patient, "appointments", name="Clara WhoWasTold")
    client = build.signed_in(build.dermatologist())
    page = read(client.get(reverse("clinic:duty", args=[duty.pk])))
    assert "Anna WhoWasTold (daughter)" in page and "Clara WhoWasTold" not in page
    given = SAID | {"revision": duty.revision, "outcome": "told", "on": str(clock.today())}
    address = reverse("clinic:settle_duty", args=[duty.pk])
    answer = client.post(address, given | {"told_to": "other", "whom": "Ben Other"})
    assert answer.status_code == 422 and "say why that person may be" in read(answer)
    assert 'value="Ben Other"' in answer.content.decode()
    carers.end(carer=anna, by=build.nurse(), revision=anna.revision)
    answer = client.post(address, given | {"told_to": "carer", "carer": anna.pk})
    assert answer.status_code == 422 and "may not be told a result that day" in read(answer)
    words = {"told_to": "other", "whom": "Ben Other", "why": WORDS}
    assert client.post(address, given | words).status_code == 302
    page = read(client.get(reverse("clinic:duty", args=[duty.pk])))
    assert "Ben Other" in page and WORDS in page

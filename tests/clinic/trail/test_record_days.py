"""What is recorded happened between birth and today, and not after death (docs/domain.md, points 5 and 14)."""

from datetime import date

import pytest
from django.urls import reverse

from clinic import clock
from clinic.models import RiskAssessment, Visit
from clinic.people import ending, visits
from clinic.trail.record_days import WrongDay
from tests import build
from tests.page import read

pytestmark = pytest.mark.django_db


def died(on):
    patient = build.patient()
    fields = {"status": "deceased", "on": on, "ground": "the family rang"}
    return ending.end_care(patient=patient, by=build.dermatologist(), revision=patient.revision, **fields)


@pytest.mark.parametrize(
    "day, words", [(date(2062, 1, 1), "in the future"), (date(1890, 1, 1), "before the patient's birth")]
)
def test_a_visit_or_an_assessment_on_an_impossible_day_is_refused(day, words):
    patient = build.patient()
    with pytest.raises(WrongDay, match=words):
        visits.record(patient=patient, by=build.nurse(), attended_on=day)
    with pytest.raises(WrongDay, match=words):
        build.risk_assessment(patient, on=day)
    assert not Visit.objects.exists() and not RiskAssessment.objects.exists()


def test_nothing_is_recorded_after_death():
    patient = died(build.days_ago(10))
    visits.record(patient=patient, by=build.nurse(), attended_on=build.days_ago(10))
    with pytest.raises(WrongDay, match="after the patient's death"):
        visits.record(patient=patient, by=build.nurse(), attended_on=build.days_ago(9))


def test_the_page_says_so_and_keeps_what_was_typed(client):
    patient = died(build.days_ago(10))
    client.force_login(build.dermatologist(), backend="clinic.project.backends.ClinicBackend")
    form = {
        "attended_on": str(clock.today()),
        "done": ["full_skin_check|patient"],
        "note": "came with her son",
    }
    answer = client.post(reverse("clinic:record_visit", args=[patient.pk]), form)
    shown = read(answer)
    assert answer.status_code == 422 and "came with her son" in shown and "after the patient's death" in shown

"""Without photograph consent an examination in person stands in place of the picture: docs/domain.md "What is owed"."""

from datetime import date

import pytest

from clinic.people import consent
from lesions.register import register
from scheduling.models import Recall
from scheduling.planning import replan
from scheduling.planning.gather import gather_facts
from tests import build
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")


def watched(says=None):
    """A flat lesion whose picture is due today; the patient said that weeks ago."""
    patient = build.patient()
    build.risk_assessment(patient)
    if says is not None:
        consent.record(patient=patient, by=build.nurse(), given=says, on=date(2026, 3, 16))
    lesion = scene.mark(patient, monitoring="short", since=date(2026, 3, 15))
    replan.replan_patient(patient.pk)
    return lesion, Recall.objects.get(subject=f"lesion:{lesion.pk}")


def examined(lesion, on=scene.TODAY):
    return register.examine_in_person(
        lesion=lesion, by=build.dermatologist(), on=on, outcome="flat, as before"
    )


def planned_again(recall):
    replan.replan_patient(recall.patient_id)
    recall.refresh_from_db()
    return recall


def test_who_refuses_photographs_is_looked_at_in_the_same_window():
    lesion, recall = watched(says=False)
    assert recall.purpose == "lesion_image"
    examined(lesion)
    seen = lesion.examinations.get()
    assert planned_again(recall).state == "completed"
    assert recall.evidence == f"lesions.examination:{seen.pk}"
    done = [(one.purpose, one.subject) for one in gather_facts(lesion.patient).done]
    assert ("lesion_image", f"lesion:{lesion.pk}") in done
    # What short-term monitoring ends with is asked, as after a picture: the same occurrence does not come again.
    assert not Recall.objects.filter(
        subject=f"lesion:{lesion.pk}", purpose="lesion_image", state="due"
    ).exists()


@pytest.mark.parametrize("says", [None, True])
def test_who_agrees_or_was_not_asked_still_owes_the_picture(says):
    lesion, recall = watched(says)
    examined(lesion)
    assert planned_again(recall).state == "due"


def test_an_answer_of_today_moves_nothing_that_was_examined_before():
    """Adding never lengthens (docs/domain.md, point 4): what was examined before the refusal stays no picture."""
    lesion, recall = watched()
    examined(lesion)
    planned_again(recall)
    with scene.later(hours=1):
        consent.record(patient=lesion.patient, by=build.nurse(), given=False, on=date(2026, 3, 16))
    assert planned_again(recall).state == "due"


def test_a_change_of_mind_later_takes_nothing_back():
    lesion, recall = watched(says=False)
    examined(lesion)
    planned_again(recall)
    consent.record(patient=lesion.patient, by=build.nurse(), given=True, on=scene.TODAY)
    assert planned_again(recall).evidence == f"lesions.examination:{lesion.examinations.get().pk}"

"""Who may close what: docs/domain.md, "Recalls do not close themselves"; clinic setting, no source."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction

from clinic.access import NotAllowed
from clinic.models import StaleRow
from scheduling.models import Recall
from scheduling.planning import replan
from scheduling.recalls import closing
from tests import build
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")


def close(recall, by, ground="declined", note="told why, says no"):
    return closing.close(recall=recall, by=by, revision=recall.revision, ground=ground, note=note)


def reminder():
    """Urgency C: the yearly renewal of a risk assessment."""
    patient = build.patient()
    build.risk_assessment(patient, on=scene.TODAY - timedelta(days=400))
    replan.replan_patient(patient.pk)
    return Recall.objects.get(patient=patient, purpose="risk_assessment")


def test_surveillance_is_closed_by_a_dermatologist_only():
    recall = scene.due_check()
    for member in (build.nurse(), build.manager()):
        with pytest.raises(NotAllowed):
            close(recall, member)
    closed = close(recall, build.dermatologist())
    assert (closed.state, closed.ground, closed.ended_on) == ("closed", "declined", scene.TODAY)


def test_the_desk_may_say_that_another_recall_took_its_place():
    assert close(scene.due_check(), build.nurse(), ground="superseded").state == "closed"


def test_a_reminder_may_be_closed_by_the_desk_with_a_ground():
    assert close(reminder(), build.nurse()).state == "closed"
    with pytest.raises(NotAllowed):
        close(reminder(), build.manager())


@pytest.mark.parametrize(("ground", "note"), [("declined", "  "), ("because", "so"), ("", "so")])
def test_no_ground_no_closing(ground, note):
    with pytest.raises(closing.RecallRefused):
        close(scene.due_check(), build.dermatologist(), ground, note)


def test_entered_in_error_needs_a_second_person():
    recall, first = scene.due_check(), build.dermatologist()
    with pytest.raises(closing.RecallRefused, match="second person"):
        close(recall, first, "error")
    closing.propose_closing(
        recall=recall, by=first, revision=recall.revision, ground="error", note="wrong patient"
    )
    with pytest.raises(closing.RecallRefused, match="second person"):
        close(recall, first, "error")
    assert close(recall, build.dermatologist(), "error").closed_by != first


def test_a_proposal_leaves_the_recall_open_and_on_the_list():
    recall = scene.due_check()
    fields = {"ground": "moved", "note": "to the coast, letter sent"}
    closing.propose_closing(recall=recall, by=build.nurse(), revision=recall.revision, **fields)
    assert recall.state == "due"


def test_nothing_is_closed_over_an_open_appointment():
    recall = scene.due_check()
    scene.booked(recall)
    recall.refresh_from_db()
    with pytest.raises(closing.RecallRefused, match="appointment"):
        close(recall, build.dermatologist())


def test_two_who_close_at_once_close_it_once():
    recall, by = scene.due_check(), build.dermatologist()
    stale = Recall.objects.get(pk=recall.pk)
    close(recall, by)
    with pytest.raises(StaleRow):
        close(stale, by)


def test_a_declined_check_is_not_asked_for_again_and_the_next_one_is():
    recall = scene.due_check()
    close(recall, build.dermatologist())
    assert scene.check_of(recall.patient).number == 2


def test_a_discharge_ends_the_series():
    recall = scene.due_check()
    close(recall, build.dermatologist(), "discharge", "seen elsewhere from now on")
    replan.replan_patient(recall.patient_id)
    assert not Recall.objects.filter(
        patient=recall.patient, purpose="full_skin_check", state__in=("planned", "due")
    )


def test_who_cannot_be_reached_stays_open_with_a_day():
    recall, by = scene.due_check(), build.dermatologist()

    def aside(days):
        on = scene.TODAY + timedelta(days=days)
        closing.mark_unreachable(
            recall=recall, by=by, revision=recall.revision, next_look_on=on, note="4 calls"
        )

    for wrong in (0, 91):
        with pytest.raises(closing.RecallRefused):
            aside(wrong)
    aside(30)
    assert (recall.state, recall.next_look_on) == ("due", scene.TODAY + timedelta(days=30))


def test_the_database_refuses_a_recall_closed_by_nobody():
    recall = scene.due_check()
    with pytest.raises(IntegrityError), transaction.atomic():
        Recall.objects.filter(pk=recall.pk).update(state="closed", ground="declined", ended_on=scene.TODAY)

"""The demo scenario: a reduced build through the topic functions puts something into every list."""

from collections import Counter

import pytest
from django.conf import settings
from django.db import transaction

from clinic import clock
from clinic.duties import ledger
from clinic.duties.kinds import OwningList
from clinic.models import AuditRecord, Member, Patient, PatientStatus, Policy, Role
from clinic.people import finding
from clinic.project.demo import building, events, pictures
from clinic.project.demo.histories import HISTORIES
from clinic.project.demo.people import NAMESAKES, PEOPLE, STAFF
from lesions.looking import queue, showing
from lesions.models import Assessment, Image, JobState, RefusedUpload
from scheduling.counting import duty_count, whereabouts
from scheduling.desk import bookable
from scheduling.models import (
    Appointment,
    Checklist,
    Claim,
    ClosureDay,
    ContactAttempt,
    DeskLine,
    FailsafeRun,
    Override,
    PlanProblem,
    Recall,
)
from scheduling.planning.wording import reason_words
from scheduling.recalls import missed
from scheduling.today import worklists

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def built(django_db_setup, django_db_blocker, tmp_path_factory):
    """One build for the whole file; it is rolled back at the end, as the triggers keep rows from being deleted."""

    class Undo(Exception):
        pass

    before, settings.PRIVATE_FILES = settings.PRIVATE_FILES, tmp_path_factory.mktemp("pictures")
    said: list[str] = []
    with django_db_blocker.unblock():
        try:
            with transaction.atomic():
                logins = building.build(said.append, size="small", processes=0)
                yield logins, said
                raise Undo
        except Undo:
            pass
        finally:
            settings.PRIVATE_FILES = before


def test_every_role_has_a_login_with_a_password_of_its_own(built):
    logins, _ = built
    assert Counter(row.role for row in logins) == {
        Role.NURSE: 2,
        Role.DERMATOLOGIST: 2,
        Role.MANAGER: 1,
        Role.ADMINISTRATOR: 1,
    }
    assert len({row.password for row in logins}) == len(logins)
    for row in logins:
        member = Member.objects.get(username=row.username)
        assert member.is_demo and member.check_password(row.password)


def test_progress_is_told_in_sentences(built):
    _, said = built
    assert said[0].startswith("Drawing") and said[0].endswith("pictures ...")
    assert len(said) >= 3


def test_todays_list_has_every_urgency_attempts_and_another_nurses_claim(built):
    people = [line.patient_id for line in worklists.to_do()]
    due = Recall.objects.filter(patient__in=people, state="due")
    assert set(due.values_list("urgency", flat=True)) == {"A", "B", "C"}
    claimed = Claim.objects.filter(by__isnull=False)
    assert [claim.by.username for claim in claimed] == ["kofi"]
    assert ContactAttempt.objects.filter(recall__in=due).exists()


def test_yesterdays_visit_lacks_its_outcome_and_others_lie_ahead(built):
    booked = Appointment.objects.filter(state="booked")
    assert booked.filter(starts_at__date__lt=clock.today()).count() == 1
    assert booked.filter(starts_at__date__gt=clock.today()).exists()
    assert ClosureDay.objects.filter(day__gt=clock.today()).count() == 1
    assert bookable.free_slots(since=clock.today(), until=ClosureDay.objects.get().day)


def test_a_dermatologist_set_an_interval_and_filled_in_a_checklist(built):
    row, sheet = Override.objects.get(), Checklist.objects.get()
    recall = Recall.objects.get(rule=f"override:{row.pk}")
    assert recall.patient == row.patient == sheet.lesion.patient and row.reason in reason_words(
        recall.reasons[0]
    )


def test_some_pictures_wait_to_be_measured_and_one_file_was_refused(built):
    assert Assessment.objects.filter(state=JobState.QUEUED).count() == 2
    assert not Assessment.objects.filter(state__in=(JobState.RUNNING, JobState.FAILED)).exists()
    assert RefusedUpload.objects.filter(settled_at=None).count() == 1


def test_decisions_hold_a_grown_lesion_an_urgent_one_and_first_pictures(built):
    waiting = list(queue.flagged())
    codes = {flag.code for review in waiting for flag in review.flags.all()}
    assert {"area_growth", "nothing_to_compare"} <= codes
    assert any(review.urgent for review in waiting)
    grown = next(r for r in waiting if r.flags.filter(code="area_growth").exists())
    earlier, later = showing.pictures_of(grown, grown.comparison)
    assert 80 <= (later.taken_on - earlier.taken_on).days <= 100


def test_an_unchanged_lesion_stands_among_the_unflagged(built):
    assert [review.lesion.patient.family_name for review in queue.unflagged()] == ["Tellerhorn"]


def test_results_wait_to_arrive_and_to_be_told(built):
    owed = [(row.kind, row.urgent) for row in ledger.on_list(OwningList.RESULTS)]
    assert {kind for kind, _ in owed} >= {"send_specimen", "report", "tell"}
    assert [urgent for kind, urgent in owed if kind == "tell"] == [True, False]


def test_missed_follow_up_has_different_reasons(built):
    reasons = {row.reason for row in missed.rows(clock.today())}
    assert {"missed_visit", "not_called", "not_reached", "booked"} <= reasons


def test_plans_have_problems_that_a_person_must_answer(built):
    codes = set(PlanProblem.objects.filter(gone_on=None).values_list("code", flat=True))
    assert {"cannot_stage", "no_anchor"} <= codes


def test_the_failsafe_holds_and_raises_its_alarms(built):
    run = FailsafeRun.objects.get(day=clock.today())
    assert run.holds and run.records == len(building.FEW)
    assert {alarm["code"] for alarm in run.alarms} == {"no_check", "not_told"}
    assert whereabouts.count_now().holds


def test_two_people_brought_all_policies_into_force_and_a_draft_lies_ready(built):
    states = Counter(Policy.objects.values_list("kind", "state"))
    in_force = {(kind, "in_force"): 1 for kind in ("rules", "flags", "tiers")}
    assert states == in_force | {("rules", "draft"): 1}
    for policy in Policy.objects.filter(state="in_force"):
        assert policy.proposed_by.username == "ilse" and policy.approved_by.username == "tomas"


def test_history_is_recorded_when_it_happened(built):
    first = AuditRecord.objects.earliest("at")
    assert (clock.today() - first.at.date()).days > 700
    assert not AuditRecord.objects.filter(at__gt=clock.now()).exists()
    late = [image for image in Image.objects.all() if image.uploaded_at.date() != image.taken_on]
    assert not late


def test_care_that_ended_has_a_ground_and_no_work(built):
    ended = Patient.objects.get(status=PatientStatus.DECEASED)
    assert ended.status_ground
    assert not DeskLine.objects.filter(patient=ended).exists()


def test_two_patients_of_one_name_are_found_and_told_apart(built):
    found = list(finding.search(" ".join(NAMESAKES)))
    assert len(found) == 2
    assert found[0].born != found[1].born and found[0].number != found[1].number
    assert finding.shared_names(found) == {patient.pk for patient in found}


def test_no_other_name_stands_twice():
    names = Counter((person.given_name, person.family_name) for person in PEOPLE)
    assert {name for name, count in names.items() if count > 1} == {NAMESAKES}
    assert names[NAMESAKES] == 2
    keys = [person.key for person in PEOPLE]
    assert len(set(keys)) == len(keys) and set(keys) == set(HISTORIES)
    assert set(keys) >= building.FEW
    assert len({worker.name for worker in STAFF}) == len(STAFF)


def test_each_special_case_is_among_the_people():
    assert [person.key for person in PEOPLE if person.interpreter] == ["interpreter"]
    ends = {e.status for history in HISTORIES.values() for e in history if isinstance(e, events.CareEnds)}
    assert ends == {"deceased", "transferred", "discharged"}
    calls = {e.outcome for history in HISTORIES.values() for e in history if isinstance(e, events.Called)}
    assert {"dead", "no_answer", "voicemail", "asks_later"} <= calls


def test_the_full_build_draws_enough_pictures_on_a_range_of_skin():
    plans = {person.key: pictures.planned(person, HISTORIES[person.key], 900) for person in PEOPLE}
    drawn = [picture for plan in plans.values() for picture in plan.values()]
    assert 45 <= len(drawn) <= 70
    assert len({picture.spec.skin_tone for picture in drawn}) >= 5
    assert any(picture.mm_per_px is None for picture in drawn)
    assert len({picture.filename for picture in drawn}) == len(drawn)


def test_the_count_of_duties_invents_nobody_in_a_clean_clinic(built):
    found = duty_count.count_duties()
    assert [(row.code, row.lost, row.strangers) for row in found if row.lost or row.strangers] == []
    assert sum(row.owed for row in found) > 100 and {row.held - row.owed for row in found} == {0}

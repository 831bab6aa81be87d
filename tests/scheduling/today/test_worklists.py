"""Today: one line a person, in which section, in which order, and that nothing owed is left out."""

from datetime import date, timedelta

import pytest
from django.db import connection

from clinic import clock
from clinic.duties import ledger
from clinic.duties.kinds import KINDS, OwningList
from clinic.models import Duty
from clinic.people import patients
from lesions.models import RefusedUpload
from lesions.register import register as lesions
from scheduling import tasks
from scheduling.counting import duty_count
from scheduling.desk import contacts, unfiled
from scheduling.models import Appointment, Call, DeskLine, Recall, Section, Touched
from scheduling.planning import replan
from scheduling.today import day_tally, standing, worklists
from tests import build
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")


def sections():
    """Who stands where, as the page would show it now."""
    worklists.bring_up_to_date()
    return {line.patient: Section(line.section) for line in DeskLine.objects.select_related("patient")}


def far_check():
    """Its window opens on 6 July: its ladder asks for a letter, its window for nothing yet."""
    return scene.check_of(scene.melanoma(date(2026, 4, 20)))


def tried(recall, outcome="no_answer", **more):
    route = {"route": "phone", "address": "000", "outcome": outcome}
    return contacts.log_attempt(recall=recall, by=build.nurse(), **(route | more))


def test_urgency_first_then_the_nearest_end():
    near, far = scene.due_check(), scene.check_of(scene.melanoma(date(2026, 3, 17)))
    urgent = build.patient()
    build.risk_assessment(urgent)
    lesions.note_sign(lesion=scene.mark(urgent), by=build.nurse(), sign="growing")
    replan.replan_patient(urgent.pk)
    assert scene.to_reach() == [Recall.objects.get(patient=urgent, urgency="A"), near, far]


def test_whoever_owes_several_things_is_one_line():
    recall = scene.due_check()
    ledger.open_duty("write_letter", patient=recall.patient, opened_from=recall, by=build.nurse())
    worklists.bring_up_to_date()
    line = DeskLine.objects.get()
    assert (line.section, line.first, line.duties) == (Section.PHONE, f"recall:{recall.pk}", 2)


def test_what_changes_is_seen_at_once_and_without_a_build():
    """A row that changes with its audit record leaves a mark in the same transaction; the next page reads it."""
    recall = scene.due_check()
    assert sections() == {recall.patient: Section.PHONE}
    scene.booked(recall, scene.at(14, day=scene.TODAY + timedelta(days=9)))
    assert sections() == {} and not Touched.objects.exists()


def test_who_becomes_due_in_the_day_is_on_its_list():
    patient = scene.melanoma(date(2026, 3, 15))
    tasks.replan_and_list(patient.pk)
    assert DeskLine.objects.get().patient == patient


def test_a_booked_place_is_confirmed_two_working_days_ahead():
    """Two working days: clinic setting, no source."""
    recall = scene.due_check()
    visit = scene.booked(recall, scene.at(14, day=scene.TODAY + timedelta(days=2)))
    assert sections() == {recall.patient: Section.CONFIRM}
    Appointment.objects.filter(pk=visit.pk).update(confirmed_for=visit.starts_at)
    worklists.build(scene.TODAY)
    assert sections() == {}


def test_an_appointment_that_has_begun_lacks_its_outcome_by_itself():
    recall = scene.due_check()
    scene.booked(recall)
    assert sections() == {}
    with scene.later(hours=4):
        assert sections() == {recall.patient: Section.OUTCOME}


def test_a_call_without_an_outcome_is_work():
    recall = scene.due_check()
    Call.objects.create(
        patient=recall.patient, by=build.nurse(), begun_at=clock.now(), route="phone", address="000"
    )
    worklists.build(scene.TODAY)
    assert sections() == {recall.patient: Section.OUTCOME}


# ---- the ladder on the list: clinic setting, no source -------------------------------------------------


def test_a_letter_goes_ahead_of_the_window_then_somebody_is_rung():
    recall = far_check()
    patients.add_route(patient=recall.patient, by=build.nurse(), kind="post", value="1 Example Street")
    assert sections() == {recall.patient: Section.WRITE}
    with scene.later(days=(recall.earliest - scene.TODAY).days):
        worklists.build(clock.today())
        assert sections() == {recall.patient: Section.PHONE}


def test_who_was_tried_rests_by_the_ladder_and_not_past_the_window():
    recall = scene.due_check()  # to 29 June
    tried(recall)
    assert sections() == {recall.patient: Section.LATER}
    line = DeskLine.objects.get()
    assert (line.comes_on, line.tried) == (scene.TODAY + timedelta(days=7), 1)
    with scene.later(days=10):
        tried(recall)
        assert sections() == {recall.patient: Section.LATER}
        assert DeskLine.objects.get().comes_on == recall.latest


def test_past_the_window_the_next_call_is_on_the_next_working_day():
    recall = scene.overdue_check()
    tried(recall)
    assert sections() == {recall.patient: Section.LATER}
    assert DeskLine.objects.get().comes_on == scene.TODAY + timedelta(days=1)


def test_who_asks_to_be_called_later_comes_back_on_that_day():
    recall = scene.due_check()
    friday = scene.TODAY + timedelta(days=2)
    tried(recall, "asks_later", next_on=friday)
    assert scene.to_reach(friday - timedelta(days=1)) == []
    assert scene.to_reach(friday) == [recall]


def test_what_waits_for_a_dermatologists_word_comes_later():
    recall = scene.due_check()
    tried(recall, "declined")
    assert sections() == {recall.patient: Section.LATER}


# ---- nothing owed is left out ------------------------------------------------------------------------


def everything():
    """One patient for each kind that Today owns or shows, and a caller whom nobody could find."""
    by, found = build.nurse(), []
    for kind in sorted({*standing.DUTIES} - {"file_call"}):
        patient = build.patient()
        ledger.open_duty(kind, patient=patient, opened_from=patient, by=by)
        found.append(patient)
    unfiled.take(by=by, name="A caller", number="00", words="it grows")
    lesion = scene.mark(build.patient())
    RefusedUpload.objects.create(lesion=lesion, filename="x.doc", code="other_format", at=clock.now(), by=by)
    begun, ahead = scene.due_check(), scene.due_check()
    scene.booked(begun)
    scene.booked(ahead, scene.at(15, day=scene.TODAY + timedelta(days=1)))
    return [*found, lesion.patient, scene.due_check().patient, begun.patient, ahead.patient]


OWED = """SELECT COUNT(*) FROM (
    SELECT 'duty', id FROM clinic_duty WHERE ended_at IS NULL AND kind IN ({kinds})
    UNION ALL SELECT 'recall', id FROM scheduling_recall WHERE state = 'due'
    UNION ALL SELECT 'appointment', id FROM scheduling_appointment WHERE state = 'booked'
    UNION ALL SELECT 'upload', id FROM lesions_refusedupload WHERE settled_at IS NULL) owed"""


def test_every_duty_of_today_stands_in_exactly_one_section():
    owned = {code for code, kind in KINDS.items() if kind.list is OwningList.TODAY}
    assert owned - {"recall", "outcome"} <= set(standing.DUTIES), "a duty of Today without a section"
    people = everything()
    with scene.later(hours=4):
        worklists.build(clock.today())
        lines = list(DeskLine.objects.all())
        tally = day_tally.count_sections(DeskLine.objects.all())
    with connection.cursor() as cursor:
        cursor.execute(OWED.format(kinds=", ".join(f"'{kind}'" for kind in standing.DUTIES)))
        owed = cursor.fetchone()[0]
    assert {line.patient_id for line in lines if line.patient_id} == {patient.pk for patient in people}
    assert sum(line.duties for line in lines) == owed, "each is counted once, on one line"
    assert sum(tally.sections.values()) == len(lines) == len(people) + 1
    assert tally.people == len(lines) - tally.sections.get(Section.LATER, 0)
    assert {kind for kind in standing.DUTIES if not Duty.objects.filter(kind=kind).exists()} == set()


def test_the_count_names_who_is_owed_something_and_stands_nowhere():
    recall = scene.due_check()
    worklists.build(scene.TODAY)
    assert duty_count.lost_now() == []
    DeskLine.objects.all().delete()
    (lost,) = duty_count.lost_now()
    assert (lost.code, lost.lost) == ("on_today", (recall.patient_id,))

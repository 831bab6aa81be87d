"""Two records of one person become one, and two again exactly as they were.

The link with the survivor's number and the way back: HL7 FHIR R5, Patient.link (replaces, replaced-by). That two people
do it, and which of two rows stays, is a clinic setting, no source.
"""

from datetime import timedelta

import pytest
from django.core.exceptions import PermissionDenied
from django.db import DatabaseError, transaction

from clinic import clock
from clinic.duties import proposals
from clinic.duties.ledger import DutyRefused
from clinic.merging import merging, moving, pairs
from clinic.models import Duty, Merge, Patient, Proposal
from clinic.people import consent, ending, finding, longer_waits, patients, visits
from clinic.trail import audit
from lesions.models import Examination, Lesion
from lesions.register import register
from lesions.results import pathology
from scheduling.counting import duty_count, whereabouts
from scheduling.models import OPEN, Override, Recall
from scheduling.planning import replan
from tests import build
from tests.clinic.merging.merge_scene import differences, dump, merge, pair_of, part, rich
from tests.lesions import scene as pictures
from tests.scheduling import scene

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clinic():
    with clock.at(scene.NOON):
        build.rules_in_force()
        yield


@pytest.fixture
def two():
    return rich(), rich(name="Otilie", phone="01632 960 112")


def test_every_table_that_names_a_patient_moves_or_says_why_it_stays():
    tables = {field.model._meta.label for field in moving.links()}
    assert tables == {
        "clinic.Patient", "clinic.CareEnd", "clinic.Carer", "clinic.ContactRoute", "clinic.Duty",
        "clinic.PhotoConsent", "clinic.Proposal", "clinic.RiskAssessment", "clinic.Visit", "lesions.Diagnosis", "lesions.Examination", "lesions.Lesion",
        "lesions.Procedure", "lesions.UrgentSign", "scheduling.Appointment", "scheduling.Call", "scheduling.Override",
        "scheduling.PlanProblem", "scheduling.Recall", "scheduling.SeriesEnd",
    }  # fmt: skip


def test_a_merge_moves_every_row_and_undoing_it_restores_each(two):
    survivor, gone = two
    before = dump()
    done = merge(survivor, gone)
    assert gone.merged_into == survivor
    for field in moving.links():
        left = field.model._base_manager.filter(**{field.name: gone})
        assert not left.exists(), field.model
    part(done)
    assert differences(before, dump()) == {}


def test_with_two_bookings_and_plans_between_all_comes_back(two):
    survivor, gone = two
    for one, day in ((survivor, 20), (gone, 21)):
        recall = Recall.objects.filter(patient=one, purpose="full_skin_check", state__in=OPEN).get()
        scene.booked(recall, scene.at(10, day=scene.TODAY + timedelta(days=day)))
        replan.replan_patient(one.pk)
    before = dump()
    done = merge(survivor, gone)
    replan.replan_patient(survivor.pk)
    assert Recall.objects.filter(patient=survivor, purpose="full_skin_check", state__in=OPEN).count() == 1
    assert not duty_count.lost_now() and whereabouts.count_now().holds
    for one in part(done):
        replan.replan_patient(one.pk)
    found = differences(before, dump())
    # Worked out anew, and so at another moment; the plans say what they said.
    plans = found.pop("scheduling.plan", [])
    assert all(old["result"]["due"] == new["result"]["due"] for old, new in plans if old and new)
    assert found.keys() <= {"scheduling.planproblem"}, found
    assert not duty_count.lost_now() and whereabouts.count_now().holds


def test_one_person_proposes_and_another_confirms():
    nurse, doctor = build.nurse(), build.dermatologist()
    pair = pair_of(build.patient(), build.patient())
    asked = merging.propose(
        pair=pair, survivor=pair.one, by=nurse, reason="same card", revision=pair.revision
    )
    with pytest.raises(DutyRefused):
        proposals.confirm(proposal=asked, by=nurse, revision=asked.revision)
    assert not Merge.objects.exists()
    proposals.refuse(proposal=asked, by=doctor, revision=asked.revision, answer="two cousins")
    assert not Merge.objects.exists() and pair in pairs.open_pairs()


def test_who_manages_the_clinic_says_nothing_about_records():
    pair = pair_of(build.patient(), build.patient())
    with pytest.raises(PermissionDenied):
        pairs.say_two_people(pair=pair, by=build.manager(), revision=pair.revision)


def test_two_people_are_said_once_and_stay_two():
    pair = pair_of(build.patient(), build.patient())
    pairs.say_two_people(pair=pair, by=build.nurse(), revision=pair.revision)
    pair.refresh_from_db()
    assert pair.state == "two_people" and not pairs.open_pairs().exists()


def test_records_of_different_standing_are_not_merged():
    with pytest.raises(merging.MergeRefused):
        merge(build.patient(), scene.ended())
    assert not Merge.objects.exists()


def test_two_own_intervals_for_one_purpose_are_a_dermatologists_to_settle():
    one, other = scene.due_check().patient, scene.due_check().patient
    for patient in (one, other):
        Override.objects.create(
            patient=patient, purpose="full_skin_check", subject="patient", interval="P2M", reason="soon",
            by=build.dermatologist(), decided_on=scene.TODAY,
        )  # fmt: skip
    with pytest.raises(merging.MergeRefused):
        merge(one, other)


def test_an_append_only_row_moves_only_as_the_ledger_says(two):
    survivor, gone = two
    sign = gone.urgent_signs.get()
    register.examine_in_person(lesion=sign.lesion, by=build.dermatologist(), outcome="seen")
    row = Examination.objects.get(patient=gone)
    for values in ({"patient": survivor}, {"outcome": "nothing"}):
        with pytest.raises(DatabaseError), transaction.atomic():
            Examination.objects.filter(pk=row.pk).update(**values)
    merge(survivor, gone)
    row.refresh_from_db()
    assert row.patient == survivor
    with pytest.raises(DatabaseError), transaction.atomic():
        Examination.objects.filter(pk=row.pk).update(patient=build.patient())
    with pytest.raises(DatabaseError), transaction.atomic():
        Examination.objects.filter(pk=row.pk).update(patient=gone, outcome="nothing")


def test_what_was_recorded_since_stays_unless_it_is_about_what_goes_back(two):
    survivor, gone = two
    theirs = gone.lesions.order_by("pk").first()
    done = merge(survivor, gone)
    theirs.refresh_from_db()
    tick = [("risk_assessment", "patient")]
    visit = visits.record(patient=survivor, by=build.nurse(), attended_on=scene.TODAY, done=tick)
    cut = pathology.record_procedure(
        patient=survivor, lesion=theirs, kind="biopsy", on=scene.TODAY, by=build.nurse()
    )
    survivor, gone = part(done)
    visit.refresh_from_db(), cut.refresh_from_db()
    assert visit.patient == survivor and cut.patient == gone
    assert all(row.patient == gone for row in Duty.objects.filter(subject=f"procedure:{cut.pk}"))
    assert not duty_count.lost_now()


def test_labels_are_told_apart(two):
    survivor, gone = two
    merge(survivor, gone)
    labels = list(Lesion.objects.filter(patient=survivor).values_list("label", flat=True))
    assert sorted(labels) == [1, 2, 3, 4]


def test_a_dead_number_stays_dead_and_the_stricter_voicemail_holds():
    nurse = build.nurse()
    one, other = build.patient(phone="01 1"), build.patient(phone="01 1")
    patients.add_route(patient=one, by=nurse, kind="phone", value="01 2", voicemail="yes")
    patients.add_route(patient=other, by=nurse, kind="phone", value="01 2", voicemail="no")
    patients.kill_route(route=other.routes.get(value="01 1"), by=nurse)
    merge(one, other)
    routes = {row.value: row for row in one.routes.all()}
    assert routes["01 1"].dead_since and routes["01 2"].voicemail == "no" and len(routes) == 2
    assert not whereabouts.count_now().faults


def answer(who, given, ago=0):
    return consent.record(patient=who, by=build.nurse(), given=given, on=build.days_ago(ago))


@pytest.mark.parametrize(("ours", "theirs"), [(True, False), (False, True)])
def test_of_two_answers_to_photographs_the_stricter_holds(ours, theirs):
    """Common practice, no source: a refusal is not undone by a record that somebody else made of the same person."""
    survivor, gone = build.patient(), build.patient()
    mine, other = answer(survivor, ours, 3 if ours else 30), answer(gone, theirs, 3 if theirs else 30)
    before = dump()
    done = merge(survivor, gone)
    held = consent.current(survivor)
    assert held.pk == (mine if theirs else other).pk and held.disputed
    assert consent.refused_on(survivor, scene.TODAY)
    part(done)
    assert differences(before, dump()) == {}
    assert (consent.current(survivor).given, consent.current(gone).given) == (ours, theirs)
    survivor.refresh_from_db(), gone.refresh_from_db()
    merge(survivor, gone, pair=pairs.pair_by_hand(patient=survivor, other=gone, by=build.nurse()))
    assert consent.current(survivor).disputed
    with clock.at(scene.NOON + timedelta(hours=1)):
        again = answer(survivor, True)
    assert consent.current(survivor) == again and not consent.current(survivor).disputed


def test_answers_that_agree_or_stand_alone_are_in_no_dispute():
    survivor, gone, third = build.patient(), build.patient(), build.patient()
    answer(survivor, True, 30), answer(gone, True, 3)
    merge(survivor, gone)
    assert consent.current(survivor).given and not consent.current(survivor).disputed
    merge(third, survivor)
    assert consent.current(third).given and not consent.current(third).disputed


def test_a_dispute_of_answers_goes_along_into_the_next_record():
    last, survivor, gone = build.patient(), build.patient(), build.patient()
    answer(survivor, False, 30), answer(gone, True, 3)
    merge(survivor, gone)
    merge(last, survivor)
    assert consent.current(last).disputed and not consent.current(last).given
    assert len(consent.current_of([last.pk, gone.pk])) == 1


def test_a_way_that_one_record_knows_serves_the_other():
    one, other = build.patient(phone=""), build.patient(phone="01 9")
    before = dump()
    done = merge(one, other)
    assert not Duty.objects.filter(kind="find_a_way", ended_at=None).exists()
    part(done)
    assert differences(before, dump()) == {}


def test_of_two_open_recalls_the_earlier_day_governs():
    late, soon = scene.due_check().patient, scene.overdue_check().patient
    wanted = scene.check_of(soon).latest
    merge(late, soon)
    row = scene.check_of(late)
    assert row.latest == wanted
    closed = Recall.objects.get(patient=late, purpose="full_skin_check", ended_how__code="merged")
    assert closed.ground == "superseded" and closed.ended_how["number"] == late.number


def test_a_later_day_is_looked_at_and_signed_before_two_become_one():
    strict, lower = build.patient(), build.patient()
    build.risk_assessment(
        strict, on=build.days_ago(300), past_melanoma=True, several_melanomas=True, naevi="over100"
    )
    build.risk_assessment(lower, on=build.days_ago(1))
    for one in (strict, lower):
        replan.replan_patient(one.pk)
    pair = pair_of(strict, lower)
    said = {
        "pair": pair,
        "survivor": strict,
        "by": build.dermatologist(),
        "reason": "same",
        "revision": pair.revision,
    }
    with pytest.raises(longer_waits.MakesLonger) as error:
        merging.propose(**said)
    assert not Merge.objects.exists() and not Proposal.objects.exists()
    signed = said | {"signed": error.value.signature}
    with pytest.raises(PermissionDenied):
        merging.propose(**signed | {"by": build.nurse()})
    asked = merging.propose(**signed)
    proposals.confirm(proposal=asked, by=build.nurse(), revision=asked.revision)
    assert Merge.objects.get().survivor == strict


def test_what_is_proposed_about_either_is_answered_first():
    one, other = build.patient(), build.patient()
    ending.propose(patient=one, by=build.nurse(), status="moved", on=scene.TODAY, ground="said")
    with pytest.raises(merging.MergeRefused):
        merge(one, other)


def test_merges_of_one_record_are_undone_in_reverse_order():
    kept, first, second = build.patient(), build.patient(), build.patient()
    one = merge(kept, first)
    other = merge(kept, second)
    with pytest.raises(merging.MergeRefused):
        part(one)
    part(other)
    part(one)
    assert not Patient.objects.filter(merged_into__isnull=False).exists()


def test_a_record_merged_twice_resolves_to_the_last():
    oldest, middle, newest = build.patient(), build.patient(), build.patient()
    merge(middle, oldest)
    merge(newest, middle)
    oldest.refresh_from_db()
    assert oldest.merged_into == newest
    assert list(finding.search(oldest.number)) == [newest]


def test_an_old_number_finds_the_record_that_is_kept():
    kept, gone = build.patient(), build.patient()
    merge(kept, gone)
    assert list(finding.search(gone.number)) == [kept]
    assert list(finding.search(str(gone.pk))) == [kept]


def test_nothing_is_written_about_a_record_that_was_merged_away():
    kept, gone = build.patient(), build.patient()
    merge(kept, gone)
    with pytest.raises(audit.MergedAway):
        patients.add_route(patient=gone, by=build.nurse(), kind="phone", value="01 77")
    assert not gone.routes.filter(value="01 77").exists()


def test_the_trail_of_both_stands_under_the_one():
    kept, gone = build.patient(), build.patient()
    merge(kept, gone)
    actions = list(audit.trail(kept).values_list("action", flat=True))
    assert actions.count("patient.register") == 2 and "patient.merge" in actions


def test_a_row_left_on_a_merged_record_is_an_alarm_of_the_count():
    kept, gone = build.patient(), build.patient()
    merge(kept, gone)
    count = whereabouts.count_now()
    assert count.holds and count.records == 1
    Lesion.objects.filter(pk=pictures.lesion(kept).pk).update(patient=gone)
    count = whereabouts.count_now()
    assert not count.holds and [alarm.patients for alarm in count.faults] == [(gone.pk,)]

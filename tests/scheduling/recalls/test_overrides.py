"""A dermatologist's own interval or date: docs/domain.md "Facts in, plan out", points 4, 7 and 8; FACTS `overrides`."""

from datetime import date

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.access import NotAllowed
from clinic.models import AuditRecord, StaleRow
from lesions.register import register
from scheduling.models import Override, Recall
from scheduling.planning import replan
from scheduling.planning.wording import reason_words
from scheduling.recalls import overrides
from scheduling.today import worklists
from tests import build
from tests.page import read
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")
WHY = "Three new naevi since spring"


def given(patient, **more):
    patient.refresh_from_db()
    first = {
        "patient": patient,
        "by": build.dermatologist(name="Dr Vale"),
        "purpose": "full_skin_check",
        "subject": "patient",
        "reason": WHY,
        "revision": patient.facts_revision,
    }
    return first | more


def interval(patient, every="P1M", **more):
    return overrides.set_interval(interval=every, **given(patient, **more))


def on(patient, day, **more):
    return overrides.set_date(date=day, **given(patient, **more))


def ended(row, **more):
    row.refresh_from_db()
    fields = {"by": build.dermatologist(), "revision": row.revision, "reason": "settled"} | more
    return overrides.end(override=row, **fields)


def july():
    """By the rules: window 1 to 29 July 2026, target 15 July, three months after the excision."""
    return scene.check_of(scene.melanoma(date(2026, 4, 15)))


def dates(row):
    return row.earliest, row.target, row.latest


def test_a_set_day_moves_the_recall_and_its_reason_says_who_and_why():
    before = july()
    assert before.target == date(2026, 7, 15)
    row = on(before.patient, date(2026, 7, 1))
    after = scene.check_of(before.patient)
    assert dates(after) == (date(2026, 6, 24), date(2026, 7, 1), date(2026, 7, 8))
    assert after.rule == f"override:{row.pk}" and reason_words(after.reasons[0]).startswith(
        "Dr Vale decided on"
    )
    assert WHY in reason_words(after.reasons[0]) and after.reasons[1]["rule"] == "melanoma-invasive"
    before.refresh_from_db()
    assert (before.state, before.ground) == ("closed", "superseded")


def test_a_set_interval_counts_from_its_decision_and_then_from_each_visit():
    patient = july().patient
    interval(patient, "P3W")
    assert scene.check_of(patient).target == date(2026, 7, 8)
    with scene.later(days=10):
        scene.came(patient, date(2026, 6, 27))
        assert scene.check_of(patient).target == date(2026, 7, 18)


def test_ending_brings_the_date_of_the_rules_back():
    patient = july().patient
    row = on(patient, date(2026, 7, 1))
    assert scene.check_of(patient).rule == f"override:{row.pk}"
    with pytest.raises(overrides.Lengthens):
        ended(row)
    ended(row, accepted=True)
    after = scene.check_of(patient)
    assert (after.rule, after.target) == ("melanoma-invasive", date(2026, 7, 15))
    assert (row.ended_on, row.ended_reason) == (scene.TODAY, "settled")
    with pytest.raises(overrides.OverrideRefused, match="ended already"):
        ended(row, accepted=True)


def test_after_its_own_end_the_rules_count_again():
    """Every ten days until 28 June: 27 June; after the visit of that day the rule's 15 July comes."""
    patient = july().patient
    interval(patient, "P10D", until=date(2026, 6, 28))
    assert scene.check_of(patient).target == date(2026, 6, 27)
    with scene.later(days=12):
        scene.came(patient, date(2026, 6, 27))
        after = scene.check_of(patient)
    assert (after.rule, after.target) == ("melanoma-invasive", date(2026, 7, 15))


@pytest.mark.parametrize(
    "how",
    [
        lambda who, **more: interval(who, "P6M", **more),
        lambda who, **more: on(who, date(2026, 8, 15), **more),
    ],
)
def test_a_later_date_is_accepted_or_not_saved(how):
    patient = july().patient
    with pytest.raises(overrides.Lengthens) as refused:
        how(patient)
    assert refused.value.effect.before.target == date(2026, 7, 15)
    assert refused.value.effect.after.target > date(2026, 7, 15)
    assert not Override.objects.exists() and scene.check_of(patient).target == date(2026, 7, 15)
    assert how(patient, accepted=True).pk


def test_a_first_date_that_stays_does_not_hide_a_longer_interval():
    """By the shipped set 15 July and 15 October: every four weeks from today is as early, and more often."""
    patient = july().patient
    assert interval(patient, "P4W").pk
    with pytest.raises(overrides.Lengthens) as refused:
        on(patient, date(2026, 7, 15), until=date(2026, 11, 1))
    assert refused.value.effect.before.target == refused.value.effect.after.target


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ({"reason": "  "}, "Say why"),
        ({"date": date(2026, 6, 16)}, "from today on"),
        ({"until": date(2026, 6, 20)}, "before the date"),
        ({"subject": "lesion:999"}, "nothing on this patient"),
        ({"purpose": "lesion_image"}, "cannot be planned"),
    ],
)
def test_what_cannot_be_followed_is_refused_in_words(fault, words):
    patient = july().patient
    with pytest.raises(overrides.OverrideRefused, match=words):
        on(patient, **({"day": fault.pop("date", date(2026, 7, 1))} | fault))
    assert not Override.objects.exists()


def test_an_interval_counts_from_today_where_nothing_else_is_known():
    patient = build.patient()
    replan.replan_patient(patient.pk)
    interval(patient, "P3M", purpose="laboratory")
    assert scene.open_recall(patient, "laboratory").target == date(2026, 9, 17)


def test_urgent_work_is_not_put_off():
    lesion = scene.mark(build.patient())
    register.note_sign(lesion=lesion, by=build.nurse(), sign="bleeding")
    about = {"purpose": "lesion_examination", "subject": f"lesion:{lesion.pk}", "accepted": True}
    with pytest.raises(overrides.OverrideRefused, match="urgent"):
        on(lesion.patient, date(2026, 8, 1), **about)


def test_only_a_dermatologist_sets_and_ends():
    patient = july().patient
    row = on(patient, date(2026, 7, 1))
    for member in (build.nurse(), build.manager()):
        with pytest.raises(NotAllowed):
            on(patient, date(2026, 7, 2), by=member)
        with pytest.raises(NotAllowed):
            ended(row, by=member, accepted=True)


def test_dates_that_were_looked_at_before_the_facts_changed_are_stale():
    patient = july().patient
    with pytest.raises(StaleRow):
        on(patient, date(2026, 7, 1), revision=patient.facts_revision - 1)
    row = on(patient, date(2026, 7, 1))
    with pytest.raises(StaleRow):
        ended(row, revision=row.revision + 1, accepted=True)


def test_a_later_decision_takes_the_place_of_the_earlier():
    patient = july().patient
    first, second = on(patient, date(2026, 7, 1)), on(patient, date(2026, 7, 8))
    first.refresh_from_db()
    assert first.ended_reason == overrides.REPLACED
    assert scene.check_of(patient).rule == f"override:{second.pk}"
    record = AuditRecord.objects.filter(action="override.set").latest("pk")
    assert record.details["replaces"] == first.pk and record.facts_revision


def test_each_step_leaves_one_record_with_both_dates():
    patient = july().patient
    row = on(patient, date(2026, 7, 1))
    record = AuditRecord.objects.get(action="override.set")
    assert record.details["reason"] == WHY and record.details["target_before"] == "2026-07-15"
    ended(row, accepted=True)
    assert AuditRecord.objects.get(action="override.end").details["target_after"] == "2026-07-15"


def test_planning_twice_changes_nothing():
    patient = july().patient
    on(patient, date(2026, 7, 1))
    recall = scene.check_of(patient)
    before = (AuditRecord.objects.count(), Recall.objects.count(), recall.revision)
    again = scene.check_of(patient)
    assert (AuditRecord.objects.count(), Recall.objects.count(), again.revision) == before


def test_a_booked_visit_stays_booked_when_its_dates_move():
    recall = july()
    scene.booked(recall)
    on(recall.patient, date(2026, 7, 1))
    recall = scene.check_of(recall.patient)
    assert (recall.state, recall.target) == ("booked", date(2026, 7, 1))


@pytest.mark.parametrize(
    "wrong",
    [{"date": None}, {"interval": "P6M"}, {"reason": ""}, {"ended_on": date(2026, 6, 1)}],
)
def test_the_database_refuses_half_an_override(wrong):
    row = on(july().patient, date(2026, 7, 1))
    with pytest.raises(IntegrityError), transaction.atomic():
        Override.objects.filter(pk=row.pk).update(**wrong)


def url_for(patient):
    return reverse("scheduling:set_override", args=[patient.pk]) + "?for=full_skin_check%7Cpatient"


def form(patient, **more):
    patient.refresh_from_db()
    first = {
        "revision": patient.facts_revision,
        "what": "full_skin_check|patient",
        "unit": "M",
        "reason": WHY,
    }
    return first | more


def test_the_page_shows_the_rules_date_and_asks_before_a_longer_wait(signed_in):
    patient = july().patient
    beside = read(signed_in.get(reverse("clinic:patient", args=[patient.pk])))
    assert beside.leads_to(url_for(patient))
    shown = read(signed_in.get(url_for(patient)))
    assert "15 Jul 2026" in shown and "Melanoma excised 15 Apr 2026" in shown
    answer = signed_in.post(url_for(patient), form(patient, every=6))
    shown = read(answer)
    assert (
        answer.status_code == 422
        and "17 Dec 2026" in shown
        and WHY in shown
        and not Override.objects.exists()
    )
    (seen,) = shown.offered("accepted")
    changed = signed_in.post(url_for(patient), form(patient, every=9, accepted=seen))
    assert changed.status_code == 422, "what was accepted was six months, not nine"
    assert signed_in.post(url_for(patient), form(patient, every=6, accepted=seen)).status_code == 302
    recall = scene.check_of(patient)
    assert recall.target == date(2026, 12, 17)
    shown = read(signed_in.get(reverse("clinic:patient", args=[patient.pk])))
    assert "Full skin check every 6 months" in shown and "End it" in shown and WHY in shown


@pytest.mark.parametrize("fault", [{}, {"every": 3, "date": "2026-07-01"}, {"every": 0}, {"date": "soon"}])
def test_a_form_that_says_too_little_or_too_much_keeps_what_was_typed(signed_in, fault):
    patient = july().patient
    answer = signed_in.post(url_for(patient), form(patient, **fault))
    assert answer.status_code == 422 and WHY in read(answer)
    assert not Override.objects.exists()


def test_a_stale_page_gets_the_conflict_page(signed_in):
    patient = july().patient
    typed = form(patient, date="2026-07-01")
    scene.came(patient, scene.TODAY)
    assert signed_in.post(url_for(patient), typed).status_code == 409


def test_the_page_that_ends_it_shows_the_date_that_comes_back(signed_in):
    row = on(july().patient, date(2026, 7, 1))
    url = reverse("scheduling:end_override", args=[row.pk])
    shown = read(signed_in.get(url))
    assert "15 Jul 2026" in shown and "14 days later" in shown
    typed = {"revision": row.revision, "reason": "settled"}
    assert signed_in.post(url, typed).status_code == 422
    assert signed_in.post(url, typed | {"accepted": f"ends {row.pk}"}).status_code == 302
    assert scene.check_of(row.patient).target == date(2026, 7, 15)
    shown = read(signed_in.get(reverse("clinic:patient", args=[row.patient_id])))
    assert "No longer in force: 1" in shown


def test_a_nurse_reads_it_and_finds_no_button(client):
    row = on(july().patient, date(2026, 7, 1))
    client.force_login(build.nurse(), backend="clinic.project.backends.ClinicBackend")
    shown = read(client.get(reverse("clinic:patient", args=[row.patient_id])))
    assert WHY in shown and "End it" not in shown and "Set another" not in shown
    assert client.post(url_for(row.patient), form(row.patient, every=1)).status_code == 403


def test_the_days_list_names_the_dermatologist(client):
    patient = july().patient
    on(patient, date(2026, 6, 20))
    scene.check_of(patient)
    worklists.build(scene.TODAY)
    client.force_login(build.nurse(), backend="clinic.project.backends.ClinicBackend")
    shown = read(client.get(reverse("scheduling:today")))
    assert str(patient) in shown and "decision: Dr Vale" in shown


def test_the_recall_page_says_who_decided(client):
    patient = july().patient
    on(patient, date(2026, 6, 20))
    recall = scene.check_of(patient)
    client.force_login(build.nurse(), backend="clinic.project.backends.ClinicBackend")
    shown = read(client.get(reverse("scheduling:recall", args=[recall.pk])))
    assert "on 20 Jun 2026" in shown and "Dr Vale decided" in shown and WHY in shown


def test_three_decisions_ask_no_more_questions_than_one(signed_in):
    patient = july().patient
    url = reverse("clinic:patient", args=[patient.pk])
    on(patient, date(2026, 7, 1))
    signed_in.get(url)
    with CaptureQueriesContext(connection) as one:
        signed_in.get(url)
    for purpose in ("risk_assessment", "node_examination"):
        on(patient, date(2026, 7, 1), purpose=purpose)
    signed_in.get(url)  # the first page after a change works out the patient's line on Today
    with CaptureQueriesContext(connection) as three:
        signed_in.get(url)
    assert len(three) == len(one)


def test_a_day_after_the_open_duty_is_accepted_if_the_rules_give_a_later():
    """What an earlier version promised stands: setting another day is measured against it."""
    recall = july()
    Recall.objects.filter(pk=recall.pk).update(
        earliest=date(2026, 5, 1), target=date(2026, 5, 15), latest=date(2026, 5, 29)
    )
    with pytest.raises(overrides.Lengthens) as refused:
        on(recall.patient, date(2026, 7, 1))
    assert refused.value.effect.before.target == date(2026, 5, 15) and refused.value.effect.later_by == 47

"""The pages of this app, as each role meets them."""

import csv
from datetime import date, timedelta
from io import StringIO

import pytest
from django.urls import reverse

from clinic.models import AuditRecord, Policy
from lesions.results import pathology
from scheduling.counting import whereabouts
from scheduling.desk import booking, claims
from scheduling.models import Appointment, Recall, Resource, Session
from scheduling.planning import replan
from scheduling.rules.ruleset import ruleset
from scheduling.today import worklists
from tests import build
from tests.page import read
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")


@pytest.fixture
def sign_in(client):
    def as_role(role):
        member = build.member(role)
        client.force_login(member, backend="clinic.project.backends.ClinicBackend")
        return member

    return as_role


def page(client, name, *args, **query):
    answer = client.get(reverse(f"scheduling:{name}", args=args), query)
    assert answer.status_code == 200
    return read(answer)


def test_today_shows_who_is_to_be_reached_and_why(client, sign_in):
    recall = scene.due_check()
    sign_in("nurse")
    shown = page(client, "today")
    assert "One person today" in shown and str(recall.patient) in shown
    assert "until 29 Jun 2026" in shown and "0 of 3 attempts" in shown and "Call" in shown.buttons()
    assert "Today 1 waiting" in shown, "one number everywhere"


def test_an_empty_day_says_what_was_counted(client, sign_in):
    whereabouts.count_everybody(scene.TODAY)
    sign_in("nurse")
    assert "Nobody is left to reach today; 0 records were counted" in page(client, "today")


def test_a_list_that_was_not_made_says_so(client, sign_in):
    scene.due_check()
    worklists.build(scene.TODAY)
    sign_in("nurse")
    assert "list has not been made yet" not in page(client, "today")
    with scene.later(days=1):
        assert "list has not been made yet" in page(client, "today")


def test_no_free_place_inside_the_window_is_said(client, sign_in):
    recall = scene.due_check()
    scene.hours(day=date(2026, 7, 2))
    sign_in("nurse")
    shown = page(client, "recall", recall.pk)
    assert "None inside the window." in shown and "09:00 , 2 Jul 2026" in shown.text.replace(
        "09:00,", "09:00 ,"
    )


def test_a_stale_booking_gets_the_conflict_page(client, sign_in):
    recall, room = scene.due_check(), scene.hours()
    sign_in("nurse")
    form = {"revision": recall.revision + 1, "resource": room.pk, "starts_at": "2026-06-17T14:00:00+01:00"}
    assert client.post(reverse("scheduling:book", args=[recall.pk]), form).status_code == 409


def test_one_visit_is_booked_for_all_that_is_due_and_each_is_named(client, sign_in):
    """A check due now, and after a biopsy the result: one call, one visit."""
    recall, room = scene.due_check(), scene.hours()
    by = build.dermatologist()
    pathology.record_procedure(patient=recall.patient, by=by, kind="biopsy", on=date(2026, 6, 12))
    told = scene.open_recall(recall.patient, "result_visit")
    sign_in("nurse")
    slot = f"{room.pk}|2026-06-17T14:00:00+01:00"
    shown = page(client, "recall", recall.pk)
    assert "At the same visit also" in shown and "Visit for a result: biopsy of 12 Jun 2026" in shown
    assert slot in shown.offered("place")
    form = {"revision": recall.revision, "place": slot, "also": [told.pk]}
    client.post(reverse("scheduling:book", args=[recall.pk]), form)
    visit = Appointment.objects.get()
    assert set(visit.recalls.all()) == {recall, told}
    assert not Recall.objects.filter(patient=recall.patient, state="due").exists()
    came = {"revision": visit.revision, "done": [f"result_visit|{told.subject}"]}
    with scene.later(hours=3):
        client.post(reverse("scheduling:came", args=[visit.pk]), came)
    recall.refresh_from_db()
    assert recall.state == "due" and recall.reopened == 1


def test_what_is_done_beside_must_have_opened_by_then(client, sign_in):
    """
    Sutures of the back come out after 10 to 14 days: not with the result of the same day.

    Trott, Wounds and Lacerations, 1991: back 12 to 14; 5-Minute Consult: trunk 10 to 14.
    """
    patient, by = build.patient(), build.dermatologist()
    pathology.record_procedure(patient=patient, by=by, kind="excision", on=date(2026, 6, 10), site="66643007")
    told, out = scene.open_recall(patient, "result_visit"), scene.open_recall(patient, "suture_removal")
    room = scene.hours()
    sign_in("nurse")
    assert out.earliest == date(2026, 6, 20) and told.latest == scene.TODAY
    assert "At the same visit also" in page(client, "recall", told.pk)
    assert "removal of sutures" not in page(client, "recall", told.pk).text.lower()
    with pytest.raises(
        booking.BookingRefused, match="Too early for the removal of sutures: not before 20 Jun 2026"
    ):
        booking.book(recalls=[told, out], resource=room, starts_at=scene.at(14), by=build.nurse())
    assert not Appointment.objects.exists()


def test_a_recall_of_another_patient_is_not_booked_beside(client, sign_in):
    recall, other, room = scene.due_check(), scene.due_check(), scene.hours()
    sign_in("nurse")
    form = {"revision": recall.revision, "place": f"{room.pk}|2026-06-17T14:00:00+01:00", "also": [other.pk]}
    client.post(reverse("scheduling:book", args=[recall.pk]), form)
    assert not Appointment.objects.exists()


def test_who_was_slower_to_claim_sees_who_has_it(client, sign_in):
    patient = scene.due_check().patient
    claims.claim(patient=patient, by=build.nurse(name="Ada Quick"))
    sign_in("nurse")
    answer = client.post(reverse("scheduling:claim", args=[patient.pk]))
    assert answer.status_code == 409 and "is with Ada Quick now" in read(answer)


def test_what_was_done_is_asked_and_nothing_is_ticked(client, sign_in):
    recall = scene.due_check()
    visit = scene.booked(recall)
    sign_in("dermatologist")
    with scene.later(hours=4):
        url = reverse("scheduling:came", args=[visit.pk])
        shown = read(client.get(url))
        assert not shown.chosen() and "full_skin_check|patient" in shown.offered("done")
        client.post(url, {"revision": visit.revision, "done": ["full_skin_check|patient"]})
        replan.replan_patient(recall.patient_id)
    recall.refresh_from_db()
    assert recall.state == "completed"


def test_a_nurse_proposes_and_a_dermatologist_closes(client, sign_in):
    recall = scene.due_check()
    url = reverse("scheduling:close", args=[recall.pk])
    sign_in("nurse")
    client.post(url, {"revision": recall.revision, "ground": "declined", "note": "says no, was told why"})
    recall.refresh_from_db()
    assert (recall.state, recall.proposed_ground) == ("due", "declined")
    sign_in("dermatologist")
    assert "says no, was told why" in read(client.get(url))
    client.post(url, {"revision": recall.revision, "ground": "declined", "note": "spoke to her"})
    recall.refresh_from_db()
    assert recall.state == "closed"


def test_missed_shows_why_and_every_count_opens_its_patients(client, sign_in):
    recall = scene.overdue_check(high=True)
    sign_in("manager")
    shown = page(client, "missed")
    assert "One person should have been seen and was not" in shown and "Both agree." in shown
    assert "29 May 2026" in shown and "no bookable hours in its window" in shown
    assert str(recall.patient) in page(client, "missed", why="no_slot")
    assert "Nobody is missed for this reason" in page(client, "missed", why="booked")
    assert str(recall.patient) in page(client, "place", "overdue")
    assert str(recall.patient) not in page(client, "place", "planned")
    assert client.get(reverse("scheduling:place", args=["elsewhere"])).status_code == 404
    assert recall.patient.number in shown and "17 May 1960" in shown, "namesakes are told apart"
    sheet = reverse("scheduling:missed_csv")
    assert (
        f'{sheet}?why=no_slot"'
        in client.get(reverse("scheduling:missed"), {"why": "no_slot"}).content.decode()
    )


def test_a_download_says_its_day_and_who_asked_and_is_recorded(client, sign_in):
    recall = scene.overdue_check(high=True)
    member = sign_in("manager")
    text = client.get(reverse("scheduling:missed_csv"), {"why": "no_slot"}).content.decode()
    as_of, asked, shown, head, row = csv.reader(StringIO(text, newline=""))
    assert as_of == ["Missed, as of", "17 Jun 2026, 12:00"] and asked == ["asked for by", str(member)]
    assert shown == ["shown", "no bookable hours in the window"]
    assert dict(zip(head, row, strict=True))["urgency"] == "B" and row[0] == recall.patient.number
    kept = AuditRecord.objects.get(action="missed.download")
    assert (kept.by, kept.details) == (member, {"reason": "no_slot", "rows": 1})
    assert (
        recall.patient.number
        not in client.get(f"{reverse('scheduling:missed_csv')}?why=booked").content.decode()
    )


def test_problems_are_work(client, sign_in):
    patient = build.patient()
    replan.replan_patient(patient.pk)
    sign_in("manager")
    assert str(patient) in page(client, "problems")


def test_the_rules_are_sentences_with_source_and_signatures(client, sign_in):
    scene.due_check()
    sign_in("nurse")
    shown = page(client, "rules")
    assert "every 3 months for 2 years" in shown and "Clinic setting, no source" in shown
    assert "NHSScotland, Cutaneous Melanoma" in shown and "second-hand, confirm before use" in shown
    assert "all stages of invasive melanoma alike" in shown and "sets by stage can be drafted" in shown
    assert "Proposed by dermatologist" in shown and shown.find_all("img")
    assert any(head.parent.text.endswith(" 1 patient") for head in shown.find_all("heading"))


def test_two_people_bring_rules_into_force(client, sign_in):
    sign_in("manager")
    text = ruleset.shipped("default").replace('early = "P14D", late = "P14D"', 'early = "P7D", late = "P7D"')
    client.post(reverse("scheduling:rules_draft"), {"toml": text.replace("\n", "\r\n")})
    made = Policy.objects.get(version=2)
    assert made.toml == text
    client.post(reverse("scheduling:rules_propose", args=[made.pk]), {"revision": 1})
    assert (
        client.post(reverse("scheduling:rules_approve", args=[made.pk]), {"revision": 2}).status_code == 403
    )
    first = sign_in("dermatologist")
    Policy.objects.filter(pk=made.pk).update(proposed_by=first)
    client.post(reverse("scheduling:rules_approve", args=[made.pk]), {"revision": 2})
    made.refresh_from_db()
    assert made.state == "proposed", "whoever proposed it cannot approve it"
    sign_in("dermatologist")
    client.post(reverse("scheduling:rules_approve", args=[made.pk]), {"revision": 2})
    made.refresh_from_db()
    assert made.state == "proposed", "nobody has looked at what it does"
    (digest,) = page(client, "rules_preview", made.pk).offered("preview")
    client.post(reverse("scheduling:rules_approve", args=[made.pk]), {"revision": 2, "preview": digest})
    made.refresh_from_db()
    assert made.state == "in_force"


def test_the_faults_of_a_draft_are_listed(client, sign_in):
    sign_in("manager")
    text = ruleset.shipped("default").replace('then = "ask"', "")
    answer = client.post(reverse("scheduling:rules_draft"), {"toml": text})
    assert answer.status_code == 422 and "a schedule never stops silently" in read(answer)
    assert Policy.objects.count() == 1


def test_hours_are_opened_in_the_diary(client, sign_in):
    sign_in("manager")
    form = {"room": "Room 4", "day": "2026-06-18", "opens": "09:00", "closes": "12:00", "slot_minutes": "20"}
    form["kind"] = "visit"
    client.post(reverse("scheduling:open_hours"), form)
    assert Session.objects.get().resource == Resource.objects.get(name="Room 4")
    assert "Room 4 09:00–12:00" in page(client, "diary", day="2026-06-18", view="week")
    answer = client.post(reverse("scheduling:open_hours"), form)
    assert answer.status_code == 422 and "overlap" in read(answer)


def test_the_patient_page_says_what_is_due_and_why(client, sign_in):
    recall = scene.due_check()
    sign_in("nurse")
    shown = read(client.get(reverse("clinic:patient", args=[recall.patient_id])))
    assert "What is due, and why" in shown and "visit 1 of 8, every 3 months for 2 years" in shown
    assert "melanoma removed 15 Mar 2026" in shown and "Call or book" in shown
    assert shown.leads_to(reverse("scheduling:call", args=[recall.patient_id]))


def test_a_count_that_did_not_run_is_said_on_every_page(client, sign_in):
    sign_in("nurse")
    assert "Nobody has counted yet" in page(client, "diary")
    whereabouts.count_everybody(scene.TODAY)
    assert "counted yet" not in page(client, "diary")
    with scene.later(days=1):
        assert "count of where everybody is did not run; the last one is of 17 Jun 2026" in page(
            client, "diary"
        )


def test_a_clock_that_ran_ahead_does_not_silence_the_count(client, sign_in):
    sign_in("nurse")
    with scene.later(days=9):
        whereabouts.count_everybody(scene.TODAY + timedelta(days=9))
    shown = page(client, "diary")
    assert "a clock ran ahead" in shown and "Nobody has counted yet" in shown
    whereabouts.count_everybody(scene.TODAY)
    shown = page(client, "diary")
    assert "a clock ran ahead" in shown and "counted yet" not in shown


def test_the_administrator_sees_none_of_it(client, sign_in):
    recall = scene.due_check()
    sign_in("administrator")
    for name, args in (("today", []), ("missed", []), ("diary", []), ("rules", []), ("recall", [recall.pk])):
        assert client.get(reverse(f"scheduling:{name}", args=args)).status_code == 403

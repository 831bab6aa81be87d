"""The page of a call: claimed by opening, logged once for everything that is due, then the next person.

How often somebody is tried and how far a call is put off: clinic setting, no source (docs/sources.md, "Reaching people").
"""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.urls import reverse

from clinic.people import carers, patients
from lesions.results import pathology
from scheduling.desk import calls, claims, contacts
from scheduling.models import Appointment, Call, Claim, ContactAttempt, DeskLine, Section
from scheduling.today import worklists
from tests import build
from tests.page import read
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")
SPOKE = {"outcome": "spoke", "identity": "date of birth", "told": "the check after the melanoma is due"}


@pytest.fixture
def nurse(client):
    member = build.nurse(name="Ada Quick")
    client.force_login(member, backend="clinic.project.backends.ClinicBackend")
    return member


def address(patient):
    return reverse("scheduling:call", args=[patient.pk])


def opened(client, patient):
    answer = client.get(address(patient))
    assert answer.status_code == 200
    return read(answer)


def logged(client, patient, **said):
    """Sends the form as the page offers it, with what was said."""
    shown = opened(client, patient)
    kept = {
        name: shown.fields(name)[0].value for name in ("last", "recall", "revision") if shown.fields(name)
    }
    way = next(one.value for one in shown.fields("way") if one.is_chosen)
    return client.post(address(patient), {**kept, "way": way, **said}, follow=True)


def test_opening_claims_and_one_way_is_chosen_already(client, nurse):
    recall = scene.due_check()
    shown = opened(client, recall.patient)
    assert Claim.objects.get().by == nurse and "yours since 12:00" in shown
    assert [one.value for one in shown.fields("way") if one.is_chosen] == [
        f"phone|{recall.patient.routes.get().value}"
    ]
    assert "0 of 3, a call next" in shown and "Melanoma excised 15 Mar 2026" in shown


def test_no_answer_is_logged_and_leads_to_the_next_person(client, nurse):
    first, second = scene.overdue_check(), scene.due_check()
    shown = read(logged(client, first.patient, outcome="no_answer"))
    assert shown.find("heading", str(second.patient)) and "Logged: no answer" in shown
    assert Claim.objects.get(by=nurse).patient == second.patient, "the first is handed back"
    assert ContactAttempt.objects.get().recall == first and Call.objects.get().outcome == "no_answer"
    assert DeskLine.objects.get(patient=first.patient).section == Section.LATER


def test_one_call_is_an_attempt_for_everything_that_is_due(client, nurse):
    recall = scene.due_check()
    by = build.dermatologist()
    pathology.record_procedure(patient=recall.patient, by=by, kind="biopsy", on=date(2026, 6, 3))
    told = scene.open_recall(recall.patient, "result_visit")
    assert told.state == "due"
    logged(client, recall.patient, outcome="no_answer")
    assert {row.recall for row in ContactAttempt.objects.all()} == {recall, told}
    assert len(calls.tried_before(recall.patient)) == 1, "and is shown as one"


def test_spoken_to_and_booked_in_one_breath(client, nurse):
    recall, room = scene.due_check(), scene.hours()
    place = f"{room.pk}|2026-06-17T14:00:00+01:00"
    assert place in opened(client, recall.patient).offered("place")
    logged(client, recall.patient, place=place, **SPOKE)
    visit, call = Appointment.objects.get(), Call.objects.get()
    assert (visit.starts_at, call.outcome, call.appointment) == (scene.at(13), "booked", visit)
    attempt = ContactAttempt.objects.get()
    assert (attempt.outcome, attempt.told, call.identity) == ("booked", SPOKE["told"], "date of birth")


WRONG = [
    ({}, "outcome"),
    ({"outcome": "spoke", "told": "x"}, "identity"),
    ({"outcome": "spoke", "identity": "address"}, "told"),
    ({**SPOKE, "outcome": "spoke_authorised", "next_on": "2026-06-19"}, "spoke_to"),
    ({**SPOKE, "outcome": "spoke_authorised", "next_on": "2026-06-19", "spoke_to": "her son"}, "why"),
    ({"outcome": "declined", "identity": "address", "spoke_to": "her son"}, "why"),
    ({**SPOKE, "outcome": "spoke_authorised", "next_on": "2026-06-19", "carer": "777"}, "carer"),
    ({**SPOKE, "next_on": "2026-06-19", "spoke_to": "her son"}, "outcome"),
    (SPOKE, "next_on"),
    ({**SPOKE, "next_on": "2026-09-30"}, "next_on"),
    ({"outcome": "asks_later", "identity": "address"}, "next_on"),
    ({"outcome": "voicemail"}, "outcome"),
]


@pytest.mark.parametrize(("said", "field"), WRONG)
def test_what_is_wrong_stands_beside_the_button_with_the_focus_on_it(client, nurse, said, field):
    patient = scene.due_check().patient
    answer = logged(client, patient, note="kept on the page", **said)
    shown = read(answer)
    assert answer.status_code == 422 and not ContactAttempt.objects.exists()
    (focused,) = [one for one in shown.fields() if "autofocus" in one.attributes]
    assert focused.get("name") == field and shown.fields("note")[0].value == "kept on the page"


OTHER = {**SPOKE, "outcome": "spoke_authorised", "next_on": "2026-06-19"}


def looked_after(patient, nurse, **more):
    said = {
        "name": "Mona Reed",
        "relation": "daughter",
        "authority": "everything",
        "valid_from": build.days_ago(9),
    }
    return carers.add(patient=patient, by=nurse, **{**said, **more})


def test_who_may_be_told_is_chosen_among_the_carers_of_today(client, nurse):
    """Health is spoken of with the patient, and with whom the patient or the law names (common practice, no source)."""
    patient = scene.due_check().patient
    told = looked_after(patient, nurse, authority="appointments")
    for gone in (
        {"valid_until": build.days_ago(1)},
        {"authority": "nothing"},
        {"valid_from": build.days_ago(-2)},
    ):
        looked_after(patient, nurse, **gone)
    assert opened(client, patient).offered("carer") == ["", str(told.pk)]
    assert "Mona Reed (daughter): appointments only" in opened(client, patient)
    logged(client, patient, **OTHER, carer=str(told.pk))
    call = Call.objects.get()
    assert (call.outcome, call.carer, call.why_told) == ("spoke_authorised", told, "")
    assert "with Mona Reed (daughter)" in opened(client, patient)


def test_whoever_else_is_told_something_is_named_with_the_word_why(client, nurse):
    patient = scene.due_check().patient
    logged(client, patient, **OTHER, spoke_to="her son", why="she asked me on the telephone to tell him")
    call = Call.objects.get()
    assert (call.carer, call.spoke_to, call.why_told) == (
        None,
        "her son",
        "she asked me on the telephone to tell him",
    )
    assert "with her son, because she asked me on the telephone to tell him" in opened(client, patient)


def test_who_answers_may_ask_for_another_day_and_is_told_nothing(client, nurse):
    patient = scene.due_check().patient
    later = {"outcome": "asks_later", "identity": "known", "next_on": "2026-06-19", "spoke_to": "her son"}
    refused = logged(client, patient, **later, told="about the melanoma")
    assert refused.status_code == 422 and read(refused).fields("told")[0].value == "about the melanoma"
    logged(client, patient, **later)
    assert Call.objects.get(ended_at__isnull=False).spoke_to == "her son"


def test_an_entry_that_ended_while_the_page_was_open_is_refused(client, nurse):
    patient = scene.due_check().patient
    told = looked_after(patient, nurse)
    said = calls.Said(
        carer=told, identity="address", told="when to come", next_on=scene.TODAY + timedelta(days=2)
    )
    about = {"patient": patient, "by": nurse, "route": "phone", "address": "1", "outcome": "spoke_authorised"}
    carers.end(carer=told, by=nurse, revision=told.revision)
    with pytest.raises(contacts.ContactRefused, match="may be told nothing today"):
        calls.log(**about, said=said)
    stranger = looked_after(build.patient(), nurse)
    with pytest.raises(contacts.ContactRefused, match="may be told nothing today"):
        calls.log(**about, said=replace(said, carer=stranger))
    assert not ContactAttempt.objects.exists()


def test_a_voicemail_is_left_where_it_was_agreed(client, nurse):
    patient = scene.due_check().patient
    patient.routes.update(voicemail="yes")
    logged(client, patient, outcome="voicemail")
    assert ContactAttempt.objects.get().outcome == "voicemail"


def test_a_number_not_in_use_ends_the_way_and_opens_the_search_for_another(client, nurse):
    patient = scene.due_check().patient
    logged(client, patient, outcome="dead")
    assert patient.routes.get().dead_since == scene.TODAY
    line = DeskLine.objects.get(patient=patient)
    assert (
        line.section == Section.PUT_RIGHT
        and line.duties == 2
        and patient.duties.filter(kind="find_a_way").exists()
    )


def test_a_second_number_is_tried_in_the_patients_own_order(client, nurse):
    recall = scene.due_check()
    patients.add_route(patient=recall.patient, by=nurse, kind="phone", value="999", order=2)
    shown = opened(client, recall.patient)
    assert [one.value for one in shown.fields("way")][-1] == "phone|999"
    logged(client, recall.patient, outcome="dead")
    assert [one.value for one in opened(client, recall.patient).fields("way")] == ["phone|999"]


def test_dialling_is_kept_and_without_an_outcome_it_is_work(client, nurse):
    patient = scene.due_check().patient
    opened(client, patient)
    way = f"phone|{patient.routes.get().value}"
    begin = reverse("scheduling:begin_call", args=[patient.pk])
    assert client.post(begin, {"way": way}).json() == {"begun": True}
    assert client.post(begin, {"way": "phone|of nobody"}).status_code == 422
    worklists.bring_up_to_date()
    assert DeskLine.objects.get().section == Section.OUTCOME
    logged(client, patient, outcome="no_answer")
    assert Call.objects.count() == 1 and DeskLine.objects.get().section == Section.LATER


def test_a_call_logged_twice_by_a_double_click_counts_once(client, nurse):
    patient = scene.due_check().patient
    shown = opened(client, patient)
    way = shown.fields("way")[0].value
    form = {"last": shown.fields("last")[0].value, "way": way, "outcome": "no_answer"}
    assert client.post(address(patient), form).status_code == 302
    assert client.post(address(patient), form).status_code == 409
    assert ContactAttempt.objects.count() == 1


def test_the_last_call_is_taken_back_with_its_booking(client, nurse):
    recall, room = scene.due_check(), scene.hours()
    logged(client, recall.patient, place=f"{room.pk}|2026-06-17T14:00:00+01:00", **SPOKE)
    made = Call.objects.get()
    client.post(reverse("scheduling:take_back_call", args=[made.pk]))
    recall.refresh_from_db()
    made.refresh_from_db()
    assert recall.state == "due" and made.struck_at and ContactAttempt.objects.get().struck
    assert Appointment.objects.get().state == "cancelled_by_clinic"


def test_who_is_with_somebody_else_is_only_taken_over_with_a_word(client, nurse):
    recall = scene.due_check()
    claims.claim(patient=recall.patient, by=build.nurse(name="Bo Slow"))
    shown = opened(client, recall.patient)
    assert "Bo Slow works on this patient since 12:00." in shown and not shown.fields("outcome")
    way = f"phone|{recall.patient.routes.get().value}"
    said = {"way": way, "last": 0, "outcome": "no_answer"}
    assert client.post(address(recall.patient), said).status_code == 409
    close = {"revision": recall.revision, "ground": "moved", "note": "a letter"}
    assert client.post(reverse("scheduling:close", args=[recall.pk]), close).status_code == 409
    over = reverse("scheduling:take_over", args=[recall.patient_id])
    client.post(over, {"word": ""})
    assert Claim.objects.get().by != nurse
    client.post(over, {"word": "she is on my line"})
    assert Claim.objects.get().by == nurse and opened(client, recall.patient).fields("outcome")


def test_an_appointment_is_confirmed_in_the_call_and_that_is_taken_back(client, nurse):
    recall = scene.due_check()
    visit = scene.booked(recall, scene.at(14, day=scene.TODAY + timedelta(days=1)))
    worklists.bring_up_to_date()
    assert DeskLine.objects.get().section == Section.CONFIRM
    assert "the patient confirms" in opened(client, recall.patient).buttons()
    confirm = reverse("scheduling:confirm", args=[visit.pk])
    client.post(confirm)
    worklists.bring_up_to_date()
    assert not DeskLine.objects.exists()
    client.post(confirm, {"undo": "1"})
    worklists.bring_up_to_date()
    assert DeskLine.objects.get().section == Section.CONFIRM

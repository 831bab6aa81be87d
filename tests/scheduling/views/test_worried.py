"""A worried patient rings: urgent work at once, a place the same day, and nobody is lost who is not found."""

import pytest
from django.urls import reverse

from clinic.models import Duty, Patient
from lesions.models import UrgentSign
from scheduling.counting import duty_count
from scheduling.models import Appointment, DeskLine, Recall, UnfiledCall
from tests import build
from tests.page import read
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")
SAID = {"words": "it bled on the towel", "signs": ["bleeding"], "lesion": "", "place": ""}


@pytest.fixture
def nurse(client):
    member = build.nurse()
    client.force_login(member, backend="clinic.project.backends.ClinicBackend")
    return member


def patient():
    found = build.patient(given_name="Ada", family_name="Calloway")
    build.risk_assessment(found)
    return found


def address(found):
    return reverse("scheduling:worried", args=[found.pk])


def test_every_page_leads_to_it_by_one_key(client, nurse):
    shown = read(client.get(reverse("clinic:patients")))
    (door,) = [one for one in shown.find_all("link") if one.get("data-key") == "u"]
    assert door.get("href") == reverse("scheduling:worried_who") and "Worried caller U" in door.text


def test_who_is_found_alone_is_asked_at_once_and_no_name_is_in_an_address(client, nurse):
    found = patient()
    answer = client.post(reverse("scheduling:worried_who"), {"words": "calloway"})
    assert answer.url == address(found)
    build.patient(given_name="Bo", family_name="Calloway")
    shown = read(client.post(reverse("scheduling:worried_who"), {"words": "calloway"}))
    assert shown.leads_to(address(found)) and "Bo Calloway" in shown


def test_the_words_become_urgent_work_and_a_place_today_is_booked(client, nurse):
    found, room = patient(), scene.hours()
    place = f"{room.pk}|2026-06-17T14:00:00+01:00"
    assert place in read(client.get(address(found))).offered("place")
    shown = read(client.post(address(found), SAID | {"place": place}, follow=True))
    assert "Noted as urgent, and booked" in shown
    sign, visit = UrgentSign.objects.get(), Appointment.objects.get()
    assert (sign.words, sign.sign, sign.lesion) == (SAID["words"], "bleeding", None)
    assert visit.starts_at == scene.at(13) and visit.recalls.get().urgency == "A"
    assert duty_count.lost_now() == []


def test_a_known_lesion_is_named_and_without_a_place_the_call_goes_on(client, nurse):
    found = patient()
    lesion = scene.mark(found)
    shown = read(client.post(address(found), SAID | {"lesion": str(lesion.pk)}, follow=True))
    assert "no place is booked yet" in shown and "Urgent" in shown
    assert UrgentSign.objects.get().lesion == lesion
    assert Recall.objects.get(urgency="A").subject == f"lesion:{lesion.pk}"
    assert DeskLine.objects.get(patient=found).urgency == "A"


def test_without_words_nothing_is_kept_half(client, nurse):
    answer = client.post(address(patient()), {**SAID, "words": ""})
    assert answer.status_code == 422 and not UrgentSign.objects.exists()


@pytest.mark.parametrize("known", [False, True])
def test_a_worry_that_names_no_sign_opens_the_examination_too(client, nurse, known):
    found = patient()
    lesion = str(scene.mark(found).pk) if known else ""
    said = SAID | {"words": "I am worried", "signs": [], "lesion": lesion}
    shown = read(client.post(address(found), said, follow=True))
    worry, recall = UrgentSign.objects.get(), Recall.objects.get(purpose="lesion_examination")
    assert (worry.sign, worry.words) == (
        "worry",
        "I am worried",
    ) and "a worry without an urgent sign" in shown
    assert (recall.urgency, (recall.latest - recall.anchor).days) == ("A", 14), (
        "as the table says (domain.md)"
    )
    assert duty_count.lost_now() == []


def test_two_worries_of_one_day_keep_both_their_words(client, nurse):
    found = patient()
    for words in ("a spot on my back", "and my daughter says it is my leg", "a spot on my back"):
        client.post(address(found), SAID | {"words": words, "signs": []})
    assert UrgentSign.objects.count() == 2, "the same words again are one worry"


def test_a_place_that_is_gone_loses_nothing_of_what_was_said(client, nurse):
    found, room = patient(), scene.hours()
    place = f"{room.pk}|2026-06-17T14:00:00+01:00"
    client.post(address(patient()), SAID | {"place": place})
    answer = client.post(address(found), SAID | {"place": place})
    assert answer.status_code == 422 and SAID["words"] in read(answer).field("In the caller's words").value
    assert not UrgentSign.objects.filter(patient=found).exists(), "all of it or nothing"


def test_whom_nobody_finds_is_kept_with_name_and_number(client, nurse):
    shown = read(client.post(reverse("scheduling:worried_who"), {"words": "Nobody Known"}))
    assert "Nobody on file fits." in shown and shown.fields("name")[0].value == "Nobody Known"
    kept = {"name": "Nobody Known", "number": "01 234", "words": "it grows", "signs": ["growing"]}
    client.post(reverse("scheduling:unknown_caller"), kept)
    assert UnfiledCall.objects.get().number == "01 234"
    assert Duty.objects.get(kind="file_call").urgent
    today = read(client.get(reverse("scheduling:today")))
    assert "nobody on file" in today and "Nobody Known, 01 234: it grows" in today


def test_a_caller_who_is_new_is_registered_and_the_words_are_there_again(client, nurse):
    typed = {"name": "Ines Calloway", "number": "01 234", "words": "I am worried", "signs": ["new"]}
    asked = client.post(reverse("scheduling:register_caller"), typed)
    assert asked.url.startswith(reverse("clinic:register")) and "Calloway" not in asked.url
    form = read(client.get(asked.url))
    names = [form.fields(name)[0].value for name in ("given_name", "family_name", "phone")]
    assert names == ["Ines", "Calloway", "01 234"]
    fields = {"given_name": "Ines", "family_name": "Calloway", "phone": "01 234", "born": "1970-02-03"}
    registered = client.post(asked.url, fields)
    found = Patient.objects.get(family_name="Calloway")
    assert registered.url.startswith(address(found)), "the call goes on, with who was registered"
    shown = read(client.get(registered.url))
    assert shown.field("In the caller's words").value == "I am worried" and shown.chosen() == [
        "signs",
        "lesion",
        "place",
    ]
    assert shown.field("new").is_chosen


def test_what_was_typed_of_one_caller_is_not_there_for_another(client, nurse):
    client.post(
        reverse("scheduling:register_caller"), {"name": "A B", "number": "1", "words": "mine", "signs": []}
    )
    assert read(client.get(address(patient()))).field("In the caller's words").value == ""

"""The pages of this app through a test client: who may, what is served, what is said."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from clinic import clock
from clinic.duties import ledger
from lesions.analysis import pipeline
from lesions.analysis.picture.allowance import UnreadablePicture
from lesions.analysis.types import Message
from lesions.looking import showing
from lesions.measuring import measure
from lesions.models import Delivery, Image, Lesion, RefusedUpload, Review, SignOff
from lesions.pictures import intake, wording
from lesions.register import register
from lesions.results import pathology
from tests import build
from tests.lesions import scene
from tests.page import read

pytestmark = pytest.mark.django_db


@pytest.fixture
def nurse():
    return build.signed_in(build.nurse())


def url(name, *args):
    return reverse(f"lesions:{name}", args=args)


# ---- registering ------------------------------------------------------------------------------


def test_a_lesion_is_registered_from_words_alone_where_no_script_runs(nurse):
    patient = build.patient()
    data = {"site": scene.ARM, "side": "left", "since": clock.today(), "view": "", "x": "", "y": ""}
    assert nurse.post(url("new_lesion", patient.pk), data).status_code == 302
    lesion = Lesion.objects.get()
    assert (lesion.side, lesion.view) == ("left", scene.place()["view"])


def test_a_side_that_contradicts_the_chart_is_said_on_the_page(nurse):
    patient = build.patient()
    data = scene.place() | {"side": "right", "since": clock.today()}
    answer = nurse.post(url("new_lesion", patient.pk), data)
    assert answer.status_code == 422 and "must agree" in read(answer)
    assert not Lesion.objects.exists()


def test_the_lesion_page_says_who_where_and_which_side(nurse):
    lesion = scene.lesion()
    page = read(nurse.get(url("lesion", lesion.pk)))
    for words in (
        str(lesion.patient),
        lesion.patient.number,
        "LEFT upper arm, front",
        "No picture of this lesion",
    ):
        assert words in page


def test_a_same_named_person_is_pointed_out(nurse):
    lesion = scene.lesion()
    other = build.patient(given_name=lesion.patient.given_name, family_name=lesion.patient.family_name)
    page = read(nurse.get(url("lesion", lesion.pk)))
    assert "is on file" in page and page.leads_to(reverse("clinic:patient", args=[other.pk]))


def test_a_sign_is_noted_and_an_examination_recorded(nurse, doctor):
    lesion = scene.lesion()
    today = str(clock.today())
    nurse.post(url("note_sign", lesion.pk), {"sign": "bleeding", "noted_on": today, "words": "on the towel"})
    assert "Urgent" in read(nurse.get(url("lesion", lesion.pk)))
    assert nurse.post(url("examined", lesion.pk), {"on": today}).status_code == 403
    build.signed_in(doctor).post(url("examined", lesion.pk), {"on": today, "outcome": "a scratch"})
    assert not register.open_signs(Lesion.objects.get()).exists()


def test_a_stale_amendment_shows_a_conflict(nurse):
    lesion = scene.lesion()
    register.amend(lesion=lesion, by=build.nurse(), revision=1, note="meanwhile")
    answer = nurse.post(url("amend_lesion", lesion.pk), {"state": "gone", "monitoring": "", "revision": 1})
    assert answer.status_code == 409


# ---- pictures ---------------------------------------------------------------------------------


def upload(data=None, name="a.jpg"):
    return SimpleUploadedFile(name, scene.jpeg() if data is None else data)


def about(**more):
    return {"taken_on": str(clock.today()), "kind": "dermoscopic", "mm_per_px": "", "scale_origin": ""} | more


def test_a_file_that_takes_too_long_to_read_is_answered_and_listed(nurse, settings):
    lesion, settings.PICTURE_SECONDS = scene.lesion(), 0.001
    answer = nurse.post(
        url("add_pictures", lesion.pk), about(picture=upload()), headers={"Accept": "application/json"}
    )
    assert answer.status_code == 422 and "takes too long; export it again" in answer.json()["error"]
    assert RefusedUpload.objects.get().code == "too_long" and "takes too long" in answer.json()["error"]
    assert not lesion.images.exists()


def test_one_file_with_a_script_is_answered_in_json(nurse):
    lesion = scene.lesion()
    address = url("add_pictures", lesion.pk)
    answer = nurse.post(address, about(picture=upload()), headers={"Accept": "application/json"})
    assert answer.status_code == 201
    assert answer.json() == {"ok": True, "error": "", "url": url("lesion", lesion.pk)}
    again = nurse.post(address, about(picture=upload()), headers={"Accept": "application/json"})
    assert again.status_code == 422 and "already filed" in again.json()["error"]
    assert not RefusedUpload.objects.exists()


def test_of_several_files_each_has_its_own_result(nurse):
    lesion = scene.lesion()
    files = [
        upload(scene.jpeg(1), "one.jpg"),
        upload(b"no picture", "two.jpg"),
        upload(scene.jpeg(3), "three.jpg"),
    ]
    page = read(nurse.post(url("add_pictures", lesion.pk), about(picture=files), follow=True))
    assert Image.objects.count() == 2
    refused = RefusedUpload.objects.get()
    assert refused.filename == "two.jpg" and wording.of_row(refused.code, refused.params) in page
    assert "one.jpg is filed" in page and "three.jpg is filed" in page


def test_a_post_without_a_file_is_answered_with_a_sentence(nurse):
    lesion = scene.lesion()
    answer = nurse.post(url("add_pictures", lesion.pk), about(), headers={"Accept": "application/json"})
    assert answer.status_code == 422 and "at least one file" in answer.json()["error"]


def test_a_scale_without_origin_files_nothing(nurse):
    lesion = scene.lesion()
    answer = nurse.post(url("add_pictures", lesion.pk), about(picture=upload(), mm_per_px="0.02"))
    assert answer.status_code == 422 and not Image.objects.exists()


def test_a_file_above_the_cap_is_refused_and_becomes_work(nurse, settings):
    settings.PICTURE_MAX_BYTES = 1000
    lesion = scene.lesion()
    nurse.post(url("add_pictures", lesion.pk), about(picture=upload()))
    assert RefusedUpload.objects.get().code == "too_large"


def test_the_copy_is_served_to_those_who_may_and_never_the_original(nurse, doctor):
    picture = scene.file(scene.lesion())
    address = url("view_image", picture.pk)
    for member, status in ((build.manager(), 403), (build.administrator(), 403), (doctor, 200)):
        assert build.signed_in(member).get(address).status_code == status
    assert Client().get(address).status_code == 302
    answer = nurse.get(address)
    body = b"".join(answer.streaming_content)
    assert body != scene.jpeg(1) and body[:3] == b"\xff\xd8\xff"
    assert answer["Content-Type"] == "image/jpeg" and answer["X-Content-Type-Options"] == "nosniff"
    assert "private" in answer["Cache-Control"] and "public" not in answer["Cache-Control"]
    assert set(Delivery.objects.values_list("member__role", flat=True)) == {"nurse", "dermatologist"}


def test_a_picture_asked_for_again_is_not_sent_twice_but_counts_as_a_look(nurse):
    picture = scene.file(scene.lesion())
    etag = nurse.get(url("view_image", picture.pk))["ETag"]
    Delivery.objects.all().delete()
    answer = nurse.get(url("view_image", picture.pk), headers={"If-None-Match": etag})
    assert answer.status_code == 304 and Delivery.objects.count() == 1


def test_the_right_is_checked_before_the_cache_is_asked():
    picture = scene.file(scene.lesion())
    answer = build.signed_in(build.manager()).get(
        url("view_image", picture.pk), headers={"If-None-Match": f'"{picture.derivative_sha256}"'}
    )
    assert answer.status_code == 403


def test_a_thumbnail_counts_as_no_look(nurse):
    picture = scene.file(scene.lesion())
    assert nurse.get(url("view_image", picture.pk) + "?thumb=1").status_code == 200
    assert not Delivery.objects.exists()


def damaged(*_, **__):
    raise UnreadablePicture("damaged")


def test_pictures_that_wait_failed_or_were_refused_are_listed_and_counted(nurse, monkeypatch):
    failing = scene.file(scene.lesion(), scene.jpeg(5))
    monkeypatch.setattr(pipeline, "measure", damaged)
    measure.measure_picture(failing.assessments.get().pk)
    waiting = scene.file(scene.lesion(), scene.jpeg(6))
    refused = intake.refuse(
        lesion=waiting.lesion, by=build.nurse(), filename="b.doc", why=Message("other_format")
    )
    page = read(nurse.get(url("pictures")))
    for words in ("damaged or incomplete", "b.doc", "not a JPEG, PNG", "waits to be measured"):
        assert words in page
    nurse.post(url("settle", refused.pk), {"revision": 1})
    assert "b.doc is settled" in read(nurse.get(url("pictures")))
    assert nurse.post(url("settle", refused.pk), {"revision": 1}).status_code == 409


# ---- decisions --------------------------------------------------------------------------------


def decide(client, review, look=True, **data):
    if look:
        for picture in showing.pictures_of(review, review.comparison):
            client.get(url("view_image", picture.pk))
    fields = {"decision": "biopsy", "revision": review.revision, "months": "", "note": ""} | data
    return client.post(url("decision", review.pk), fields)


def test_the_decision_page_shows_both_pictures_days_reasons_and_side(doctor):
    lesion = scene.lesion()
    first = scene.measured(lesion, days_ago=92)
    second = scene.measured(lesion)
    page = read(build.signed_in(doctor).get(url("decision", second.pk)))
    assert "Sign and next" in page.buttons()
    for picture in (first.assessment.image, second.assessment.image):
        assert page.shows_picture(url("view_image", picture.pk))
    for words in (
        "LEFT upper arm, front",
        "later",
        "no scale",
        "Why it waits",
        "No limits are in force",
        "Biopsy",
    ):
        assert words in page


def test_a_nurse_sees_the_page_and_cannot_sign(nurse):
    review = scene.measured(scene.lesion())
    assert "Sign and next" not in read(nurse.get(url("decision", review.pk))).buttons()
    assert decide(nurse, review).status_code == 403
    assert not SignOff.objects.exists()


def test_a_signature_without_a_look_is_refused_on_the_page(doctor):
    review = scene.measured(scene.lesion())
    client = build.signed_in(doctor)
    answer = decide(client, review, look=False)
    assert answer.status_code == 422 and "not shown to you" in read(answer)
    assert decide(client, review).status_code == 302
    assert SignOff.objects.get().by == doctor


def test_the_second_of_two_people_gets_a_conflict_page_with_what_stands(doctor):
    review = scene.measured(scene.lesion())
    first, second = build.dermatologist(name="Dr First"), build.signed_in(doctor)
    decide(build.signed_in(first), review, decision="excise")
    answer = decide(second, review, decision="reassure")
    page = read(answer)
    assert answer.status_code == 409 and "Dr First" in page and "Excise" in page
    assert SignOff.objects.get().decision == "excise"


def test_the_first_picture_can_be_chosen_for_comparison(doctor):
    lesion = scene.lesion()
    first = scene.measured(lesion, days_ago=200)
    previous = scene.measured(lesion, days_ago=100)
    last = scene.measured(lesion)
    client = build.signed_in(doctor)
    with_previous = read(client.get(url("decision", last.pk)))
    with_first = read(client.get(url("decision", last.pk) + "?with=baseline"))
    assert with_previous.shows_picture(url("view_image", previous.assessment.image_id))
    assert with_first.shows_picture(url("view_image", first.assessment.image_id))
    assert not with_first.shows_picture(url("view_image", previous.assessment.image_id))


def test_a_decision_in_person_and_an_addendum(doctor):
    lesion, client = scene.lesion(), build.signed_in(doctor)
    client.post(
        url("decide_in_person", lesion.pk), {"decision": "excise", "months": "", "note": "seen in the room"}
    )
    signed = SignOff.objects.get()
    client.post(url("add_addendum", signed.pk), {"text": "the patient agrees"})
    page = read(client.get(url("lesion", lesion.pk)))
    assert "seen in the room" in page and "the patient agrees" in page


def test_the_manager_sees_what_waits_and_no_picture():
    review = scene.measured(scene.lesion())
    client = build.signed_in(build.manager())
    page = read(client.get(url("decisions")))
    assert str(review.lesion.patient) in page and not page.leads_to(url("decision", review.pk))
    assert client.get(url("decision", review.pk)).status_code == 403


def test_the_queue_says_which_sign_makes_it_urgent(nurse):
    review = scene.measured(scene.lesion())
    register.note_sign(lesion=review.lesion, by=build.nurse(), sign="bleeding")
    assert "noted as bleeding" in read(nurse.get(url("decisions")))
    register.examine_in_person(lesion=review.lesion, by=build.dermatologist())
    assert "noted as bleeding" not in read(nurse.get(url("decisions")))


def test_unflagged_lesions_are_counted_and_one_click_away(nurse):
    review = scene.measured(scene.lesion())
    Review.objects.filter(pk=review.pk).update(flagged=False)
    page = read(nurse.get(url("decisions")))
    assert "One lesion inside every limit" in page and page.leads_to(url("unflagged"))
    assert read(nurse.get(url("unflagged"))).leads_to(url("decision", review.pk) + "?list=unflagged")


# ---- results ----------------------------------------------------------------------------------


def test_a_specimen_waits_is_reported_and_told(nurse, doctor):
    lesion, client = scene.lesion(), build.signed_in(doctor)
    today = str(clock.today())
    procedure = {
        "kind": "biopsy",
        "on": today,
        "lesion": lesion.pk,
        "site": "",
        "note": "",
        "sutures": "true",
    }
    assert client.post(url("new_procedure", lesion.patient_id), procedure).status_code == 302
    taken = lesion.procedures.get()
    assert taken.sutures is True
    link = f"{url('new_diagnosis', lesion.patient_id)}?procedure={taken.pk}"
    assert read(client.get(url("results"))).leads_to(link)
    report = {"procedure": taken.pk, "lesion": "", "code": "melanoma", "reported_on": today, "anchor": today}
    report |= {
        "thickness": "0.80",
        "ulceration": "false",
        "n": "N0",
        "m": "M0",
        "stage": "IB",
        "stage_basis": "clinical",
    }
    assert client.post(link, report).status_code == 302
    row = lesion.diagnoses.get()
    assert (row.thickness, row.ulceration, row.procedure) == ("0.80", False, taken)
    assert "melanoma, invasive" in read(nurse.get(url("results")))
    duty = ledger.open_duties(lesion.patient).get(kind="tell")
    told = {
        "revision": duty.revision,
        "outcome": "told",
        "on": today,
        "told_to": "patient",
        "how": "phone",
        "words": "it",
    }
    for status in (302, 409):
        assert client.post(reverse("clinic:settle_duty", args=[duty.pk]), told).status_code == status


def test_whether_sutures_were_left_can_be_said_afterwards_once(doctor):
    lesion, client = scene.lesion(), build.signed_in(doctor)
    row = pathology.record_procedure(
        patient=lesion.patient, by=doctor, kind="excision", on=clock.today(), lesion=lesion
    )
    page = url("sutures", row.pk)
    assert "Excision of" in read(client.get(page))
    given = {"revision": row.revision, "sutures": "no"}
    assert client.post(page, given).status_code == 302
    row.refresh_from_db()
    assert row.sutures is False
    assert client.post(page, given).status_code == 409
    shown = read(client.get(reverse("clinic:patient", args=[lesion.patient_id])))
    assert "left no sutures" in shown


def test_a_fault_in_a_report_is_said_on_the_form(doctor):
    lesion, client = scene.lesion(), build.signed_in(doctor)
    report = {"lesion": lesion.pk, "code": "melanoma", "reported_on": str(clock.today()), "thickness": "thin"}
    answer = client.post(url("new_diagnosis", lesion.patient_id), report)
    assert answer.status_code == 422 and "millimetres as reported" in read(answer)


# ---- patient page -----------------------------------------------------------------------------


def test_the_patient_page_has_a_ledger_of_lesions(nurse):
    lesion = scene.lesion()
    scene.measured(lesion)
    page = read(nurse.get(reverse("clinic:patient", args=[lesion.patient_id])))
    for words in (
        "LEFT upper arm, front",
        "first picture",
        "1 watched",
    ):
        assert words in page
    assert page.leads_to(url("new_lesion", lesion.patient_id))

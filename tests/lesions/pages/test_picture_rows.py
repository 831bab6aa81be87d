"""The rows of Pictures: each says whose lesion it is, what became of the file, and leads to what mends it."""

import pytest
from django.urls import reverse

from lesions.measuring import measure
from lesions.models import Assessment, RefusedUpload
from lesions.pictures import intake, storage
from tests import build
from tests.lesions import scene
from tests.page import read

pytestmark = pytest.mark.django_db


@pytest.fixture
def nurse():
    return build.signed_in(build.nurse())


def pictures(client):
    return read(client.get(reverse("lesions:pictures")))


def test_a_picture_that_waits_says_which_attempt_it_is(nurse):
    image = scene.file(scene.lesion())
    assert "attempt" not in pictures(nurse).text
    Assessment.objects.filter(image=image).update(attempts=2)
    page = pictures(nurse)
    assert ", attempt 2" in page.text and page.leads_to(reverse("lesions:lesion", args=[image.lesion_id]))


def test_one_that_failed_says_why_and_of_which_lesion_it_is(nurse):
    image = scene.file(scene.lesion())
    storage.path(image.sha256).write_bytes(b"rotten")
    measure.measure_picture(image.assessments.get().pk)
    page, lesion = pictures(nurse), image.lesion
    assert "The stored file has changed on the disk; restore it from the backup." in page.text
    assert page.find("button", f"Measure again: the picture of lesion {lesion.label} of {lesion.patient}")


def test_a_refused_file_says_who_sent_it_and_is_settled_here(nurse):
    lesion, by = scene.lesion(), build.nurse(name="Ada & Bea")
    refused = intake.PictureRefused("empty")
    intake.refuse(lesion=lesion, by=by, filename="<b>.doc", why=refused.message)
    page = pictures(nurse)
    assert "<b>.doc" in page.text and "by Ada & Bea" in page.text and "The file is empty." in page.text
    assert page.leads_to(reverse("lesions:settle", args=[RefusedUpload.objects.get().pk]))

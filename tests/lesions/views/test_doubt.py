"""Doubt governs on pages: it stands before every figure that was made on a doubtful outline."""

import pytest
from django.test import Client
from django.urls import reverse

from lesions.models import Assessment
from tests import build
from tests.lesions import scene
from tests.page import read

pytestmark = pytest.mark.django_db

ASK = "The turned picture gives another outline. Check it."


@pytest.fixture
def review():
    """A picture whose outline is in doubt, with a diameter that was measured on it."""
    review = scene.measured(scene.lesion())
    row = {
        "name": "feret",
        "value": 8.4,
        "unit": "mm",
        "uncertainty": 0.1,
        "method": {"code": "feret", "params": {}},
        "doubtful": True,
    }
    doubt = [{"code": "turns_disagree", "params": {}}]
    result = review.assessment.result | {"doubt": doubt, "measures": [row]}
    Assessment.objects.filter(pk=review.assessment_id).update(result=result)
    return review


def page(name, key):
    client = Client()
    client.force_login(build.dermatologist())
    return read(client.get(reverse(name, args=[key]))).text


def test_the_decision_page_says_the_doubt_before_the_figure(review):
    said = page("lesions:decision", review.pk)
    assert ASK in said and said.index(ASK) < said.index("8.4 mm")
    assert "in doubt, largest distance across" in said


def test_the_lesion_and_patient_pages_mark_the_figure(review):
    assert "outline in doubt" in page("lesions:lesion", review.lesion_id)
    assert "8.4 mm ± 0.1 in doubt" in page("clinic:patient", review.lesion.patient_id)


def test_why_it_waits_begins_with_the_doubt(review):
    assert next(flag.code for flag in review.flags.all()) == "doubtful"

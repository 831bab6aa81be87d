"""The drawn change map: made by the worker, kept as a file, shown beside the decision."""

from dataclasses import replace

import pytest
from django.test import Client
from django.urls import reverse

from lesions.analysis.drawing import phantom
from lesions.models import Comparison, Delivery
from tests import build
from tests.lesions import scene
from tests.lesions.pictures.test_outlines import MOLE, SCALE, drawn
from tests.page import read

pytestmark = pytest.mark.django_db


@pytest.fixture
def doctor():
    client = Client()
    client.force_login(build.dermatologist())
    return client


def map_url(comparison):
    return reverse("lesions:change_map", args=[comparison.pk])


def test_growth_is_drawn_kept_and_shown(doctor):
    lesion = scene.lesion()
    later = phantom.grown(replace(phantom.recaptured(MOLE, 5), mm_per_px=MOLE.mm_per_px), 1.5)
    scene.measured(lesion, drawn(MOLE), days_ago=90, **SCALE)
    review = scene.measured(lesion, drawn(later), **SCALE)
    address = map_url(review.comparison)
    assert read(doctor.get(reverse("lesions:decision", args=[review.pk]))).shows_picture(address)
    answer = doctor.get(address)
    assert answer["Content-Type"] == "image/png" and answer["X-Content-Type-Options"] == "nosniff"
    assert b"".join(answer.streaming_content).startswith(b"\x89PNG")
    assert not Delivery.objects.exists()  # a map is no look at the pictures
    assert doctor.get(address, headers={"If-None-Match": answer["ETag"]}).status_code == 304


def test_where_nothing_aligns_there_is_no_map(doctor):
    lesion = scene.lesion()
    scene.measured(lesion, days_ago=90)
    review = scene.measured(lesion)
    comparison = Comparison.objects.get()
    assert (comparison.aligned, comparison.map_sha256) == (False, "")
    assert doctor.get(map_url(comparison)).status_code == 404
    assert not read(doctor.get(reverse("lesions:decision", args=[review.pk]))).shows_picture(
        map_url(comparison)
    )

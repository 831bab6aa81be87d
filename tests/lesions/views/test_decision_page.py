"""The decision page and what stands beside it: which item comes next, drafts, and looking before the figures."""

import pytest
from django.test import Client
from django.urls import reverse

from lesions.models import Draft, Flag, Review
from lesions.review import signoff
from tests import build
from tests.lesions import scene
from tests.lesions.review.test_signoff import look
from tests.page import read

pytestmark = pytest.mark.django_db


@pytest.fixture
def doctor():
    build.flags_in_force()
    return build.dermatologist()


@pytest.fixture
def page(doctor):
    client = Client()
    client.force_login(doctor)
    return client


@pytest.fixture
def three(doctor):
    reviews = [scene.measured(scene.lesion(), days_ago=days) for days in (3, 2, 1)]
    for review in reviews:
        Flag.objects.create(review=review, code="area_growth", params={"sentence": "It grew."})
        look(review, doctor)
    Review.objects.update(flagged=True)
    return [Review.objects.get(pk=review.pk) for review in reviews]


def url(name, *args):
    return reverse(f"lesions:{name}", args=args)


def said(review, **more):
    return {"decision": "excise", "revision": review.revision, "note": "", **more}


def test_the_item_that_the_page_named_comes_next_while_it_waits(page, three):
    first, second, third = three
    shown = page.get(url("decision", first.pk))
    assert shown.context["next_key"] == second.pk and 'name="next"' in shown.content.decode()
    answer = page.post(url("decision", first.pk), said(first, next=third.pk))
    assert answer.url == url("decision", third.pk)


def test_a_named_item_that_somebody_signed_meanwhile_does_not_come(page, three):
    first, second, third = three
    other = build.dermatologist()
    look(second, other)
    signoff.record(review_id=second.pk, by=other, decision="excise", revision=second.revision)
    answer = page.post(url("decision", first.pk), said(first, next=second.pk))
    assert answer.url == url("decision", third.pk)
    assert page.post(url("decision", third.pk), said(third, next=third.pk)).url == url("decisions")


def test_a_draft_of_what_is_decided_is_not_kept(page, three, doctor):
    first = three[0]
    signoff.record(review_id=first.pk, by=doctor, decision="excise", revision=first.revision)
    assert page.post(url("draft", first.pk), {"note": "late"}).status_code == 409
    answer = page.post(url("impression", first.pk), {"impression": "act"}, follow=True)
    assert answer.status_code == 200 and not Draft.objects.exists()


def test_looking_first_is_switched_on_the_page_itself(page, three):
    address = url("decision", three[0].pk)
    assert "It grew." in read(page.get(address))
    answer = page.post(url("look_first"), {"review": three[0].pk})
    hidden = read(page.get(answer.url))
    assert answer.url == address and "It grew." not in hidden and hidden.button("F always look first")
    page.post(url("look_first"), {"review": three[0].pk})
    assert "It grew." in read(page.get(address))

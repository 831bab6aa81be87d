"""The decision page and what stands beside it: which item comes next, drafts, and looking before the figures."""

import pytest
from django.test import Client
from django.urls import reverse

from lesions.models import Comparison, Draft, Flag, Review, SignOff
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


def test_a_script_gets_the_next_page_in_the_answer(page, three):
    first, second, _ = three
    answer = page.post(url("decision", first.pk), said(first, next=second.pk), headers={"X-Next": "1"})
    shown = read(answer)
    assert answer.status_code == 200 and answer["Content-Location"] == url("decision", second.pk)
    assert "Signed: Excise" in shown and str(second.lesion.patient) in shown
    assert answer.context["review"] == second and not shown.find_all("navigation", "Places")
    looked = page.post(url("look", second.pk), {"seal": answer.context["seal"]})
    assert looked.status_code == 201 and "Decisions 2" in read(looked.json()["places"])
    again = said(second, seal=answer.context["seal"])
    assert page.post(url("decision", second.pk), again).status_code == 302


def test_nobody_who_looks_first_signs_before_an_impression(page, three):
    first = three[0]
    Review.objects.filter(pk=first.pk).update(look_first=True)
    address = url("decision", first.pk)
    refused = page.post(address, said(first))
    assert refused.status_code == 422 and "Key your first impression" in read(refused)
    assert not SignOff.objects.exists()
    page.post(url("impression", first.pk), {"impression": "act"})
    page.post(address, said(first))
    assert SignOff.objects.get().impression == "act"


def test_before_the_first_impression_no_drawn_change_is_offered(page, three):
    review = scene.measured(three[0].lesion)
    Comparison.objects.filter(later=review.assessment).update(map_sha256="0" * 64)
    assert "what changed" in read(page.get(url("decision", review.pk)))
    Review.objects.filter(pk=review.pk).update(look_first=True)
    assert "what changed" not in read(page.get(url("decision", review.pk)))


def test_a_manager_sees_the_list_and_no_picture_of_it(three):
    client = Client()
    client.force_login(build.manager())
    shown = read(client.get(url("decisions")))
    assert str(three[0].lesion.patient) in shown and not shown.find_all("img")
    assert not shown.leads_to(url("decision", three[0].pk))
    picture = url("view_image", three[0].assessment.image_id)
    assert not shown.shows_picture(f"{picture}?thumb=1") and client.get(picture).status_code == 403

"""The sheet that asks for an excision, in a real browser: whole on the screen, and one A4 sheet on paper."""

import re

import pytest
from django.db import transaction
from django.urls import reverse

from lesions.register import register
from lesions.results import pathology
from lesions.review import signoff
from tests import build
from tests.browser.chromium import SCREENS
from tests.browser.test_whole_loop import SPEC, jpeg, sign_in
from tests.lesions import scene

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def lesion():
    """As much as such a sheet ever carries: signs, pictures, an overview, more reports than it shows, long words."""
    with transaction.atomic():
        build.rules_in_force(), build.flags_in_force(), build.tiers_in_force()
        doctor, patient = build.dermatologist(name="Dr I. Signer"), build.patient(sex="female")
        found = scene.lesion(patient)
        for days in (100, 4):
            scene.measured(found, days_ago=days)
        scene.file(found, scene.jpeg(500, (90, 120)), kind="overview")
        for sign in ("bleeding", "growing", "raised", "firm"):
            register.note_sign(lesion=found, by=doctor, sign=sign)
        for days in range(20, 25):
            facts = {"code": "bcc", "reported_on": build.days_ago(days), "report_number": f"H {days}/2026"}
            pathology.record_diagnosis(patient=patient, by=doctor, **facts)
        found.refresh_from_db()
        words = "Please cut with 2 mm of skin around it, along the line of the arm. " * 6
        signed = signoff.decide_in_person(lesion=found, by=doctor, decision="excise", note=words)
        signoff.add_addendum(signoff=signed, by=doctor, text="The blue-grey part lies towards the elbow.")
    return found


def sheets(page, lesion, name, query="?") -> int:
    """Print it, and count the sheets of paper."""
    page.goto(reverse("lesions:tissue_request", args=[lesion.pk]) + query)
    page.wait_for_load_state("networkidle")
    paper = page.pdf(path=SCREENS / f"{name}.pdf", format="A4", prefer_css_page_size=True)
    return len(re.findall(rb"/Type\s*/Page\b", paper))


def words(length, end):
    """Write ordinary words, each sentence of them with this end, as many as a form takes."""
    sentence = "Please cut with 2 mm of skin around it, along the line of the arm."
    return ((sentence + end) * (length // len(sentence) + 1))[:length]


def test_the_longest_note_leaves_one_sheet(page, lesion):
    with transaction.atomic():
        doctor = build.dermatologist(name="Dr I. Signer")
        # What was measured with no doubt takes more lines than what was not.
        scene.measured(lesion, data=jpeg(SPEC))
    sign_in(page, build.nurse(name="T. Nurse"))
    longest = signoff.LONGEST_NOTE
    for note, added in ((500, 100), (1400, 0), (1300, 1000), (longest, 0), (longest, longest)):
        for end in (" ", "\n"):
            with transaction.atomic():
                lesion.refresh_from_db()
                said = {"decision": "excise", "note": words(note, end)}
                signed = signoff.decide_in_person(lesion=lesion, by=doctor, **said)
                if added:
                    signoff.add_addendum(signoff=signed, by=doctor, text=words(added, end))
            assert sheets(page, lesion, f"request-{note}-{added}") == 1, (note, added, end)
            assert page.locator(".request-note").inner_text().count("Please cut") >= note // 80


def test_the_request_fills_one_sheet(page, lesion, shot):
    sign_in(page, build.nurse(name="T. Nurse"))
    page.goto(reverse("lesions:lesion", args=[lesion.pk]))
    page.get_by_role("link", name="Request on paper").click()
    page.wait_for_load_state("networkidle")
    shot("request")
    assert page.evaluate("document.documentElement.scrollWidth") <= 1366
    assert sheets(page, lesion, "request-pictures") == 1
    assert sheets(page, lesion, "request", "?pictures=no") == 1
    page.set_viewport_size({"width": 320, "height": 640})
    assert page.evaluate("document.documentElement.scrollWidth") <= 320

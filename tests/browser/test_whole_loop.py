"""The whole loop in a real browser: risk, lesion, two pictures, sign-off, plan, call, booking, missed visit, audit.

Real rows, a real Celery worker behind a real broker, and pictures drawn with known truth: the later one is the
same lesion grown over one side. The three-month interval of the second picture: Altamura et al., Arch Dermatol
2008;144:502-506. The check every six to twelve months for high risk: Australian optimal care pathway, 2nd ed.
"""

import io
import re
from datetime import datetime, time, timedelta
from functools import cache

import pytest
import time_machine
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from clinic import clock, jobs
from clinic.models import Patient
from lesions.analysis.drawing import phantom
from lesions.models import Assessment, Lesion, Review, SignOff
from scheduling.models import Appointment, Recall
from tests import build
from tests.browser.conftest import wait_until

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SPEC = phantom.Phantom(seed=11, axes_mm=(4.4, 3.6))
LATER = phantom.recaptured(phantom.grown(SPEC, 1.25, one_sided=True), seed=12)
ASSESSED = 400  # days ago: the window of the check (6 to 12 months) has closed


@cache
def jpeg(spec) -> bytes:
    out = io.BytesIO()
    phantom.draw(spec).image.save(out, "JPEG", quality=92)
    return out.getvalue()


@pytest.fixture
def staff():
    build.rules_in_force()
    build.flags_in_force()
    build.tiers_in_force()
    return {
        "nurse": build.nurse(name="R. Nurse"),
        "dermatologist": build.dermatologist(name="Dr M. Doctor"),
        "manager": build.manager(name="H. Manager"),
    }


def sign_in(page, member) -> None:
    page.context.clear_cookies()
    page.goto("/login/")
    page.get_by_label("Username").fill(member.username)
    page.get_by_label("Password").fill(build.PASSWORD)
    page.locator("main button[type=submit]").click()
    expect(page.get_by_text(member.name)).to_be_visible()


def submit(page, name: str) -> None:
    page.locator("main").get_by_role("button", name=name).click()


def register_and_assess(page) -> Patient:
    page.goto(reverse("clinic:register"))
    page.get_by_label("Given name").fill("Wilhelmina")
    page.get_by_label("Family name").fill("Orchard-Pike")
    page.get_by_label("Date of birth").fill("1959-03-02")
    page.locator("#id_phone").fill("000 5550 17")
    submit(page, "Register")
    page.get_by_role("link", name="Assess the risk").click()
    page.get_by_label("Assessed on").fill(build.days_ago(ASSESSED).isoformat())
    page.get_by_label("Moles on the whole body").select_option("over100")
    page.get_by_label("Atypical moles").select_option("1-5")
    page.get_by_label("Skin phototype").select_option("II")
    submit(page, "Record")
    expect(page.locator("main")).to_contain_text("More than 100 moles")
    return Patient.objects.get(family_name="Orchard-Pike")


def mark_on_chart(page, patient, shot) -> Lesion:
    page.get_by_role("link", name="Add lesion").click()
    page.wait_for_url("**/lesions/new/")  # loaded with its script: a click before that marks nothing
    page.get_by_role("radio", name="LEFT upper arm, front").click()
    page.get_by_role("radio", name="LEFT", exact=True).check()
    shot("1-body-chart")
    submit(page, "Register the lesion")
    expect(page.locator("main")).to_contain_text("LEFT upper arm, front")
    return Lesion.objects.get(patient=patient)


def upload(page, lesion, spec, days_ago: int, name: str) -> Assessment:
    """File a picture in the browser, then wait until the Celery worker has measured it."""
    page.goto(reverse("lesions:lesion", args=[lesion.pk]))
    page.get_by_label("Taken on").fill(build.days_ago(days_ago).isoformat())
    page.get_by_label("Millimetres per pixel").fill(str(spec.mm_per_px))
    page.get_by_label("Where the scale comes from").select_option("device")
    file = {"name": name, "mimeType": "image/jpeg", "buffer": jpeg(spec)}
    page.locator("input[type=file]").set_input_files([file])
    if page.locator("button", has_text="File the pictures").is_visible():
        submit(page, "File the pictures")
    wait_until(
        lambda: Assessment.objects.filter(image__filename=name, state="done").exists(), f"measuring {name}"
    )
    return Assessment.objects.get(image__filename=name)


def test_nobody_is_forgotten_and_no_change_is_overlooked(page, worker, staff, shot):
    sign_in(page, staff["nurse"])
    patient = register_and_assess(page)
    lesion = mark_on_chart(page, patient, shot)
    upload(page, lesion, SPEC, 91, "baseline.jpg")
    later = upload(page, lesion, LATER, 0, "three-months-later.jpg")
    page.reload()
    shot("2-lesion")

    review = Review.objects.get(lesion=lesion, state="waiting")
    codes = set(review.flags.values_list("code", flat=True))
    assert review.assessment == later and review.comparison.aligned and "area_growth" in codes
    # Looking first is drawn by lot, by a worker beside this process: here the figures are wanted at once.
    Review.objects.filter(pk=review.pk).update(look_first=False)

    sign_in(page, staff["dermatologist"])
    page.goto(reverse("lesions:decisions"))
    page.get_by_role("link", name=re.compile("Look at lesion 1 of Wilhelmina")).click()
    expect(page.locator("figure img")).to_have_count(2)
    page.wait_for_load_state("networkidle")
    expect(page.locator("main, aside").filter(has_text="The area grew").first).to_be_visible()
    shot("3-decision")
    page.wait_for_selector("[data-decoded]")
    page.get_by_label("months").fill("3")  # the months are part of the choice
    page.get_by_role("button", name="Sign and next").click()
    page.wait_for_selector("[data-said] .desk-consequences:not(.empty) p")
    page.wait_for_timeout(400)
    page.get_by_role("button", name="Sign and next").click()
    page.wait_for_url(
        re.compile(r"/decisions/$")
    )  # nothing else waits: the list, and the page has come to rest
    wait_until(lambda: SignOff.objects.filter(lesion=lesion).exists(), "the signature")
    signed = SignOff.objects.get(lesion=lesion)
    assert signed.by == staff["dermatologist"] and len(signed.seen) == 2

    wait_until(
        lambda: Recall.objects.filter(patient=patient, subject=f"lesion:{lesion.pk}").exists(), "planning"
    )
    check = Recall.objects.get(patient=patient, purpose="full_skin_check")
    window = (check.earliest, check.target, check.latest)
    assert check.latest < clock.today()

    jobs.chores(midday())  # the morning's chores: what is due, the list, the count
    sign_in(page, staff["manager"])
    open_hours(page)
    sign_in(page, staff["nurse"])
    page.goto(reverse("scheduling:today"))
    expect(page.locator("main")).to_contain_text("Wilhelmina Orchard-Pike")
    shot("4-today")
    row = page.locator(".row", has_text="Wilhelmina").filter(has_text="skin check")
    row.get_by_role("button", name="Call").click()
    shot("5-call")
    week_by_week(page)
    book_in_the_call(page)
    check.refresh_from_db()
    assert check.state == "booked"

    booked = Appointment.objects.get(patient=patient)
    with time_machine.travel(booked.starts_at + timedelta(hours=20)):
        jobs.chores(midday())
        sign_in(page, staff["nurse"])
        page.goto(reverse("scheduling:today"))
        page.locator(".row", has_text="Wilhelmina").get_by_role("button", name="Did not come").click()
        expect(page.locator("body")).to_contain_text("original dates")
        check.refresh_from_db()
        assert (check.state, check.reopened) == ("due", 1)
        assert (check.earliest, check.target, check.latest) == window

        sign_in(page, staff["manager"])
        page.goto(reverse("scheduling:missed") + "?count=now")
        row = page.get_by_role("row", name=re.compile("Wilhelmina Orchard-Pike"))
        expect(row).to_contain_text("missed the visit")
        expect(page.locator("main")).to_contain_text("Both agree.")
        shot("6-missed")


def midday() -> datetime:
    return timezone.make_aware(datetime.combine(clock.today(), time(12)))


def open_hours(page) -> None:
    """Bookable hours tomorrow, by the manager."""
    page.goto(reverse("scheduling:open_hours"))
    form = page.locator("main form")
    form.get_by_label("Room or person").fill("Room 2")
    form.get_by_label("Day").fill((clock.today() + timedelta(days=1)).isoformat())
    form.get_by_label("From").fill("09:00")
    form.get_by_label("Until").fill("12:00")
    form.get_by_role("button").click()
    page.wait_for_url(f"**{reverse('scheduling:sessions')}")


def week_by_week(page) -> None:
    """The next week of places comes, and this one again, while what was typed on the page stays."""
    page.get_by_label("Note", exact=False).last.fill("stays as typed")
    first = page.locator(".places-column legend").first.inner_text()
    page.locator("#book").get_by_role("link", name="later").click()
    expect(page.locator(".places-column legend").first).not_to_have_text(first)
    expect(page.locator("#book a[data-way=later]")).to_be_focused()
    page.locator("#book").get_by_role("link", name="earlier").click()
    expect(page.locator("#book input[name=place]").first).to_be_attached()
    expect(page.get_by_label("Note", exact=False).last).to_have_value("stays as typed")


def book_in_the_call(page) -> None:
    page.get_by_label("Spoke to the patient").check()
    page.get_by_label("How you knew who it was").select_option("date of birth")
    page.get_by_label("What was said").fill("the check after the melanoma is due")
    page.locator("#book input[name=place]").first.check(force=True)
    page.get_by_role("button", name="Log, book, next").click()
    page.wait_for_url("**/today/")

"""A worried patient rings, in a real browser: one key on any page, six acts, and a place the same day."""

from datetime import time, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from clinic import clock
from lesions.models import UrgentSign
from scheduling.models import Appointment
from tests import build
from tests.browser.test_whole_loop import sign_in
from tests.scheduling import scene

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_a_worried_patient_is_booked_in_six_acts(page):
    build.rules_in_force()
    patient = build.patient(given_name="Ines", family_name="Calloway")
    build.risk_assessment(patient)
    # Hours that are open at whatever time the suite runs, also shortly before midnight.
    for day in (clock.today(), clock.today() + timedelta(days=1)):
        scene.hours(day=day, opens=time(0), closes=time(23, 55))
    sign_in(page, build.nurse(name="R. Adeyemi"))
    page.goto(reverse("clinic:patients"))
    page.keyboard.press("u")  # 1
    page.wait_for_selector("#worried-who:focus")
    page.keyboard.type("calloway")  # 2: typed and sent
    page.keyboard.press("Enter")
    page.wait_for_selector("textarea[name=words]:focus")
    page.keyboard.type("a mole is growing, I don't know which one")  # 3
    page.get_by_label("growing").check()  # 4
    page.locator("input[name=place]").first.check()  # 5
    page.get_by_role("button", name="Note it as urgent").click()  # 6
    expect(page.locator("body")).to_contain_text("Noted as urgent, and booked")
    sign, visit = UrgentSign.objects.get(), Appointment.objects.get()
    assert (sign.patient, sign.sign, sign.lesion) == (patient, "growing", None)
    assert visit.recalls.get().urgency == "A"
    assert (timezone.localdate(visit.starts_at) - clock.today()).days <= 1

"""Who is away and who stands in: what a clinic would expect (common practice, no source)."""

import pytest
from django.test import Client
from django.urls import reverse

from clinic import clock
from clinic.access import Act, NotAllowed
from clinic.duties import ledger
from clinic.models import AuditRecord, Leave, Member, StaleRow
from clinic.people import leave
from clinic.people.leave import LeaveRefused, LeavesNobody
from tests import build
from tests.page import read

pytestmark = pytest.mark.django_db


def names(rows):
    return {row.name for row in rows}


def client_of(member):
    client = Client()
    client.force_login(member)
    return client


def test_whoever_is_away_is_not_at_work_on_those_days_and_on_no_others():
    away, here = build.dermatologist(name="A. Away"), build.dermatologist(name="H. Here")
    build.away(away, 1, 3, deputy=here)
    at_work = [names(leave.at_work(Act.SIGN_OFF, build.days_ago(-day))) for day in range(5)]
    assert [("A. Away" in found, "H. Here" in found) for found in at_work] == [
        (True, True), (False, True), (False, True), (False, True), (True, True),
    ]  # fmt: skip


def test_days_on_which_nobody_would_read_are_asked_about_first():
    first, second = build.dermatologist(), build.dermatologist()
    Member.objects.exclude(pk__in=(first.pk, second.pk)).update(is_active=False)
    build.away(first, 2, 4)
    days = {"first_day": clock.today(), "last_day": build.days_ago(-9)}
    with pytest.raises(LeavesNobody, match="Nobody would read"):
        leave.note(member=second, by=second, **days)
    noted = leave.note(member=second, by=second, all_the_same=True, **days)
    said = AuditRecord.objects.get(action="staff.leave", subject=f"clinic.leave:{noted.pk}")
    assert said.details["days_unread"] == 3


@pytest.mark.parametrize("who", ["away too", "of fewer rights", "oneself", "gone"])
def test_nobody_stands_in_who_could_not(who):
    doctor, deputy = build.dermatologist(), build.dermatologist()
    if who == "away too":
        build.away(deputy, 3, 5)
    elif who == "of fewer rights":
        deputy = build.nurse()
    elif who == "oneself":
        deputy = doctor
    else:
        Member.objects.filter(pk=deputy.pk).update(is_active=False)
        deputy.refresh_from_db()
    with pytest.raises(LeaveRefused):
        build.away(doctor, 1, 3, deputy=deputy)
    assert not Leave.objects.filter(member=doctor).exists()


def test_a_leave_is_noted_by_oneself_or_the_administrator():
    nurse, other, administrator = build.nurse(), build.nurse(), build.administrator()
    days = {"first_day": clock.today(), "last_day": clock.today()}
    with pytest.raises(NotAllowed):
        leave.note(member=nurse, by=other, **days)
    row = leave.note(member=nurse, by=administrator, **days)
    with pytest.raises(LeaveRefused, match="already"):
        leave.note(member=nurse, by=nurse, **days)
    with pytest.raises(NotAllowed):
        leave.withdraw(leave=row, by=other, revision=row.revision)
    leave.withdraw(leave=row, by=nurse, revision=row.revision)
    with pytest.raises(StaleRow):
        leave.withdraw(leave=row, by=administrator, revision=1)
    assert not leave.in_force().exists() and Leave.objects.count() == 1


def test_the_page_notes_a_leave_and_takes_it_back():
    nurse = build.nurse(name="N. Nurse")
    page, address = client_of(nurse), reverse("clinic:leaves")
    said = {"member": nurse.pk, "first_day": clock.today(), "last_day": build.days_ago(2)}
    assert "lies before" in read(page.post(address, said))
    assert page.post(address, said | {"last_day": build.days_ago(-2)}).status_code == 302
    shown = read(page.get(address))
    assert "nobody is named to stand in" in shown
    row = Leave.objects.get()
    page.post(reverse("clinic:withdraw_leave", args=[row.pk]), {"revision": row.revision})
    assert "Nobody is away" in read(page.get(address))


def test_what_was_given_to_somebody_by_name_says_who_stands_in():
    nurse, deputy = build.nurse(name="N. Nurse"), build.nurse(name="D. Deputy")
    patient = build.patient()
    duty = ledger.open_duty("write_letter", patient=patient, opened_from=patient, by=nurse, owner=nurse)
    page = client_of(build.nurse())

    def shown():
        return read(page.get(reverse("scheduling:today")))

    assert "for N. Nurse" in shown() and "stands in" not in shown()
    build.away(nurse, deputy=deputy)
    assert "D. Deputy stands in" in shown()
    Leave.objects.update(last_day=build.days_ago(1), first_day=build.days_ago(2))
    Member.objects.filter(pk=nurse.pk).update(is_active=False)
    assert "works here no more" in shown() and duty.ended_at is None

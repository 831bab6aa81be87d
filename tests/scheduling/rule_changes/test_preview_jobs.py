"""The preview of a large clinic is worked out in the background; what is shown and signed is the same."""

import pytest
from django.urls import reverse

from clinic import jobs, policies
from scheduling import background
from scheduling.models import PreviewRun
from scheduling.rule_changes import approval, preview_jobs
from scheduling.rule_changes.preview import make_preview
from tests import build
from tests.page import read
from tests.scheduling import scene
from tests.scheduling.rule_changes.test_preview import longer, shown, signed

pytestmark = pytest.mark.usefixtures("rules")


@pytest.fixture(autouse=True)
def large(monkeypatch):
    """As if even one record were too many for a page."""
    monkeypatch.setattr(background, "AT_ONCE", 0)


@pytest.fixture
def doctor(client):
    client.force_login(build.dermatologist(), backend="clinic.project.backends.ClinicBackend")
    return client


def page(client, policy):
    answer = client.get(reverse("scheduling:rules_preview", args=[policy.pk]))
    assert answer.status_code == 200
    return read(answer)


def worked(policy):
    assert isinstance(preview_jobs.find_preview(policy, scene.TODAY), PreviewRun)
    for key in preview_jobs.waiting():
        preview_jobs.work(key)
    return preview_jobs.find_preview(policy, scene.TODAY)


def test_the_page_waits_without_a_script_and_then_shows(doctor):
    recall, policy = scene.due_check(), longer()
    waits = page(doctor, policy)
    assert "is being worked out" in waits and waits.loads_again and "not begun yet" in waits
    assert "is being worked out" in page(doctor, policy) and PreviewRun.objects.count() == 1
    assert jobs.work_once("test") >= 1
    ready = page(doctor, policy)
    assert str(recall.patient) in ready and "92 days later" in ready and not ready.loads_again


def test_what_was_kept_is_what_would_be_worked_out_now():
    scene.due_check(), scene.overdue_check()
    policy = longer()
    found, fresh = worked(policy), make_preview(policy, scene.TODAY)
    assert found == fresh and found.digest == fresh.digest
    assert (found.overdue, found.moved, found.months()) == (fresh.overdue, fresh.moved, fresh.months())


def test_signing_what_was_kept_works_nothing_out_again(doctor, monkeypatch):
    scene.due_check()
    policy = longer()
    worked(policy)
    monkeypatch.setattr(approval, "make_preview", lambda *given: pytest.fail("worked out inside the request"))
    ready = page(doctor, policy)
    form = {
        "revision": policy.revision,
        "preview": ready.offered("preview"),
        "accept": ready.offered("accept"),
    }
    doctor.post(reverse("scheduling:rules_approve", args=[policy.pk]), form)
    policy.refresh_from_db()
    assert policy.state == "in_force"


def test_facts_that_change_ask_for_it_anew():
    recall, policy = scene.due_check(), longer()
    before = worked(policy)
    scene.came(recall.patient, scene.TODAY)
    with pytest.raises(policies.PolicyRefused, match="look at the preview"):
        signed(policy, before)
    assert isinstance(preview_jobs.find_preview(policy, scene.TODAY), PreviewRun) and preview_jobs.waiting()


def test_facts_that_change_while_somebody_signs_are_noticed(monkeypatch):
    """What was compared outside the transaction is compared once more inside it."""
    recall, policy = scene.due_check(), longer()
    found, real = shown(policy), approval.make_preview

    def make_and_be_overtaken(*given):
        answer = real(*given)
        scene.came(recall.patient, scene.TODAY)
        return answer

    monkeypatch.setattr(approval, "make_preview", make_and_be_overtaken)
    with pytest.raises(policies.PolicyRefused, match="look at the preview"):
        signed(policy, found)
    policy.refresh_from_db()
    assert policy.state == "proposed"


def test_a_booking_moves_no_date_and_so_asks_for_nothing():
    recall, policy = scene.due_check(), longer()
    found = worked(policy)
    scene.booked(recall)
    assert preview_jobs.find_preview(policy, scene.TODAY) == found


def test_of_two_workers_one_takes_it_and_a_dead_one_is_followed(monkeypatch):
    scene.due_check()
    run = preview_jobs.find_preview(longer(), scene.TODAY)
    calls = []
    monkeypatch.setattr(
        preview_jobs, "make_preview", lambda *given: calls.append(given) or make_preview(*given)
    )
    PreviewRun.objects.filter(pk=run.pk).update(started_at=scene.NOON)
    assert preview_jobs.waiting() == []
    preview_jobs.work(run.pk)
    assert calls == []
    with scene.later(minutes=11):
        assert preview_jobs.waiting() == [run.pk]
        preview_jobs.work(run.pk), preview_jobs.work(run.pk)
    assert len(calls) == 1


def test_a_run_that_is_gone_is_quietly_left():
    preview_jobs.work(12345)
    assert not PreviewRun.objects.exists()

"""A changed rule set shows first whose dates move (docs/domain.md "Facts in, plan out", point 7)."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic import policies
from clinic.models import AuditRecord
from clinic.tally import tally
from scheduling.models import Recall
from scheduling.planning import replan
from scheduling.rule_changes import approval, preview
from scheduling.rules.ruleset import ruleset
from tests import build
from tests.page import read
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")
FIRST = '{ every = "P3M", for = "P2Y", early = "P14D", late = "P14D" }'


def proposed(old=FIRST, new=FIRST, by=None):
    text = ruleset.shipped("default")
    assert old in text
    by = by or build.dermatologist()
    made = policies.draft(kind="rules", toml=text.replace(old, new), by=by)
    return policies.propose(policy=made, by=by, revision=made.revision)


def longer(**more):
    return proposed(new=FIRST.replace("P3M", "P6M"), **more)


def shown(policy):
    return preview.make_preview(policy, scene.TODAY)


def signed(policy, found, by=None, accepted=None):
    groups = found.lengthened if accepted is None else accepted
    return approval.approve(
        policy=policy,
        by=by or build.dermatologist(),
        revision=policy.revision,
        digest=found.digest,
        accepted=groups,
    )


def test_the_same_rules_move_nobody():
    scene.due_check(), scene.overdue_check()
    found = shown(proposed())
    assert (found.records, found.changes, found.no_answer, found.overdue) == (2, [], [], [])
    assert found.load_before == found.load_after and sum(found.load_after.values()) > 2


def test_a_longer_interval_is_named_with_its_days():
    """Excised 15 Mar 2026: three months from then is 15 Jun, six months 15 Sep: 92 days (calendar)."""
    recall = scene.due_check()
    (change,) = shown(longer()).changes
    assert (change.patient, change.days) == (recall.patient_id, 92)
    assert change.before == (recall.earliest, recall.target, recall.latest)
    assert change.after == (date(2026, 9, 1), date(2026, 9, 15), date(2026, 9, 29))
    assert change.lengthened and change.longer_by >= 92


def test_a_shorter_interval_is_no_longer_one_and_can_be_overdue_today():
    """Excised 1 Apr 2026: due 1 Jul; every month it was due 1 May, and is past since 15 May."""
    scene.check_of(scene.melanoma(date(2026, 4, 1)))
    found = shown(proposed(new=FIRST.replace("P3M", "P1M")))
    assert [one.days for one in found.changes] == [-61]
    assert not found.lengthened and found.overdue == found.changes


def test_an_interval_that_grows_only_later_is_lengthened_too():
    """The open visit keeps its window; after half a year every second one is left out."""
    recall = scene.due_check()
    early, later = FIRST.replace("P2Y", "P6M"), FIRST.replace("P3M", "P6M").replace("P2Y", "P18M")
    found = shown(proposed(new=f"{early}, {later}"))
    (change,) = found.changes
    assert not change.moved and change.lengthened and change.patient == recall.patient_id


def test_a_duty_that_is_no_longer_asked_for_is_named_as_such():
    """A patient of whom nothing else is known has no other rule, and so no answer either."""
    recall = scene.due_check()
    head, *rules = ruleset.shipped("default").split("[[rule]]")
    kept = "[[rule]]".join([head, *(rule for rule in rules if f'id = "{recall.rule}"' not in rule)])
    found = shown(proposed(ruleset.shipped("default"), kept))
    change = next(one for one in found.changes if one.purpose == "full_skin_check")
    assert change.lengthened and change.rule_after != recall.rule
    assert {one.patient for one in found.no_answer} == {recall.patient_id}


def test_nothing_is_lengthened_without_a_tick_and_each_gets_one_record():
    first, second = scene.due_check(), scene.due_check()
    policy = longer()
    found = shown(policy)
    with pytest.raises(policies.PolicyRefused, match="tick each"):
        signed(policy, found, accepted=())
    assert not AuditRecord.objects.filter(action="recall.accept_change").exists()
    assert signed(policy, found).state == "in_force"
    rows = AuditRecord.objects.filter(action="recall.accept_change")
    assert sorted(row.patient_id for row in rows) == sorted([first.patient_id, second.patient_id])
    assert rows[0].details["preview"] == found.digest and rows[0].details["changes"][0]["longer_by"] >= 92
    replan.replan_patient(first.patient_id)
    kept = Recall.objects.get(patient=first.patient, purpose="full_skin_check", state__in=("planned", "due"))
    assert kept.target == date(2026, 9, 15), "what was accepted is what is planned"


def test_a_preview_made_before_the_facts_changed_is_refused():
    recall, policy = scene.due_check(), longer()
    found = shown(policy)
    scene.came(recall.patient, scene.TODAY)
    with pytest.raises(policies.PolicyRefused, match="look at the preview"):
        signed(policy, found)


def test_a_preview_of_another_text_is_refused():
    scene.due_check()
    other = shown(longer())
    with pytest.raises(policies.PolicyRefused, match="look at the preview"):
        signed(proposed(), other)


def test_whoever_proposed_it_cannot_approve_it():
    by = build.dermatologist()
    policy = longer(by=by)
    with pytest.raises(policies.PolicyRefused, match="second person"):
        signed(policy, shown(policy), by=by)


def test_the_page_names_who_waits_longer_and_signs(signed_in):
    recall, policy = scene.due_check(), longer()
    url = reverse("scheduling:rules_preview", args=[policy.pk])
    page = read(signed_in.get(url))
    assert str(recall.patient) in page and "92 days later" in page and "Visits wanted in each month" in page
    form = {
        "revision": policy.revision,
        "preview": page.offered("preview"),
        "accept": page.offered("accept"),
    }
    signed_in.post(reverse("scheduling:rules_approve", args=[policy.pk]), form)
    policy.refresh_from_db()
    assert policy.state == "in_force"


def test_a_draft_is_shown_without_a_button(signed_in):
    made = policies.draft(kind="rules", toml=ruleset.shipped("default"), by=None)
    page = read(signed_in.get(reverse("scheduling:rules_preview", args=[made.pk])))
    assert "Approve" not in page and "has yet to be proposed" in page


def test_three_patients_ask_no_more_questions_than_one(signed_in):
    scene.due_check()
    policy = longer()
    url = reverse("scheduling:rules_preview", args=[policy.pk])
    signed_in.get(url)
    with CaptureQueriesContext(connection) as one:
        signed_in.get(url)
    scene.due_check(), scene.due_check()
    tally.keep()  # as the request does that writes them
    with CaptureQueriesContext(connection) as three:
        signed_in.get(url)
    assert len(three) == len(one) <= 25

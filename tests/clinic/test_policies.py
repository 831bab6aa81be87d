"""Two different people bring a policy into force, and a faulty text never becomes one. Common practice, no source."""

from datetime import UTC, date, datetime

import pytest
from django.db import IntegrityError, transaction

from clinic import clock, policies
from clinic.models import Policy, PolicyKind
from tests import build

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _no_checks(monkeypatch):
    monkeypatch.setattr(policies, "CHECKS", dict.fromkeys(("rules", "flags", "tiers"), lambda text: []))


def test_two_different_people_bring_a_policy_into_force():
    first, second = build.dermatologist(), build.dermatologist()
    draft = policies.draft(kind="rules", toml="a = 1", by=first)
    policies.propose(policy=draft, by=first, revision=1)
    with pytest.raises(policies.PolicyRefused, match="second person"):
        policies.approve(policy=draft, by=first, revision=2)
    policies.approve(policy=draft, by=second, revision=2)
    assert policies.in_force("rules") == draft


def test_the_database_refuses_one_pair_of_hands():
    first = build.dermatologist()
    draft = policies.draft(kind="rules", toml="a = 1", by=first)
    with pytest.raises(IntegrityError), transaction.atomic():
        Policy.objects.filter(pk=draft.pk).update(
            state="in_force", proposed_by=first, approved_by=first, in_force_from="2026-01-01"
        )


def test_a_new_version_replaces_the_old_and_keeps_it():
    old = build.policy_in_force("rules", "a = 1")
    new = build.policy_in_force("rules", "a = 2")
    old.refresh_from_db()
    assert (old.state, new.state, new.version) == ("replaced", "in_force", old.version + 1)
    assert policies.in_force("rules") == new


def test_a_faulty_text_never_becomes_a_draft(monkeypatch):
    monkeypatch.setattr(policies, "CHECKS", {"rules": lambda text: ["rule[0]: no source"]})
    with pytest.raises(policies.PolicyRefused, match="no source"):
        policies.draft(kind="rules", toml="a = 1", by=build.dermatologist())
    assert not Policy.objects.exists()


def test_a_kind_that_nobody_checks_is_refused(monkeypatch):
    monkeypatch.setattr(policies, "CHECKS", {})
    with pytest.raises(policies.PolicyRefused, match="Nothing checks"):
        policies.draft(kind="rules", toml="a = 1", by=build.dermatologist())
    assert not Policy.objects.exists()


def test_a_kind_has_one_checker():
    with pytest.raises(RuntimeError, match="have a checker already"):
        policies.register_checker(PolicyKind.RULES, lambda text: [])


def test_the_history_names_who_did_each_step_and_until_when_it_held():
    """Two signatures and their days: docs/interfaces.md "Policies: data that people approve"."""
    first, second = build.manager(), build.dermatologist()
    with clock.at(datetime(2026, 3, 2, 9, tzinfo=UTC)):
        draft = policies.draft(kind="rules", toml="a = 1", by=first)
    with clock.at(datetime(2026, 3, 3, 9, tzinfo=UTC)):
        policies.propose(policy=draft, by=first, revision=1)
    with clock.at(datetime(2026, 3, 4, 9, tzinfo=UTC)):
        policies.approve(policy=draft, by=second, revision=2)
    (only,) = policies.history("rules")
    assert [(step.by, step.at.day) for step in only.three] == [(first, 2), (first, 3), (second, 4)]
    assert only.until is None
    # 23:30 UTC on 30 June is 1 July in Dublin: the clinic's own day counts.
    with clock.at(datetime(2026, 6, 30, 23, 30, tzinfo=UTC)):
        build.policy_in_force("rules", "a = 2")
    newer, older = policies.history("rules")
    assert (older.policy, older.until) == (draft, date(2026, 7, 1)) and newer.until is None


def test_a_draft_has_one_step_and_two_to_come():
    made = policies.draft(kind="rules", toml="a = 1", by=None)
    (only,) = policies.history("rules")
    drafted, proposed, approved = only.three
    assert only.policy == made and drafted.by is None and (proposed, approved) == (None, None)

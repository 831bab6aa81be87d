"""Rows written a column at a time are those that Django itself would have written: its `bulk_create` is the oracle."""

from datetime import date

import pytest
from django.db import IntegrityError, transaction

from clinic import clock
from clinic.models import AuditRecord, insert_all
from scheduling.models import PlanProblem, Recall
from tests import build


def recall(patient, policy, **more):
    day = date(2026, 2, 28)
    dates = dict.fromkeys(("anchor", "earliest", "target", "latest", "opened_on"), day)
    reasons = [{"text": "100 % of “Ä”", "certain": None}]
    keys = {"patient_id": patient.pk, "policy_id": policy.pk, "changed_at": clock.now(), "reasons": reasons}
    words = {"purpose": "full_skin_check", "subject": "patient", "rule": "r", "urgency": "B", "state": "due"}
    return {**dates, **keys, **words, "number": 1, **more}


def rows_of(model, keys):
    found = model.objects.filter(pk__in=keys).order_by("pk").values()
    return [{name: value for name, value in row.items() if name != "id"} for row in found]


def both_ways(model, rows):
    """What stands in the database after each, in the order of the keys that were given back."""
    with transaction.atomic():
        ours = insert_all(model, rows)
        found = rows_of(model, ours)
        if model is not AuditRecord:
            model.objects.filter(pk__in=ours).delete()
        theirs = model.objects.bulk_create(model(**row) for row in rows)
    return found, rows_of(model, [row.pk for row in theirs])


def test_recalls_are_stored_as_django_stores_them(db):
    policy = build.rules_in_force()
    # More than one statement on SQLite, where one may carry 999 values.
    rows = [recall(build.patient(), policy, number=number) for number in range(1, 60)]
    found, expected = both_ways(Recall, rows)
    assert found == expected and [row["number"] for row in found] == list(range(1, 60))


def test_audit_records_and_problems_are_stored_as_django_stores_them(db):
    patient = build.patient()
    about = {
        "at": clock.now(),
        "action": "plan.make",
        "patient_id": patient.pk,
        "subject": "scheduling.plan:1",
    }
    found, expected = both_ways(AuditRecord, [about | {"details": {"due": n}} for n in range(3)])
    assert found == expected and [row["details"]["due"] for row in found] == [0, 1, 2]
    problem = {"patient_id": patient.pk, "code": "no_rule", "subject": "patient", "since": clock.today()}
    found, expected = both_ways(PlanProblem, [problem | {"params": {"about": "a % sign", "name": "Ä"}}])
    assert found == expected


def test_nothing_to_write_asks_the_database_nothing(db, django_assert_num_queries):
    with django_assert_num_queries(0):
        assert insert_all(Recall, []) == []


def test_what_must_never_be_false_is_refused_as_ever(db):
    twice = [recall(build.patient(), build.rules_in_force())] * 2
    with pytest.raises(IntegrityError), transaction.atomic():
        insert_all(Recall, twice)

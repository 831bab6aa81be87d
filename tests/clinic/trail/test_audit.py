import ast
from pathlib import Path

import pytest
from django.core.checks import run_checks
from django.db import DatabaseError, connection, transaction

from clinic import policies
from clinic.models import AuditRecord, PolicyKind, ReadRecord
from clinic.signals import facts_changed
from clinic.trail import audit, triggers
from tests import build

ROOT = Path(__file__).parents[3]
pytestmark = pytest.mark.django_db

# Every action once more, by hand: whether it changes what the planning core sees (docs/interfaces.md "Facts revision").
CHANGES_FACTS = {
    "diagnosis.amend",
    "series.discharge",
    "patient.register",
    "patient.correct_birth",
    "patient.merge",
    "patient.unmerge",
    "patient.unmerged",
    "patient.end_care",
    "patient.resume_care",
    "risk.assess",
    "patient.care_ended",
    "visit.record",
    "visit.take_back",
    "lesion.add",
    "lesion.amend",
    "lesion.sign",
    "lesion.concern",
    "lesion.examine",
    "image.add",
    "image.move",
    "image.set_aside",
    "signoff.record",
    "signoff.take_back",
    "procedure.record",
    "procedure.sutures",
    "diagnosis.record",
    "diagnosis.tell",
    "diagnosis.untell",
    "recall.close",
    "recall.take_back",
    "procedure.strike",
    "diagnosis.strike",
    "override.set",
    "override.end",
}


def test_every_action_says_whether_it_changes_facts():
    assert {name for name, action in audit.ACTIONS.items() if action.changes_facts} == CHANGES_FACTS


def recorded_actions():
    """Every action that product code writes, read from its source."""
    for app in ("clinic", "lesions", "scheduling"):
        for path in (ROOT / app).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text())):
                yield from actions_of(node)


def actions_of(node):
    """What is given to `record` or `Entry`; and what a name for it, ACTION or action, is set to."""
    if isinstance(node, ast.Call) and ast.unparse(node.func) in ("audit.record", "audit.Entry"):
        given = node.args[0]
        assert isinstance(given, ast.Constant | ast.IfExp | ast.Name), f"not to be read: {ast.unparse(node)}"
        assert not isinstance(given, ast.Name) or given.id in ("ACTION", "action"), ast.unparse(node)
        yield from texts_in(given)
    if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) in ("ACTION", "action"):
        yield from texts_in(node.value)


def texts_in(node):
    """The actions that an expression can come to; the condition of an `if` is none of them."""
    parts = [node.body, node.orelse] if isinstance(node, ast.IfExp) else [node]
    return [part.value for part in parts if isinstance(part, ast.Constant)]


@pytest.mark.parametrize(
    "line",
    ['audit.record(kind + ".add", by=None)', "audit.record(words, by=None)", "audit.Entry(ACTIONS[0], row)"],
)
def test_an_action_that_the_source_does_not_spell_out_is_refused(line):
    with pytest.raises(AssertionError):
        list(actions_of(ast.parse(line).body[0].value))


def test_nobody_takes_the_writers_of_the_trail_by_another_name():
    for app in ("clinic", "lesions", "scheduling"):
        for path in (ROOT / app).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text())):
                if isinstance(node, ast.ImportFrom) and node.module == "clinic.trail.audit":
                    assert not {"record", "Entry"} & {alias.name for alias in node.names}, path


def test_actions_that_are_recorded_and_that_are_registered_are_the_same():
    assert set(recorded_actions()) == set(audit.ACTIONS)


def test_an_action_is_registered_by_one_app_only():
    with pytest.raises(RuntimeError, match="registered already"):
        audit.register_actions({"patient.register": audit.Action("registered again", False)})


def faults_at_start():
    """What Django's own checks find, as every command and every migrate runs them."""
    return [fault.id for fault in run_checks() if fault.id.startswith("clinic.")]


def test_at_start_a_registry_that_forgot_a_line_is_an_error(monkeypatch):
    assert faults_at_start() == []
    monkeypatch.setattr(triggers, "APPEND_ONLY", triggers.APPEND_ONLY[1:])
    monkeypatch.setattr(policies, "CHECKS", dict.fromkeys(list(PolicyKind)[1:]))
    assert faults_at_start() == ["clinic.E001", "clinic.E002"]


@pytest.mark.parametrize("table", triggers.APPEND_ONLY, ids=lambda model: model._meta.label)
def test_at_start_each_table_without_its_triggers_is_named(monkeypatch, table):
    monkeypatch.setattr(triggers, "APPEND_ONLY", [one for one in triggers.APPEND_ONLY if one is not table])
    assert [fault.obj for fault in run_checks() if fault.id == "clinic.E001"] == [table]


def test_a_change_of_facts_bumps_the_revision_once():
    someone = build.patient()
    before = someone.facts_revision
    with transaction.atomic():
        row = audit.record("risk.assess", by=None, subject=someone, patient=someone)
        audit.record("review.open", by=None, subject=someone, patient=someone)
    someone.refresh_from_db()
    assert someone.facts_revision == row.facts_revision == before + 1


def test_an_unknown_action_is_refused():
    someone = build.patient()
    with pytest.raises(KeyError), transaction.atomic():
        audit.record("patient.invented", by=None, subject=someone, patient=someone)
    with pytest.raises(KeyError), transaction.atomic():
        audit.record_all([audit.Entry("patient.invented", someone, someone, {})])
    assert not AuditRecord.objects.filter(action="patient.invented").exists()


@pytest.mark.django_db(transaction=True)
def test_no_audit_record_outside_a_transaction():
    someone = build.patient()
    with pytest.raises(RuntimeError):
        audit.record("patient.amend", by=None, subject=someone, patient=someone)


@pytest.mark.parametrize("verb", ["UPDATE", "DELETE"])
@pytest.mark.parametrize("table", triggers.tables())
def test_the_triggers_stand_in_the_database(table, verb):
    names = {
        "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger'",
        "postgresql": "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal",
    }
    with connection.cursor() as cursor:
        cursor.execute(names[connection.vendor])
        assert triggers.name(table, verb) in {row[0] for row in cursor.fetchall()}


def test_an_audit_record_can_neither_be_changed_nor_deleted():
    someone = build.patient()
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        AuditRecord.objects.filter(patient=someone).update(action="patient.amend")
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        AuditRecord.objects.filter(patient=someone).delete()
    assert AuditRecord.objects.filter(patient=someone, action="patient.register").exists()


def test_a_read_record_cannot_be_deleted():
    someone = build.patient()
    audit.read(someone, by=build.nurse(), page="patient")
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        ReadRecord.objects.all().delete()


def test_dropped_triggers_come_back_with_the_next_migrate():
    table = "clinic_auditrecord"
    drop = {"sqlite": "DROP TRIGGER {0}", "postgresql": "DROP TRIGGER {0} ON " + table}[connection.vendor]
    with connection.cursor() as cursor:
        cursor.execute(drop.format(triggers.name(table, "UPDATE")))
    triggers.recreate()
    someone = build.patient()
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        AuditRecord.objects.filter(patient=someone).update(action="patient.amend")


def test_the_hint_goes_out_after_commit_only(django_capture_on_commit_callbacks):
    heard = []

    def listen(sender, patient_id, **kwargs):
        heard.append(patient_id)

    facts_changed.connect(listen)
    try:
        with django_capture_on_commit_callbacks(execute=True):
            someone = build.patient()
            assert heard == []
        assert heard == [someone.pk]
    finally:
        facts_changed.disconnect(listen)

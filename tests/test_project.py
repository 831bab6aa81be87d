import re
from pathlib import Path

from django.apps import apps

from clinic.models import Stated

OURS = ("clinic", "lesions", "scheduling")


def test_every_row_with_a_state_carries_the_revision_that_a_form_saw():
    """A stale form is shown, never merged: that needs `revision` and `changed_at` on each row that changes state."""
    stateful = [
        model
        for label in OURS
        for model in apps.get_app_config(label).get_models()
        if {"state", "status"} & {field.name for field in model._meta.get_fields()}
    ]
    known = {"Patient", "Policy", "Assessment", "Lesion", "Review", "Recall", "Appointment"}
    assert {model.__name__ for model in stateful} >= known, "one of them is found no more"
    assert [model.__name__ for model in stateful if not issubclass(model, Stated)] == []


def test_every_constraint_reads_as_a_sentence():
    names = [
        constraint.name
        for label in OURS
        for model in apps.get_app_config(label).get_models()
        for constraint in model._meta.constraints
    ]
    assert len(names) > 40
    assert [name for name in names if name.count("_") < 3 or name != name.lower()] == []


def test_the_name_of_a_test_fits_a_line():
    files = list(Path(__file__).parent.rglob("test_*.py"))
    found = [name for path in files for name in re.findall(r"def (test_\w+)", path.read_text())]
    assert len(found) > 500
    assert [name for name in found if len(name) > 70] == []

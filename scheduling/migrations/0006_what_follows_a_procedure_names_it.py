"""What follows a procedure stood under the patient: two on one day shared their duties. It is filed under the procedure."""

from django.db import migrations
from django.db.models import F

AFTER_A_PROCEDURE = ("result_visit", "wound_check", "suture_removal")
OF_THE_PATIENT = {"subject": "patient", "purpose__in": AFTER_A_PROCEDURE}


def name_the_procedure(apps, schema_editor):
    """A row that no procedure explains stays as it is; every plan concerned is made anew."""
    moved = set()
    for model, day_of in ((("scheduling", "Recall"), _anchor), (("scheduling", "Override"), _decided)):
        for row in apps.get_model(*model).objects.filter(**OF_THE_PATIENT):
            moved |= _file(apps, row, day_of(row))
    items = apps.get_model("clinic", "DoneItem").objects.filter(**OF_THE_PATIENT)
    for item in items.select_related("visit"):
        moved |= _spread(apps, item)
    patients = apps.get_model("clinic", "Patient").objects.filter(pk__in=moved)
    patients.update(facts_revision=F("facts_revision") + 1)


def _anchor(recall):
    return recall.anchor


def _decided(override):
    return override.date or override.decided_on


def _before(apps, patient_id, day):
    rows = apps.get_model("lesions", "Procedure").objects.filter(patient_id=patient_id, on__lte=day)
    return list(rows.order_by("on", "pk"))


def _file(apps, row, day):
    """The last procedure up to the day that it counts from."""
    before = _before(apps, row.patient_id, day)
    if not before:
        return set()
    type(row).objects.filter(pk=row.pk).update(subject=f"procedure:{before[-1].pk}")
    return {row.patient_id}


def _spread(apps, item):
    """What was done was done for every procedure before: each still asks whether its window had opened."""
    before = _before(apps, item.visit.patient_id, item.visit.attended_on)
    if not before:
        return set()
    model, named = type(item), [f"procedure:{cut.pk}" for cut in before]
    model.objects.filter(pk=item.pk).update(subject=named[-1])
    model.objects.bulk_create(
        model(visit_id=item.visit_id, purpose=item.purpose, subject=subject) for subject in named[:-1]
    )
    return {item.visit.patient_id}


class Migration(migrations.Migration):

    dependencies = [
        ("clinic", "0002_a_risk_assessment_names_its_criteria"),
        ("lesions", "0005_a_procedure_says_whether_it_left_sutures"),
        ("scheduling", "0005_a_dermatologist_fills_in_a_checklist"),
    ]

    operations = [migrations.RunPython(name_the_procedure, migrations.RunPython.noop)]

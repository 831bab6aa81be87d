"""What follows a procedure stood under the patient: two on one day shared their duties. It is filed under the procedure."""

from django.db import migrations
from django.db.models import F

AFTER_A_PROCEDURE = ("result_visit", "wound_check", "suture_removal")
OF_THE_PATIENT = {"subject": "patient", "purpose__in": AFTER_A_PROCEDURE}


def name_the_procedure(apps, schema_editor):
    """A row that no procedure explains stays as it is; every plan concerned is made anew."""
    moved = set()
    for row in apps.get_model("scheduling", "Override").objects.filter(**OF_THE_PATIENT):
        moved |= _file_decision(apps, row)
    for row in apps.get_model("scheduling", "Recall").objects.filter(**OF_THE_PATIENT):
        moved |= _file_duty(apps, row)
    items = apps.get_model("clinic", "DoneItem").objects.filter(**OF_THE_PATIENT)
    for item in items.select_related("visit"):
        moved |= _spread(apps, item)
    patients = apps.get_model("clinic", "Patient").objects.filter(pk__in=moved)
    patients.update(facts_revision=F("facts_revision") + 1)


def _procedures(apps, patient_id, **when):
    rows = apps.get_model("lesions", "Procedure").objects.filter(patient_id=patient_id, **when)
    return list(rows.order_by("on", "pk"))


def _before(apps, patient_id, day):
    return _procedures(apps, patient_id, on__lte=day)


def _file(row, subject):
    """Where the same duty is open already under its new subject the old one is left for the next plan to drop."""
    rows = type(row).objects
    same = rows.filter(patient_id=row.patient_id, purpose=row.purpose, subject=subject, ended_on__isnull=True)
    if row.ended_on or not same.exists():
        rows.filter(pk=row.pk).update(subject=subject)
    return {row.patient_id}


def _key(cut):
    return f"procedure:{cut.pk}"


def _file_decision(apps, override):
    """Whoever set a day meant what had been cut by then, the last of it."""
    decided = min(override.date or override.decided_on, override.decided_on)
    before = _before(apps, override.patient_id, decided)
    before = before or _before(apps, override.patient_id, override.date or decided)
    return _file(override, _key(before[-1])) if before else set()


def _file_duty(apps, recall):
    """A duty goes with the decision that it follows, or with what was cut on its anchor; a closed one with all of it."""
    if recall.rule.startswith("override:"):
        return _file(recall, _subject_of(apps, recall.rule.removeprefix("override:")))
    cut = _procedures(apps, recall.patient_id, on=recall.anchor)
    if not cut:
        return set()
    if recall.state == "closed" and recall.closed_by_id:
        for other in cut[1:]:
            _copy(recall, _key(other))
    return _file(recall, _key(cut[0]))


def _subject_of(apps, key):
    row = apps.get_model("scheduling", "Override").objects.filter(pk=key).first() if key.isdecimal() else None
    return row.subject if row else "patient"


def _copy(recall, subject):
    copy = type(recall)(**{field.attname: getattr(recall, field.attname) for field in recall._meta.concrete_fields})
    copy.pk, copy.subject = None, subject
    copy.save(force_insert=True)


def _spread(apps, item):
    """What was done was done for every procedure before: each still asks whether its window had opened."""
    before = _before(apps, item.visit.patient_id, item.visit.attended_on)
    if not before:
        return set()
    model, named = type(item), [_key(cut) for cut in before]
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

"""Two records of one person, each with something of nearly every kind; merged by two, and parted by two."""

from datetime import date, timedelta

from django.apps import apps

from clinic import clock
from clinic.duties import proposals
from clinic.merging import merging, unmerging
from clinic.models import LikelyPair, Merge, PairReason, Patient
from clinic.people import consent, visits
from clinic.people.longer_waits import MakesLonger
from lesions.register import register
from scheduling.desk import claims, contacts
from scheduling.models import Recall
from scheduling.planning import replan
from scheduling.recalls import closing
from tests import build
from tests.lesions import scene as pictures
from tests.scheduling import scene

# What says what was done, and so is not undone; what is worked out anew from the rest; and the staff.
TRAIL = {"clinic.auditrecord", "clinic.readrecord", "clinic.proposal", "clinic.likelypair"}
LEDGER = {"clinic.merge", "clinic.movedrow", "clinic.unmerge"}
WORKED_OUT = {
    "scheduling.touched",
    "scheduling.deskline",
    "clinic.tally",
    "clinic.tallymark",
    "clinic.member",
}
# A lock and no content: a page that was shown before must be refused afterwards.
LOCKS = {"revision", "facts_revision"}


def dump():
    """Every row of every table, but the trail and the ledger."""
    rows = {}
    for model in apps.get_models(include_auto_created=True):
        label = model._meta.label_lower
        if (
            model._meta.app_label in ("clinic", "lesions", "scheduling")
            and label not in TRAIL | LEDGER | WORKED_OUT
        ):
            names = [field.attname for field in model._meta.concrete_fields if field.attname not in LOCKS]
            rows[label] = list(model._base_manager.order_by("pk").values(*names))
    return rows


def differences(before, after):
    """What is not as it was: table by table, only the rows that differ."""
    found = {}
    for label, rows in before.items():
        if rows != after[label]:
            old = {row.get("id"): row for row in rows}
            new = {row.get("id"): row for row in after[label]}
            found[label] = [
                (old.get(key), new.get(key))
                for key in old.keys() | new.keys()
                if old.get(key) != new.get(key)
            ]
    return found


def rich(name="Ottilie", born=date(1961, 3, 4), phone="01632 960 111", day=None, **more):
    """A record with lesions, pictures, an operation, a result, visits, calls, a booking, duties and risk."""
    nurse, doctor = build.nurse(), build.dermatologist()
    who = build.patient(nurse, given_name=name, family_name="Marchbank", born=born, phone=phone, **more)
    consent.record(patient=who, by=nurse, given=True, on=clock.today() - timedelta(days=200))
    build.risk_assessment(who, doctor, naevi="over100")
    first, second = pictures.lesion(who, monitoring="short"), pictures.lesion(who, monitoring=None)
    pictures.file(first, pictures.jpeg(who.pk * 10), by=nurse)
    scene.melanoma(clock.today() - timedelta(days=200), patient=who)
    visits.record(
        patient=who,
        by=doctor,
        attended_on=clock.today() - timedelta(days=100),
        done=[("full_skin_check", "patient")],
    )
    register.note_sign(lesion=second, by=nurse, sign="growing")
    replan.replan_patient(who.pk)
    closing.become_due(clock.today())
    recall = Recall.objects.filter(patient=who, state="due").order_by("pk").first()
    claims.claim(patient=who, by=nurse)
    if recall:
        contacts.log_attempt(recall=recall, by=nurse, route="phone", address=phone, outcome="no_answer")
    claims.hand_back(patient=who, by=nurse)
    return who


def pair_of(one, other, reason=PairReason.BY_HAND):
    first, second = sorted((one, other), key=lambda patient: patient.pk)
    return LikelyPair.objects.create(
        one=first, other=second, reason=reason, found_on=clock.today(), due_on=clock.today()
    )


def signing(act, **fields):
    """Do it; where it makes somebody wait longer, look at the days and sign for them."""
    try:
        return act(**fields)
    except MakesLonger as error:
        return act(**fields, signed=error.signature)


def merge(survivor, gone, by=None, second=None, pair=None):
    by, second = by or build.dermatologist(), second or build.nurse()
    pair = pair or pair_of(survivor, gone)
    asked = signing(
        merging.propose,
        pair=pair,
        survivor=survivor,
        by=by,
        reason="the same passport",
        revision=pair.revision,
    )
    proposals.confirm(proposal=asked, by=second, revision=asked.revision)
    survivor.refresh_from_db(), gone.refresh_from_db()
    return Merge.objects.get(survivor=survivor, gone=gone, undone=None)


def part(done, by=None, second=None):
    by, second = by or build.dermatologist(), second or build.nurse()
    asked = signing(unmerging.propose, merge=done, by=by, reason="two sisters")
    proposals.confirm(proposal=asked, by=second, revision=asked.revision)
    return [Patient.objects.get(pk=key) for key in (done.survivor_id, done.gone_id)]

"""A record as full as they come: nine lesions with pictures, duties of every kind, calls, results, an own interval.

The plan, the lesions and what is owed are made by the same topic functions that the pages use. Rules, limits and
criteria in force are the caller's.
"""

from itertools import count

from clinic.models import Patient
from clinic.people import patients, visits
from lesions.models import Lesion
from lesions.register import register
from lesions.results import pathology
from scheduling.desk import contacts
from scheduling.models import OPEN
from scheduling.planning import replan
from scheduling.recalls import overrides
from tests import build
from tests.lesions import scene as pictures

PLACES = (
    ("41550009", "right"), ("45981001", "left"), ("244111001", "midline"), ("4578000", "left"), ("61248009", "right"),
    ("4658004", "midline"), ("47224004", "right"), ("25763004", "left"), ("72939005", "right"),
)  # fmt: skip
# How the first lesions are followed; the rest are only registered and photographed.
FOLLOWED = ("short", "long", "long", "long")
_seeds = count(7000)  # no picture is filed in two records


def full_record(lesions: int = len(PLACES)) -> Patient:
    """Build it with so many lesions, each photographed twice."""
    doctor, nurse = build.dermatologist(name="Dr R. Adeyemi"), build.nurse(name="T. Brandt")
    patient = build.patient(given_name="Ines", family_name="Calloway", interpreter="Portuguese")
    patients.add_route(patient=patient, by=nurse, kind="mobile", value="000 5550 18")
    answers = {"past_melanoma": True, "naevi": "over100", "atypical": "over10", "phototype": "II"}
    build.risk_assessment(patient, by=doctor, on=build.days_ago(130), **answers)
    _melanoma(patient, doctor)
    found = [_lesion(patient, number) for number in range(lesions)]
    _cut(patient, doctor)
    for days in (290, 200, 110):
        done = [("full_skin_check", "patient")]
        visits.record(patient=patient, by=doctor, attended_on=build.days_ago(days), done=done)
    register.note_sign(lesion=found[0], by=nurse, sign="bleeding", words="bled twice this week")
    replan.replan_patient(patient.pk)
    _own_interval(patient, doctor)
    _calls(patient, nurse)
    return patient


def _melanoma(patient, doctor):
    cut = build.days_ago(380)
    facts = {"thickness": "0.6", "ulceration": False, "n": "N0", "m": "M0", "stage_basis": "pathological"}
    row = pathology.record_diagnosis(
        patient=patient, by=doctor, code="melanoma", reported_on=cut, anchor=cut, **facts
    )
    pictures.tell(row, doctor, on=cut)


def _lesion(patient, number) -> Lesion:
    site, side = PLACES[number]
    watched = {"monitoring": FOLLOWED[number]} if number < len(FOLLOWED) else {}
    lesion = pictures.lesion(patient, **pictures.place(site, side), since=build.days_ago(200), **watched)
    for days in (190, 100):
        pictures.measured(lesion, pictures.jpeg(next(_seeds)), days_ago=days)
    return lesion


def _cut(patient, doctor):
    """Two excisions: a report that is to be told, and sutures that are to come out."""
    told = {"kind": "excision", "on": build.days_ago(9), "site": "244111001", "sutures": True}
    pathology.record_procedure(patient=patient, by=doctor, **told)
    pathology.record_diagnosis(patient=patient, by=doctor, code="bcc", reported_on=build.days_ago(2))


def _own_interval(patient, doctor):
    patient.refresh_from_db()
    overrides.set_interval(
        patient=patient, by=doctor, purpose="full_skin_check", subject="patient", interval="P2M",
        reason="two new naevi in half a year", revision=patient.facts_revision, accepted=True,
    )  # fmt: skip
    replan.replan_patient(patient.pk)


def _calls(patient, nurse):
    recall = patient.recalls.filter(state__in=OPEN).order_by("latest").first()
    for outcome in ("no_answer", "no_answer"):
        contacts.log_attempt(recall=recall, by=nurse, route="phone", address="000 5550 18", outcome=outcome)

"""One row of everything that a URL can be about."""

from datetime import datetime, time, timedelta

from django.utils import timezone

from clinic import clock, policies
from clinic.duties import ledger, limits, proposals
from clinic.people import carers, visits
from lesions.analysis.types import Message
from lesions.models import Comparison, Review
from lesions.pictures import intake, storage
from lesions.results import pathology
from lesions.review import outside, signoff
from scheduling.desk import bookable, booking, calls, contacts
from scheduling.diary import sessions
from scheduling.models import Override, PlanProblem, Resource
from scheduling.planning import ladder, replan
from scheduling.recalls import closing, overrides
from scheduling.today import worklists
from tests import build
from tests.clinic.merging import merge_scene
from tests.lesions import scene


def build_world() -> dict[str, tuple]:
    policy, flags = build.rules_in_force(), build.flags_in_force()
    tiers = build.tiers_in_force()
    nurse, doctor = build.nurse(), build.dermatologist()
    patient = build.patient(by=nurse)
    build.risk_assessment(patient, by=doctor, on=build.days_ago(400), red_hair=True)
    visit = visits.record(
        patient=patient, by=doctor, attended_on=build.days_ago(400), done=[("full_skin_check", "patient")]
    )
    lesion = scene.lesion(patient)
    image = scene.file(lesion)
    review = scene.measured(lesion, days_ago=1)
    compared = _compared(image, review.assessment)
    refused = intake.refuse(lesion=lesion, by=nurse, filename="x.jpg", why=Message("other_format"))
    signed = signoff.decide_in_person(lesion=lesion, by=doctor, decision="reassure")
    diagnosis = pathology.record_diagnosis(
        patient=patient,
        by=doctor,
        code="bcc",
        reported_on=build.days_ago(5),
        anchor=build.days_ago(10),
        lesion=lesion,
    )
    cut = pathology.record_procedure(patient=patient, by=doctor, kind="biopsy", on=build.days_ago(1))
    replan.replan_patient(patient.pk)
    closing.become_due(clock.today())
    worklists.build(clock.today())
    recall = patient.recalls.get(purpose="full_skin_check", state="due")
    duty = ledger.open_duty("find_a_way", patient=patient, opened_from=patient, by=nurse)
    proposed = proposals.propose(
        "duty.end", patient=patient, subject=duty, by=nurse, reason="she said so", ground="declined"
    )
    asked = outside.ask(
        review=Review.objects.get(lesion=lesion, state="waiting"),
        by=doctor,
        reader="A. Reader",
        place="Elsewhere",
    )
    return {
        "outside": (asked.pk,),
        "duty": (duty.pk,),
        "duty_limits": (policies.draft(kind="duty_limits", toml=limits.shipped(), by=doctor).pk,),
        "ladder": (policies.draft(kind="ladder", toml=ladder.shipped(), by=doctor).pk,),
        "proposal": (proposed.pk,),
        "pair": (merge_scene.pair_of(build.patient(), build.patient()).pk,),
        "merge": (merge_scene.merge(build.patient(), build.patient()).pk,),
        "patient": (patient.pk,),
        "route": (patient.pk, patient.routes.get().pk),
        "carer": (patient.pk, _carer(patient, nurse).pk),
        "visit": (visit.pk,),
        "member": (nurse.pk,),
        "leave": (build.away(nurse).pk,),
        "lesion": (lesion.pk,),
        "to_cut": (_to_cut(patient, doctor),),
        "image": (image.pk,),
        "comparison": (compared.pk,),
        "assessment": (image.assessments.get().pk,),
        "refused": (refused.pk,),
        "review": (Review.objects.get(lesion=lesion, state="waiting").pk,),
        "beside": (Review.objects.get(lesion=lesion, state="waiting").pk, "history"),
        "signoff": (signed.pk,),
        "wrong": (_wrong(patient, doctor),),
        "diagnosis": (diagnosis.pk,),
        "procedure": (cut.pk,),
        "policy": (policy.pk,),
        "limits": (flags.pk,),
        "tiers": (tiers.pk,),
        "recall": (recall.pk,),
        "sheet": (lesion.pk, "abcd"),
        "override": (_override(patient, doctor).pk,),
        "appointment": (_appointment(recall, nurse),),
        "call": (_call(patient, nurse),),
        **_diary(),
        "attempt": (_attempt(recall, nurse),),
        "problem": (_problem(patient),),
        "place": ("overdue",),
    }


def _carer(patient, by):
    said = {"name": "A Daughter", "relation": "daughter", "authority": "appointments"}
    return carers.add(patient=patient, by=by, valid_from=build.days_ago(10), **said)


def _problem(patient) -> int:
    """A question of the plan that is answered already: its page leads back to the patient."""
    about = {"patient": patient, "subject": "patient", "since": clock.today(), "gone_on": clock.today()}
    return PlanProblem.objects.create(
        code="what_follows", params={"about": "Melanoma", "day": str(clock.today())}, **about
    ).pk


def _compared(image, earlier) -> Comparison:
    """A comparison with a drawn map, without the seconds that drawing one takes."""
    later, now = image.assessments.get(), clock.now()
    drawn = storage.put(b"a drawn map")
    return Comparison.objects.create(
        earlier=earlier, later=later, made_at=now, aligned=True, result={"deltas": []}, map_sha256=drawn
    )


def _override(patient, by) -> Override:
    patient.refresh_from_db()
    return overrides.set_interval(
        patient=patient,
        by=by,
        purpose="risk_assessment",
        subject="patient",
        interval="P3M",
        reason="asked for",
        revision=patient.facts_revision,
    )


def _attempt(recall, by) -> int:
    made = {"route": "phone", "address": "000", "outcome": "no_answer"}
    return contacts.log_attempt(recall=recall, by=by, **made).pk


def _call(patient, by) -> int:
    return calls.log(patient=patient, by=by, route="phone", address="000", outcome="no_answer").pk


def _appointment(recall, by) -> int:
    tomorrow = clock.today() + timedelta(days=1)
    room = Resource.objects.create(name="Room 1")
    bookable.open_session(resource=room, day=tomorrow, opens=time(9), closes=time(17), by=build.manager())
    starts_at = timezone.make_aware(datetime.combine(tomorrow, time(10)))
    return booking.book(recalls=[recall], resource=room, starts_at=starts_at, by=by).pk


def _diary() -> dict[str, tuple]:
    """A session that comes again, a single one, a closed day; none of them tomorrow."""
    day, manager = clock.today() + timedelta(days=9), build.manager()
    hours = {"opens": time(9), "closes": time(12), "by": manager}
    room, other = (Resource.objects.create(name=name) for name in ("Room 2", "Room 3"))
    return {
        "free_place": (room.pk, timezone.make_aware(datetime.combine(day, time(9))).isoformat()),
        "template": (sessions.set_template(resource=room, first_day=day, **hours).pk,),
        "session": (bookable.open_session(resource=other, day=day, **hours).pk,),
        "closure": (bookable.close_day(day=day, reason="training", by=manager).pk,),
    }


def _to_cut(patient, doctor) -> int:
    """A lesion with a signed excision that is not done: its request can be printed."""
    review = scene.measured(scene.lesion(patient), scene.jpeg(78))
    signoff.decide_in_person(
        lesion=review.lesion, by=doctor, decision="excise", note="2 mm of skin around it"
    )
    return review.lesion.pk


def _wrong(patient, doctor):
    """A picture that a dermatologist called one of another lesion."""
    review = scene.measured(scene.lesion(patient), scene.jpeg(77))
    said = {"decision": "wrong_subject", "revision": review.revision, "in_person": True}
    return signoff.record(review_id=review.pk, by=doctor, **said).pk

"""Each clinical event, done through the topic function that a page calls; the clock already stands at its moment."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from clinic import clock
from clinic.duties import ledger, steps
from clinic.duties.telling import THE_PATIENT
from clinic.models import Member, Patient, Purpose
from clinic.models.visit import ABOUT
from clinic.people import ending, patients, risk, visits
from clinic.project.demo import events as e
from clinic.project.demo.calendar import Calendar
from clinic.project.demo.people import PHONE
from clinic.project.demo.pictures import Picture
from clinic.project.demo.processes import Workers, measure
from lesions.analysis.types import Message
from lesions.looking import showing
from lesions.models import Assessment, Diagnosis, JobState, Lesion, Procedure, Review, ReviewState
from lesions.pictures import intake
from lesions.register import bodymap, register
from lesions.results import pathology
from lesions.review import signoff

# An average person: each history names only what is not so.
NO_FACTORS: Mapping[str, Any] = {
    "naevi": "0-15",
    "atypical": "0",
    "phototype": "III",
    "red_hair": False,
    "blue_eyes": False,
    "relatives": 0,
    "other_relatives": 0,
    "gene_carrier": False,
    "past_melanoma": False,
    "several_melanomas": False,
    "dysplastic_syndrome": False,
    "past_keratinocyte": False,
    "family_keratinocyte": False,
    "many_keratoses": False,
    "some_keratoses": False,
    "sunburns": False,
    "blistering_burns": False,
    "sunbeds": False,
    "immunosuppressed": False,
    "transplanted": False,
}
# Two ticks of a printed ruler can be read to about this part of their distance; common practice, no source.
RULER_UNCERTAINTY = 0.02
SITES = {words: code for code, words in bodymap.SITES}


@dataclass(frozen=True)
class DemoClinic:
    """Who works here, on which days, and what draws and measures the pictures."""

    calendar: Calendar
    nurses: tuple[Member, ...]
    dermatologists: tuple[Member, ...]
    workers: Workers


@dataclass
class Part:
    """One patient while the histories are played: what later events refer to."""

    number: int
    person: e.Person
    pictures: Mapping[e.Shot, tuple[Picture, bytes]]
    patient: Patient = field(init=False)
    moles: dict[str, Lesion] = field(default_factory=dict)
    specimen: Procedure | None = None
    diagnosis: Diagnosis | None = None

    @property
    def doctor(self) -> int:
        """Say whose patient it is: they are shared out between the two dermatologists, and the two nurses."""
        return self.number % 2

    nurse = doctor

    @property
    def is_registered(self) -> bool:
        return hasattr(self, "patient")


def register_patient(demo: DemoClinic, part: Part) -> None:
    person = part.person
    part.patient = patients.register(
        by=demo.nurses[part.nurse],
        given_name=person.given_name,
        family_name=person.family_name,
        born=date(*person.born),
        address_hint=person.town,
        interpreter=person.interpreter,
        phone=PHONE.format(part.number),
        sex=person.sex,
        practitioner=person.practitioner,
        referrer=person.referrer,
        photographs=person.photographs,
    )


def assess_risk(demo: DemoClinic, part: Part, event: e.Risk) -> None:
    risk.assess(
        patient=part.patient,
        by=demo.dermatologists[part.doctor],
        assessed_on=clock.today(),
        note=event.note,
        **{**NO_FACTORS, **event.factors},
    )


def see(demo: DemoClinic, part: Part, event: e.Seen) -> None:
    done = [(purpose, _about(part, purpose)) for purpose in event.done]
    by = demo.dermatologists[part.doctor]
    visits.record(patient=part.patient, by=by, attended_on=clock.today(), done=done, note=event.note)


def _about(part: Part, purpose: str) -> str:
    if ABOUT[Purpose(purpose)] == "patient":
        return "patient"
    assert part.specimen is not None
    return f"procedure:{part.specimen.pk}"


def add_mole(demo: DemoClinic, part: Part, event: e.Mole) -> None:
    code = SITES[event.site]
    view, x, y = bodymap.centre(code, event.side)
    part.moles[event.key] = register.add(
        patient=part.patient,
        by=demo.nurses[part.nurse],
        site=code,
        side=event.side,
        view=view,
        x=round(x, 1),
        y=round(y, 1),
        monitoring=event.monitoring,
        note=event.note,
    )


def photograph(demo: DemoClinic, part: Part, event: e.Shot) -> None:
    picture, data = part.pictures[event]
    intake.accept(
        lesion=part.moles[event.mole],
        by=demo.nurses[part.nurse],
        data=data,
        filename=picture.filename,
        taken_on=clock.today(),
        mm_per_px=picture.mm_per_px,
        scale_origin="ruler" if picture.mm_per_px else None,
        scale_uncertainty=RULER_UNCERTAINTY if picture.mm_per_px else None,
    )


def refuse(demo: DemoClinic, part: Part, event: e.Refused) -> None:
    mole = part.moles[event.mole]
    intake.refuse(lesion=mole, by=demo.nurses[0], filename=event.filename, why=Message("other_format"))


def note_sign(demo: DemoClinic, part: Part, event: e.Noted) -> None:
    mole = part.moles[event.mole]
    register.note_sign(lesion=mole, by=demo.nurses[part.nurse], sign=event.sign, words=event.words)


def measure_queued(demo: DemoClinic) -> None:
    """Measure everything that waits, each picture as of soon after it was queued."""
    # By the day of the picture: a comparison looks at what was taken before.
    waiting = Assessment.objects.filter(state=JobState.QUEUED).order_by("image__taken_on", "pk")
    rows = list(waiting.values_list("pk", "queued_at", "image__lesion"))
    while rows:
        # One round holds one picture of a lesion: the later of two is compared with the earlier.
        lesions = {lesion: (pk, at) for pk, at, lesion in reversed(rows)}
        demo.workers.map(measure, list(lesions.values()))
        rows = [row for row in rows if lesions[row[2]][0] != row[0]]


def decide(demo: DemoClinic, part: Part, event: e.Decided) -> None:
    """Sign a decision on the pictures that wait, or in person where there are none."""
    measure_queued(demo)
    mole, by = part.moles[event.mole], demo.dermatologists[part.doctor]
    # Measuring may have opened a review and changed the row since the mole was registered.
    mole.refresh_from_db()
    review = Review.objects.filter(lesion=mole, state=ReviewState.WAITING).first()
    if review is None:
        signoff.decide_in_person(
            lesion=mole,
            by=by,
            decision=event.decision,
            months=event.months,
            note=event.note,
            all_the_same=True,
        )
    else:
        sign(review, by, event)


def sign(review: Review, by: Member, event: e.Decided) -> None:
    """Sign a review, its pictures opened before, as on the page, and what the page asks answered."""
    for picture in showing.pictures_of(review, review.comparison):
        intake.deliver(image=picture, to=by)
    signoff.record(
        review_id=review.pk,
        by=by,
        decision=event.decision,
        revision=review.revision,
        months=event.months,
        note=event.note,
        all_the_same=True,
    )


def cut(demo: DemoClinic, part: Part, event: e.Cut) -> None:
    mole = part.moles.get(event.mole)
    by = demo.dermatologists[part.doctor]
    part.specimen = pathology.record_procedure(
        patient=part.patient,
        by=by,
        kind=event.kind,
        on=clock.today(),
        lesion=mole,
        sutures=event.kind == "excision",
    )


def report(demo: DemoClinic, part: Part, event: e.Reported) -> None:
    specimen = part.specimen
    part.diagnosis = pathology.record_diagnosis(
        patient=part.patient,
        by=demo.dermatologists[part.doctor],
        code=event.code,
        reported_on=clock.today(),
        procedure=specimen,
        anchor=specimen.on if specimen and event.anchored else None,
        **event.facts,
    )


def tell(demo: DemoClinic, part: Part, event: e.Told) -> None:
    assert part.diagnosis is not None
    by = demo.dermatologists[part.doctor]
    pathology.tell(
        diagnosis=part.diagnosis, by=by, told=THE_PATIENT, how="in_person",
        words="The result, and what follows from it.",
    )  # fmt: skip
    # A report from elsewhere follows no procedure of this clinic: the patient comes and nothing of one is done.
    after = ("result_visit", "wound_check") if part.specimen else ()
    done = [(purpose, _about(part, purpose)) for purpose in after]
    visits.record(patient=part.patient, by=by, attended_on=clock.today(), done=done)
    _answer_what_follows(part.patient, by)


def _answer_what_follows(patient: Patient, by: Member) -> None:
    """Answer margins, node and meeting after an invasive melanoma, once the patient knows."""
    for duty in ledger.open_duties(patient).filter(kind__in=("margins", "node", "meeting")):
        words = "Agreed at the surgeons' meeting of the region."
        steps.settle(duty=duty, by=by, revision=duty.revision, outcome="elsewhere", words=words)


def end_care(demo: DemoClinic, part: Part, event: e.CareEnds) -> None:
    # Read when the patient was registered, and much has changed the row in the two years since.
    part.patient.refresh_from_db()
    ending.end_care(
        patient=part.patient,
        by=demo.dermatologists[part.doctor],
        revision=part.patient.revision,
        status=event.status,
        on=clock.today(),
        ground=event.ground,
    )

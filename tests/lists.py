"""For every page that lists something: the page, and what adds one more row to it, of each kind of row that it shows.

A builder returns a pair: `where()` gives the arguments and the query of the page, `add()` puts one more row of each kind on
it and returns words of that row which the page must show. The clinic stands at one fixed noon, with rules, limits and tier
criteria in force.
"""

from collections.abc import Callable
from datetime import date, time, timedelta
from itertools import count
from typing import Any

from clinic import clock, policies
from clinic.duties import ledger, proposals
from clinic.duties import limits as duty_limits
from clinic.merging import merging
from clinic.models import Patient, Policy, RiskAssessment
from clinic.people import ending, leave, patients, risk, visits
from clinic.trail import audit
from lesions.analysis.types import Message
from lesions.limits import flags
from lesions.measuring import measure
from lesions.models import Flag, Lesion, Review
from lesions.pictures import intake, storage
from lesions.register import register
from lesions.register.subjects import lesion_words
from lesions.results import in_error, pathology
from lesions.review import signoff
from scheduling.checklists import records
from scheduling.desk import bookable, claims, contacts
from scheduling.diary import sessions
from scheduling.models import Claim, Recall, Resource
from scheduling.planning import ladder, replan
from scheduling.recalls import closing
from scheduling.rule_changes import approval, preview
from scheduling.rules.ruleset import ruleset
from scheduling.today import worklists
from tests import build
from tests.clinic.merging import merge_scene
from tests.lesions import scene as pictures
from tests.scheduling import scene

Where = Callable[[], tuple[tuple[Any, ...], dict[str, str]]]
Add = Callable[[], list[str]]
_seeds = count(1000)

# A clinic that wants more than 40 moles in the high tier, and one whose first checks lie farther apart; both invented.
STRICTER = risk.shipped().replace('naevi.is = "over100"', 'naevi.in = ["41-100", "over100"]', 1)
FIRST = '{ every = "P3M", for = "P2Y", early = "P14D", late = "P14D" }'
LONGER = ruleset.shipped("default").replace(FIRST, FIRST.replace("P3M", "P6M"))


def at(*args: Any, **query: str) -> Where:
    return lambda: (args, query)


def _name() -> str:
    return f"Row{next(_seeds)}"


def _draft(kind: str, toml: str) -> Policy:
    """One more version, proposed by a person whose name stands on the page."""
    first = build.dermatologist(name=_name())
    made = policies.draft(kind=kind, toml=toml, by=first)
    return policies.propose(policy=made, by=first, revision=made.revision)


def _version(kind: str, toml: str) -> str:
    return _draft(kind, toml).proposed_by.name


def _measured(lesion: Lesion, **more: Any) -> Review:
    return pictures.measured(lesion, pictures.jpeg(next(_seeds)), **more)


def _day(days_ago: int) -> date:
    return scene.TODAY - timedelta(days=days_ago)


# ---- patients and their records -----------------------------------------------------------------


def patient_list() -> tuple[Where, Add]:
    return at(), lambda: [build.patient(given_name="Same", family_name="Name").number]


def patient_page() -> tuple[Where, Add]:
    patient, days = scene.melanoma(_day(300)), count(1)

    def add() -> list[str]:
        route = patients.add_route(patient=patient, by=build.nurse(), kind="phone", value=_name())
        cut, lesion = _to_sew(patient, next(days)), pictures.lesion(patient)
        scene.came(
            patient,
            _day(next(days)),
            ("full_skin_check", "patient"),
            ("lesion_examination", f"lesion:{lesion.pk}"),
        )
        _measured(lesion)
        register.note_sign(lesion=lesion, by=build.nurse(), sign="bleeding")
        told = pathology.record_diagnosis(patient=patient, by=build.dermatologist(), code="bcc", reported_on=scene.TODAY,
                                          anchor=_day(next(days)), lesion=lesion)  # fmt: skip
        replan.replan_patient(patient.pk)
        return [route.value, f"lesion {lesion.label}", f"{cut.on.day} {cut.on:%b}", told.get_code_display()]

    return at(patient.pk), add


def _to_sew(patient: Patient, days_ago: int) -> Any:
    facts = {"kind": "excision", "on": _day(days_ago), "site": "66643007", "sutures": True}
    return pathology.record_procedure(patient=patient, by=build.dermatologist(), **facts)


def audit_trail() -> tuple[Where, Add]:
    patient = build.patient()

    def add() -> list[str]:
        by = build.nurse(name=_name())
        patients.add_route(patient=patient, by=by, kind="phone", value=_name())
        return [by.name]

    return at(patient.pk), add


def staff_trail() -> tuple[Where, Add]:
    by, today = build.nurse(), clock.today()

    def add() -> list[str]:
        patient = build.patient(by, family_name=_name())
        audit.read(patient, by=by, page="patient")
        return [str(patient)]

    return at(member=str(by.pk), first=f"{today}", last=f"{today}"), add


def _whose_tier_differs() -> str:
    name = _name()
    patient = build.patient(family_name=name)
    build.risk_assessment(patient, on=_day(5), naevi="41-100")
    return name


def tiers_page() -> tuple[Where, Add]:
    """Who was assessed under the criteria before, and would be in another tier now."""
    before = risk.in_force()
    build.policy_in_force("tiers", STRICTER)

    def add() -> list[str]:
        name, version = _whose_tier_differs(), _version("tiers", STRICTER)
        RiskAssessment.objects.update(policy=before, tier="average")
        return [name, version]

    return at(), add


def tiers_version() -> tuple[Where, Add]:
    proposed = _draft("tiers", STRICTER)
    return at(proposed.pk), lambda: [_whose_tier_differs(), _version("tiers", STRICTER)]


def staff() -> tuple[Where, Add]:
    return at(), lambda: [build.nurse(name=_name()).name]


def leaves() -> tuple[Where, Add]:
    def add() -> list[str]:
        away, deputy = build.nurse(name=_name()), build.nurse(name=_name())
        build.away(away, deputy=deputy)
        return [away.name, deputy.name]

    return at(), add


def pair_list() -> tuple[Where, Add]:
    def add() -> list[str]:
        one, other = build.patient(family_name=_name()), build.patient(family_name=_name())
        pair = merge_scene.pair_of(one, other)
        said = {"reason": "the same card", "revision": pair.revision}
        merging.propose(pair=pair, survivor=one, by=build.nurse(), **said)
        visits.record(
            patient=one, by=build.nurse(), attended_on=scene.TODAY, done=[("risk_assessment", "patient")]
        )
        return [str(one), str(other)]

    return at(), add


def parting_page() -> tuple[Where, Add]:
    done = merge_scene.merge(build.patient(), build.patient())

    def add() -> list[str]:
        by = build.nurse(name=_name())
        patients.add_route(patient=done.survivor, by=by, kind="phone", value=_name())
        return [by.name]

    return at(done.pk), add


def visit_form() -> tuple[Where, Add]:
    """What can be ticked: each procedure has rows of its own."""
    patient, days = build.patient(), count(1)

    def add() -> list[str]:
        cut = _to_sew(patient, next(days))
        replan.replan_patient(patient.pk)
        return [f"{cut.on.day} {cut.on:%b %Y}"]

    return at(patient.pk), add


def _forms_with_lesions() -> tuple[Where, Add]:
    patient = build.patient()

    def add() -> list[str]:
        lesion = pictures.lesion(patient)
        _to_sew(patient, 3)
        return [f"{lesion.label} · LEFT"]

    return at(patient.pk), add


# ---- lesions, pictures, decisions, results ------------------------------------------------------


def lesion_page() -> tuple[Where, Add]:
    lesion, days = pictures.lesion(), count(1)
    visit = scene.came(lesion.patient, _day(1))
    entries = {"asymmetry": "1", "border": "2", "colours": ["red"], "structures": ["dots"]}

    def add() -> list[str]:
        doctor = build.dermatologist(name=_name())
        _measured(lesion, days_ago=90 - next(days))
        register.note_sign(lesion=lesion, by=build.nurse(), sign="bleeding", words=_name())
        register.examine_in_person(lesion=lesion, by=doctor)
        signed = signoff.decide_in_person(lesion=lesion, by=doctor, decision="reassure", note=_name())
        added = signoff.add_addendum(signoff=signed, by=doctor, text=_name())
        records.fill(lesion=lesion, visit=visit, by=doctor, kind="abcd", entries=entries)
        return [doctor.name, signed.note, added.text]

    return at(lesion.pk), add


def tissue_request_sheet() -> tuple[Where, Add]:
    lesion, doctor, days = pictures.lesion(), build.dermatologist(), count(1)
    signed = signoff.decide_in_person(lesion=lesion, by=doctor, decision="excise", note="2 mm")

    def add() -> list[str]:
        number = next(days)
        # Two measured pictures from the first: a pair of them is there as soon as one is.
        _measured(lesion, days_ago=90 - 2 * number), _measured(lesion, days_ago=89 - 2 * number)
        register.note_sign(lesion=lesion, by=build.nurse(), sign="growing", noted_on=_day(number))
        facts = {"code": "benign", "reported_on": _day(number), "report_number": _name()}
        report = pathology.record_diagnosis(patient=lesion.patient, by=doctor, **facts)
        added = signoff.add_addendum(signoff=signed, by=doctor, text=_name())
        return [report.report_number, added.text]

    return at(lesion.pk), add


def picture_list() -> tuple[Where, Add]:
    def add() -> list[str]:
        failing, waiting = (pictures.file(pictures.lesion(), pictures.jpeg(next(_seeds))) for _ in range(2))
        storage.path(failing.sha256).write_bytes(b"rotten")
        measure.measure_picture(failing.assessments.get().pk)
        refused = {"lesion": waiting.lesion, "by": build.nurse(), "why": Message("other_format")}
        refusal = intake.refuse(filename=f"{_name()}.doc", **refused)
        return [str(failing.lesion.patient), str(waiting.lesion.patient), refusal.filename]

    return at(), add


def _waiting(flagged: bool) -> str:
    review = _measured(pictures.lesion(build.patient(given_name="Same", family_name="Name")))
    if flagged:
        register.note_sign(lesion=review.lesion, by=build.nurse(), sign="bleeding")
    Review.objects.filter(pk=review.pk).update(flagged=flagged)
    return review.lesion.patient.number


def _proposed() -> list[str]:
    """One of each proposal that waits in Decisions: a duty, a record, a lesion, a procedure, a recall."""
    nurse, recall = build.nurse(name=_name()), scene.due_check()
    patient = recall.patient
    cut, lesion = _to_sew(patient, 3), pictures.lesion(patient)
    about = {"patient": patient, "by": nurse}
    duty = ledger.open_duties(patient).first()
    said = {"ground": "declined", "urgent": True}
    proposals.propose("duty.end", subject=duty, reason="wants no more", **about, **said)
    ending.propose(status="moved", on=scene.TODAY, ground="to the coast", **about)
    register.amend_or_propose(
        lesion=lesion,
        by=nurse,
        revision=lesion.revision,
        state="gone",
        monitoring=None,
        note="",
        reason="seen by him",
    )
    in_error.propose(row=cut, by=nurse, reason="of another patient")
    closing.propose_closing(
        recall=recall, by=nurse, revision=recall.revision, ground="declined", note="wants no more checks"
    )
    return [nurse.name, f"{cut.on.day} {cut.on:%b}"]


def decision_list() -> tuple[Where, Add]:
    return at(), lambda: [_waiting(flagged=True), *_proposed()]


def unflagged_list() -> tuple[Where, Add]:
    return at(), lambda: [_waiting(flagged=False)]


def decision_page() -> tuple[Where, Add]:
    lesion = pictures.lesion()
    _measured(lesion, days_ago=90)
    review = _measured(lesion)

    def add() -> list[str]:
        flag = Flag.objects.create(review=review, code=_name(), params={"sentence": _name()})
        return [flag.params["sentence"]]

    return at(review.pk), add


def decision_sheet() -> tuple[Where, Add]:
    """The history beside the decision: who decided, and what was noted."""
    review = _measured(pictures.lesion())

    def add() -> list[str]:
        doctor = build.dermatologist(name=_name())
        signoff.decide_in_person(lesion=review.lesion, by=doctor, decision="reassure")
        return [doctor.name]

    return at(review.pk, "history"), add


def put_right_page() -> tuple[Where, Add]:
    """The other lesions of the patient, to one of which the picture belongs."""
    review = _measured(pictures.lesion())
    said = {"decision": "wrong_subject", "revision": review.revision, "in_person": True}
    signed = signoff.record(review_id=review.pk, by=build.dermatologist(), **said)
    return at(signed.pk), lambda: [f"{pictures.lesion(review.lesion.patient).label} · LEFT"]


def duty_limits_page() -> tuple[Where, Add]:
    return at(), lambda: [_version("duty_limits", duty_limits.shipped())]


def worried_page() -> tuple[Where, Add]:
    patient = build.patient()
    return at(patient.pk), lambda: [lesion_words(pictures.lesion(patient))]


def ladder_page() -> tuple[Where, Add]:
    return at(), lambda: [_version("ladder", ladder.shipped())]


def ladder_version() -> tuple[Where, Add]:
    return at(_draft("ladder", ladder.shipped()).pk), lambda: [_version("ladder", ladder.shipped())]


def duty_limits_version() -> tuple[Where, Add]:
    return at(_draft("duty_limits", duty_limits.shipped()).pk), lambda: [
        _version("duty_limits", duty_limits.shipped())
    ]


def limits_page() -> tuple[Where, Add]:
    return at(), lambda: [_version("flags", flags.shipped())]


def limits_version() -> tuple[Where, Add]:
    made = _draft("flags", flags.shipped())
    return at(made.pk), lambda: [_version("flags", flags.shipped())]


def results_list() -> tuple[Where, Add]:
    """Tissue that waits, a result to be told, one to be completed, and a corrected one to be read."""

    def add() -> list[str]:
        doctor = build.dermatologist()
        facts = {"by": doctor, "reported_on": _day(2)}
        waits, reported, amended = pictures.lesion(), pictures.lesion(), pictures.lesion()
        _biopsy(waits, doctor)
        tells = {"lesion": reported, "procedure": _biopsy(reported, doctor), "tells": doctor}
        pathology.record_diagnosis(patient=reported.patient, code="melanoma", **tells, **facts)
        row = pathology.record_diagnosis(patient=amended.patient, code="benign", lesion=amended, **facts)
        said = {"by": doctor, "revision": row.revision, "why": "second opinion"}
        pathology.amend_diagnosis(diagnosis=row, code="bcc", **said)
        return [str(one.patient) for one in (waits, reported, amended)]

    return at(), add


def _biopsy(lesion: Lesion, by: Any) -> Any:
    facts = {"kind": "biopsy", "on": _day(20)}
    return pathology.record_procedure(patient=lesion.patient, lesion=lesion, by=by, **facts)


def diagnosis_versions() -> tuple[Where, Add]:
    doctor, lesion = build.dermatologist(), pictures.lesion()
    facts = {"code": "melanoma", "reported_on": _day(2), "lesion": lesion}
    row = pathology.record_diagnosis(patient=lesion.patient, by=doctor, **facts)
    _biopsy(lesion, doctor)  # still without a report: it can be named with every version

    def add() -> list[str]:
        row.refresh_from_db()
        by, why = build.dermatologist(name=_name()), _name()
        cut = _biopsy(lesion, by)
        pathology.amend_diagnosis(diagnosis=row, by=by, revision=row.revision, why=why, procedure=cut)
        return [by.name, why]

    return at(row.pk), add


# ---- the day, the recalls, the diary ------------------------------------------------------------


def today_page() -> tuple[Where, Add]:
    """To phone, claimed by somebody else, booked for this morning without an outcome, and booked too late."""

    def add() -> list[str]:
        to_phone, with_other, came = scene.due_check(), scene.due_check(), scene.due_check()
        claimed_by = build.nurse(name=_name())
        with scene.later(hours=5):  # when the page is asked for: a claim holds for half an hour
            claims.claim(patient=with_other.patient, by=claimed_by)
        scene.booked(came)
        late = scene.overdue_check()
        scene.booked(late)
        rows = (to_phone, with_other, came, late)
        return [str(row.patient) for row in rows] + [claimed_by.name]

    return at(), add


def recall_page() -> tuple[Where, Add]:
    recall, days = scene.due_check(), count(1)
    scene.hours(day=scene.TODAY + timedelta(1))

    def add() -> list[str]:
        by, patient = build.nurse(), recall.patient
        route = patients.add_route(patient=patient, by=by, kind="phone", value=_name())
        told = {"outcome": "no_answer", "note": _name()}
        contacts.log_attempt(recall=recall, by=by, route="phone", address=route.value, **told)
        pathology.record_procedure(
            patient=patient, by=build.dermatologist(), kind="biopsy", on=_day(4 + next(days))
        )
        replan.replan_patient(patient.pk)
        return [route.value, told["note"]]

    return at(recall.pk), add


def call_page() -> tuple[Where, Add]:
    """One more number, one more call, and one more thing that is owed for the patient of a recall."""
    where, of_recall = recall_page()
    args, query = where()
    patient = Recall.objects.get(pk=args[0]).patient

    def add() -> list[str]:
        Claim.objects.filter(patient=patient).update(by=None)  # whoever read the page has opened the call
        words = of_recall()
        ledger.open_duty(
            "write_letter", patient=patient, opened_from=Recall(pk=next(_more)), by=build.nurse()
        )
        worklists.bring_up_to_date()
        return words[:1]

    return lambda: ((patient.pk,), query), add


_more = count(10_000)


def diary_page() -> tuple[Where, Add]:
    """Whoever is booked, where and with whom, and what is free beside it."""

    def add() -> list[str]:
        visit, doctor = scene.booked(scene.due_check()), build.dermatologist(name=_name())
        visit.resource.sessions.update(clinician=doctor)
        return [str(visit.patient), visit.resource.name, doctor.name]

    return at(), add


def diary_day_to_book() -> tuple[Where, Add]:
    """Who may have a place of the diary."""
    room = scene.hours()
    return at(room.pk, scene.at(14).isoformat()), lambda: [str(scene.due_check().patient)]


def sessions_page() -> tuple[Where, Add]:
    """A session that comes again, a single one, somebody away, a closed day."""
    days = count(1)

    def add() -> list[str]:
        day, manager, away = (
            scene.TODAY + timedelta(next(days)),
            build.manager(),
            build.dermatologist(name=_name()),
        )
        hours = {"opens": time(9), "closes": time(12), "by": manager}
        rooms = [Resource.objects.create(name=_name()) for _ in range(2)]
        sessions.set_template(resource=rooms[0], first_day=day, clinician=build.dermatologist(), **hours)
        bookable.open_session(resource=rooms[1], day=day, clinician=build.dermatologist(), **hours)
        leave.note(member=away, first_day=day, last_day=day, by=away, all_the_same=True)
        closed = bookable.close_day(day=day, reason=_name(), by=manager)
        return [rooms[0].name, rooms[1].name, away.name, closed.reason]

    return at(), add


def clinician_form() -> tuple[Where, Add]:
    return at(), lambda: [build.dermatologist(name=_name()).name]


def capacity_page() -> tuple[Where, Add]:
    """Counts, and no names: the week in which the check is wanted."""
    return at(), lambda: [(scene.due_check(), scene.overdue_check()) and "15 Jun 2026"]


def move_page() -> tuple[Where, Add]:
    """One more room with a single free place on the first day."""
    visit = scene.booked(scene.due_check(), scene.at(day=scene.TODAY + timedelta(2)))

    def add() -> list[str]:
        room = scene.hours(day=scene.TODAY + timedelta(1), name=_name(), opens=time(9), closes=time(9, 20))
        return [room.name]

    return at(visit.pk), add


def places_part() -> tuple[Where, Add]:
    """Free places of a day: one more room with a clinician of its own."""
    recall = scene.due_check()

    def add() -> list[str]:
        room, doctor = (
            scene.hours(name=_name(), opens=time(14), closes=time(15)),
            build.dermatologist(name=_name()),
        )
        room.sessions.update(clinician=doctor)
        return [room.name, doctor.name]

    return at(recall.pk, span="day"), add


def places_to_move() -> tuple[Where, Add]:
    visit = scene.booked(scene.due_check(), scene.at(day=scene.TODAY + timedelta(2)))
    day = scene.TODAY + timedelta(1)

    def add() -> list[str]:
        return [scene.hours(day=day, name=_name(), opens=time(9), closes=time(9, 20)).name]

    return at(visit.pk, span="day", day=day.isoformat()), add


def came_form() -> tuple[Where, Add]:
    visit = scene.booked(scene.due_check())

    def add() -> list[str]:
        cut = _to_sew(visit.patient, next(_seeds) % 9 + 1)
        replan.replan_patient(visit.patient_id)
        return [f"{cut.on.day} {cut.on:%b}"]

    return at(visit.pk), add


def checklist_form() -> tuple[Where, Add]:
    lesion, days = pictures.lesion(), count(1)

    def add() -> list[str]:
        _measured(lesion, days_ago=next(days))
        came = scene.came(lesion.patient, _day(next(days)))
        return [f"{came.attended_on.day} {came.attended_on:%b %Y}"]

    return at(lesion.pk, "abcd"), add


# ---- who is missed, what nobody can answer ------------------------------------------------------


def _overdue() -> Patient:
    recall = scene.overdue_check(high=True)
    route = recall.patient.routes.get()
    contacts.log_attempt(
        recall=recall, by=build.nurse(), route="phone", address=route.value, outcome="no_answer"
    )
    return recall.patient


def missed_page() -> tuple[Where, Add]:
    return at(), lambda: [str(_overdue())]


def past_misses_page() -> tuple[Where, Add]:
    """A recall and a duty past their limits, of patients whom a dermatologist of that name had seen."""

    def add() -> list[str]:
        by, patient = build.dermatologist(name=_name()), _overdue()
        visits.record(patient=patient, by=by, attended_on=_day(60), done=[("risk_assessment", "patient")])
        pathology.record_procedure(
            patient=patient, by=by, kind="biopsy", on=_day(50), site="66643007", sutures=False
        )
        return [by.name]

    return at(), add


def missed_csv() -> tuple[Where, Add]:
    return at(), lambda: [_overdue().number]


def place_page() -> tuple[Where, Add]:
    return at("overdue"), lambda: [str(_overdue())]


def problem_list() -> tuple[Where, Add]:
    """A person without a risk assessment, and one whose schedule is over and asks what follows."""

    def add() -> list[str]:
        without, over = build.patient(), scene.melanoma(date(2014, 1, 15))
        for patient in (without, over):
            replan.replan_patient(patient.pk)
        return [str(without)]

    return at(), add


# ---- rules --------------------------------------------------------------------------------------


def rules_page() -> tuple[Where, Add]:
    return at(), lambda: [scene.due_check() and "", _version("rules", LONGER)]


def rules_version() -> tuple[Where, Add]:
    made = _draft("rules", LONGER)
    return at(made.pk), lambda: [scene.due_check() and "", _version("rules", LONGER)]


def rules_preview() -> tuple[Where, Add]:
    made = _draft("rules", LONGER)
    return at(made.pk), lambda: [str(scene.due_check().patient)]


def rules_accepted() -> tuple[Where, Add]:
    """Each time another set is approved, since what was accepted with one never grows."""
    spans = iter(("P6M", "P9M", "P12M", "P15M"))

    def where() -> tuple[tuple[Any, ...], dict[str, str]]:
        policy = _draft("rules", ruleset.shipped("default").replace(FIRST, FIRST.replace("P3M", next(spans))))
        found = preview.make_preview(policy, scene.TODAY)
        signed = {"revision": policy.revision, "digest": found.digest, "accepted": found.lengthened}
        approval.approve(policy=policy, by=build.dermatologist(), **signed)
        for pk in Patient.objects.values_list("pk", flat=True):
            replan.replan_patient(pk)
        return (policy.pk,), {}

    return where, lambda: [str(scene.due_check().patient)]


def suppose_page() -> tuple[Where, Add]:
    patient = scene.due_check().patient

    def add() -> list[str]:
        lesion = scene.mark(patient, monitoring="short", since=scene.TODAY)
        _to_sew(patient, next(_seeds) % 9 + 1)
        replan.replan_patient(patient.pk)
        return [f"lesion {lesion.label}"]

    return at(number=patient.number, code="bcc", anchor="2026-06-01"), add


LISTS: dict[str, Callable[[], tuple[Where, Add]]] = {
    "clinic:patients": patient_list,
    "clinic:patient": patient_page,
    "clinic:trail": audit_trail,
    "clinic:staff_trail": staff_trail,
    "clinic:tiers": tiers_page,
    "clinic:tiers_version": tiers_version,
    "clinic:staff": staff,
    "clinic:leaves": leaves,
    "clinic:same_people": pair_list,
    "clinic:part": parting_page,
    "clinic:record_visit": visit_form,
    "lesions:lesion": lesion_page,
    "lesions:tissue_request": tissue_request_sheet,
    "lesions:pictures": picture_list,
    "lesions:decisions": decision_list,
    "lesions:unflagged": unflagged_list,
    "lesions:decision": decision_page,
    "lesions:sheet": decision_sheet,
    "lesions:put_right": put_right_page,
    "lesions:limits": limits_page,
    "lesions:limits_version": limits_version,
    "clinic:duty_limits": duty_limits_page,
    "clinic:duty_limits_version": duty_limits_version,
    "lesions:results": results_list,
    "lesions:amend_diagnosis": diagnosis_versions,
    "lesions:new_procedure": _forms_with_lesions,
    "lesions:new_diagnosis": _forms_with_lesions,
    "scheduling:today": today_page,
    "scheduling:recall": recall_page,
    "scheduling:call": call_page,
    "scheduling:set_override": visit_form,
    "scheduling:fill_checklist": checklist_form,
    "scheduling:diary": diary_page,
    "scheduling:book_place": diary_day_to_book,
    "scheduling:sessions": sessions_page,
    "scheduling:new_template": clinician_form,
    "scheduling:came": came_form,
    "scheduling:move": move_page,
    "scheduling:places": places_part,
    "scheduling:places_to_move": places_to_move,
    "scheduling:capacity": capacity_page,
    "scheduling:missed": missed_page,
    "scheduling:place": place_page,
    "scheduling:past_misses": past_misses_page,
    "scheduling:past_miss_rows": past_misses_page,
    "scheduling:missed_csv": missed_csv,
    "scheduling:problems": problem_list,
    "scheduling:worried": worried_page,
    "scheduling:ladder": ladder_page,
    "scheduling:ladder_version": ladder_version,
    "scheduling:rules": rules_page,
    "scheduling:rules_version": rules_version,
    "scheduling:rules_preview": rules_preview,
    "scheduling:rules_accepted": rules_accepted,
    "scheduling:suppose": suppose_page,
}

# Pages that are about one thing and show no rows of anything: forms, files, and where one is only sent on.
NO_LISTS = {
    "scheduling:end_template",
    "scheduling:set_lengths",
    "scheduling:close_day",
    "start",
    "words_of_scripts",
    "clinic:register",
    "clinic:amend",
    "clinic:duty",
    "clinic:duty_limits_draft",
    "clinic:proposal",
    "clinic:pair",
    "clinic:same_as",
    "clinic:end_care",
    "clinic:assess_risk",
    "clinic:tiers_draft",
    "clinic:add_member",
    "clinic:amend_member",
    "lesions:new_lesion",
    "lesions:decide_in_person",
    "lesions:ask_outside",
    "lesions:answer_outside",
    "lesions:view_image",
    "lesions:change_map",
    "lesions:outline",
    "lesions:scale",
    "lesions:limits_draft",
    "lesions:sutures",
    "lesions:procedure_in_error",
    "lesions:diagnosis_in_error",
    "lesions:unmatched_report",
    "scheduling:unknown_caller",
    "scheduling:worried_who",
    "scheduling:end_override",
    "scheduling:answer_problem",
    "scheduling:ladder_draft",
    "scheduling:rules_draft",
    "scheduling:compare",
    "scheduling:owed",
}

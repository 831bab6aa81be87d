"""Pages of patients: find, register, amend, risk, visits."""

from collections.abc import Iterable
from typing import Any

from django.contrib import messages
from django.db.models import Prefetch, prefetch_related_objects
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render, resolve_url
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from clinic import clock
from clinic.access import Act, StaffRequest, allow, may
from clinic.duties import ledger, proposals
from clinic.forms import (
    AmendForm,
    CarerForm,
    EndCareForm,
    PhotoConsentForm,
    RegisterForm,
    RiskForm,
    RouteForm,
    VisitForm,
)
from clinic.merging import merging, pairs
from clinic.models import (
    Carer,
    ContactRoute,
    Patient,
    PatientStatus,
    PolicyState,
    RiskAssessment,
    StaleRow,
    Visit,
)
from clinic.pages import duty_rows, folded_forms, patient_facts, patient_page, registering
from clinic.pages.fields import RevisionForm
from clinic.pages.kept_searches import asked_for, keep
from clinic.pages.paging import page_of_rows
from clinic.pages.responses import asks_first, conflict, page_form, page_of, to_survivor
from clinic.people import carers, consent, ending, finding, risk, visits
from clinic.people import patients as people
from clinic.people import wording as people_wording
from clinic.people.longer_waits import MakesLonger
from clinic.tiers import wording
from clinic.tiers.tier_set import Context
from clinic.trail import audit
from clinic.trail.record_days import WrongDay
from clinic.wording import SPOKEN, write_day


@allow(Act.SEE_PATIENTS)
def patients(request: StaffRequest) -> HttpResponse:
    """List the patients, or those found by a search that the session keeps."""
    search, words = asked_for(request)
    found = finding.search(words)
    # Without a search everybody is listed, and that is never too many: it is turned page by page.
    few = finding.few_enough(found) if words else found
    count = None if words else duty_rows.kept_answer("on_file", request)
    page = page_of_rows(Patient.objects.none() if few is None else few, request, count=count)
    shared = finding.shared_names(list(page.object_list))
    context = {
        "page": page,
        "search": search,
        "words": words,
        "too_many": finding.MOST_FOUND if few is None else 0,
        "forgotten": "search" in request.GET and not search,
        "shared": shared,
        "may_register": may(request.user, Act.REGISTER_PATIENTS),
    }
    # Only an empty page says how many records were searched: nobody shall wonder whether it looked at all.
    if not page.object_list:
        context["total"] = Patient.objects.count()
    return render(request, "clinic/patients.html", context)


@allow(Act.SEE_PATIENTS)
@require_POST
@sensitive_post_parameters("words")
def find(request: StaffRequest) -> HttpResponse:
    """Search for what was typed; the page that answers has no name in its address."""
    words, page = request.POST.get("words", "").strip(), resolve_url("clinic:patients")
    return redirect(f"{page}?search={keep(request, words)}" if words else page)


@allow(Act.REGISTER_PATIENTS)
def register(request: StaffRequest) -> HttpResponse:
    """Register a patient, after a look at whoever may be the same person."""
    form = RegisterForm(request.POST or None, initial=registering.first_fields(request))
    if form.is_valid():
        data = {key: value for key, value in form.cleaned_data.items() if key != "same_name_checked"}
        try:
            patient = people.register(by=request.user, **data)
        except WrongDay as error:
            form.add_error("photographs_on", str(error))
        else:
            said = _("%(name)s is registered as %(number)s.") % {"name": patient, "number": patient.number}
            messages.success(request, said)
            return redirect(registering.goes_on(request, patient))
    title, button = _("Register a patient"), _("Register")
    return page_form(request, form, title, back="clinic:patients", button=button, alike=form.alike)


@allow(Act.SEE_PATIENTS)
def patient(request: StaffRequest, pk: int) -> HttpResponse:
    """Show a patient's page; that it was opened is kept in the trail."""
    found: Any = get_object_or_404(patient_facts.patients(), pk=pk)
    # Old letters and bookmarks name the record that was merged away.
    if found.merged_into_id:
        return to_survivor(request, found)
    # Before anything is shown: who opened a record is known even if the page then fails.
    audit.read(found, by=request.user, page="patient")
    routes = Prefetch("routes", ContactRoute.objects.select_related("carer"))
    prefetch_related_objects([found], routes, "carers")
    context = {
        "patient": found,
        "namesakes": list(finding.namesakes(found)[:3]) if found.has_namesake else [],
        **_risk(found),
        "routes": list(found.routes.all()),
        "carers": list(found.carers.all()),
        "of_age": carers.came_of_age(found),
        "today": clock.today(),
        "carer_form": folded_forms.written(_carer_form),
        "photographs": consent.current(found),
        "consent_form": folded_forms.written(_consent_form),
        "columns": patient_page.panels_for(found, request),
        "buttons": patient_page.buttons_for(request),
        "route_form": _route_form(found),
        "proposed": _proposed(found, request) if found.has_proposals else [],
        "pairs": list(pairs.open_pairs_of(found)[:3]) if found.has_pairs else [],
        "merges": list(merging.standing(found)) if found.has_merges else [],
        "may_say": may(request.user, Act.SAY_SAME_PERSON),
        "may_register": may(request.user, Act.REGISTER_PATIENTS),
        "may_rules": may(request.user, Act.SEE_RULES),
        "may_assess": may(request.user, Act.ASSESS_RISK),
        "may_visit": may(request.user, Act.RECORD_VISIT),
        "may_trail": may(request.user, Act.SEE_TRAIL),
        "own_visit": _own_visit(found, request),
        "may_end": may(request.user, Act.END_CARE),
        "may_propose": may(request.user, Act.PROPOSE_ENDING),
    }
    return render(request, "clinic/patient.html", context)


def _proposed(patient: Patient, request: StaffRequest) -> list[duty_rows.ProposalRow]:
    return duty_rows.proposal_rows(proposals.waiting().filter(patient=patient), request)


def _carer_form() -> CarerForm:
    return CarerForm(prefix="carer")


def _consent_form() -> PhotoConsentForm:
    return PhotoConsentForm(auto_id="photographs_%s")


def _route_form(patient: Patient) -> SafeString:
    """Write the form for a number: its only choice of this patient's own is whose it is, where somebody else cares."""
    if patient.carers.all():
        return RouteForm(patient=patient).render()
    return folded_forms.written(_own_route_form)


def _own_route_form() -> RouteForm:
    return RouteForm(patient=Patient(pk=0))  # nobody: no number of theirs can be somebody else's


def _own_visit(patient: Patient, request: StaffRequest) -> Visit | None:
    """Find the visit that this member may take back; asked only of who has recorded one since signing in."""
    return visits.to_take_back(patient, request.user) if request.session.get("recorded_a_visit") else None


def _risk(patient: Patient) -> dict[str, Any]:
    """Give the latest assessment, what the criteria in force would say of it, and published figures beside it."""
    latest = risk.current(patient)
    if latest is None:
        return {"risk": None}
    lifetime = risk.tiers_of(latest.policy).lifetime
    return {
        "risk": latest,
        "risk_reasons": _by_source(latest),
        "risk_prompts": risk.prompts_of(latest),
        "risk_differs": None
        if latest.policy.state == PolicyState.IN_FORCE
        else risk.differs(latest, risk.in_force()),
        "risk_context": _figures(risk.context_of(latest)),
        "risk_lifetime": [(row, wording.mark(row.flag, SPOKEN)) for row in lifetime],
    }


def _by_source(row: RiskAssessment) -> list[tuple[list[str], str, str]]:
    """Group the reasons under the source that they share, highest tier first, with what is to be said of it."""
    found: dict[tuple[str, str], list[str]] = {}
    for reason in risk.reasons_of(row):
        found.setdefault((reason.source, reason.flag), []).append(reason.words)
    return [(texts, source, wording.caution(flag, SPOKEN)) for (source, flag), texts in found.items()]


def _figures(rows: Iterable[Context]) -> list[tuple[Context, str, str]]:
    return [(row, wording.figure(row, SPOKEN), wording.mark(row.flag, SPOKEN)) for row in rows]


@allow(Act.REGISTER_PATIENTS)
def amend(request: StaffRequest, pk: int) -> HttpResponse:
    """Amend a patient's name, birth and other details."""
    found = get_object_or_404(Patient, pk=pk)
    form = AmendForm(request.POST or None, instance=found, initial={"revision": found.revision})
    if form.is_valid():
        # The form has written into its own instance already; compared with that, nothing would seem to have changed.
        fresh = get_object_or_404(Patient, pk=pk)
        try:
            people.amend(patient=fresh, by=request.user, **form.cleaned_data)
        except StaleRow as error:
            return conflict(request, error, page_of(fresh))
        return redirect("clinic:patient", pk)
    return _about(request, found, form, _("Amend the details"), _("Save"))


def _about(
    request: StaffRequest, patient: Patient, form: Any, title: str, button: str, **more: Any
) -> HttpResponse:
    return page_form(request, form, title, back=page_of(patient), button=button, patient=patient, **more)


@allow(Act.REGISTER_PATIENTS)
@require_POST
def add_route(request: StaffRequest, pk: int) -> HttpResponse:
    """Add a number or an address to reach the patient."""
    found = get_object_or_404(Patient, pk=pk)
    form = RouteForm(request.POST, patient=found)
    if not form.is_valid():
        return _about(request, found, form, _("Add a way to reach the patient"), _("Add"))
    try:
        people.add_route(patient=found, by=request.user, **form.cleaned_data)
    except people.PatientRefused as error:
        form.add_error(None, str(error))
        return _about(request, found, form, _("Add a way to reach the patient"), _("Add"))
    return redirect("clinic:patient", pk)


@allow(Act.REGISTER_PATIENTS)
@require_POST
def add_carer(request: StaffRequest, pk: int) -> HttpResponse:
    found, form = get_object_or_404(Patient, pk=pk), CarerForm(request.POST, prefix="carer")
    if form.is_valid():
        try:
            row = carers.add(patient=found, by=request.user, **form.cleaned_data)
        except people.PatientRefused as error:
            form.add_error("valid_until", str(error))
        else:
            if row.of_minor and row.valid_until:
                day = write_day(row.valid_until)
                messages.info(
                    request, _("It ends on %(day)s, the day before the patient comes of age.") % {"day": day}
                )
            return redirect("clinic:patient", pk)
    return _about(request, found, form, _("Who may be spoken to"), _("Add"))


@allow(Act.REGISTER_PATIENTS)
@require_POST
def end_carer(request: StaffRequest, pk: int, carer: int) -> HttpResponse:
    found = get_object_or_404(Carer.objects.select_related("patient"), pk=carer, patient_id=pk)
    try:
        carers.end(carer=found, by=request.user, revision=RevisionForm(request.POST).seen())
    except StaleRow as error:
        return conflict(request, error, page_of(found.patient))
    return redirect("clinic:patient", pk)


@allow(Act.REGISTER_PATIENTS)
@require_POST
def kill_route(request: StaffRequest, pk: int, route: int) -> HttpResponse:
    """Mark a number or an address as dead."""
    found = get_object_or_404(ContactRoute.objects.select_related("patient"), pk=route, patient_id=pk)
    people.kill_route(route=found, by=request.user)
    return redirect("clinic:patient", pk)


@allow(Act.REGISTER_PATIENTS)
@require_POST
def photo_consent(request: StaffRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Patient, pk=pk)
    form = PhotoConsentForm(request.POST)
    if form.is_valid():
        try:
            consent.record(patient=found, by=request.user, **form.cleaned_data)
        except WrongDay as error:
            form.add_error("on", str(error))
        else:
            return redirect("clinic:patient", pk)
    return _about(request, found, form, _("Photographs for care"), _("Note the answer"))


@allow(Act.PROPOSE_ENDING)
def end_care(request: StaffRequest, pk: int) -> HttpResponse:
    """End a patient's care, or propose to: what is open is named first; only a dermatologist ends it."""
    found = get_object_or_404(Patient, pk=pk)
    form = EndCareForm(request.POST or None, initial={"revision": found.revision})
    decides = may(request.user, Act.END_CARE)
    if form.is_valid():
        try:
            said = _end_or_propose(found, request.user, decides, form.cleaned_data)
        except StaleRow as error:
            return conflict(request, error, page_of(found))
        except (people.PatientRefused, WrongDay, ledger.DutyRefused) as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, said)
            return redirect("clinic:patient", pk)
    context = {
        "form": form,
        "patient": found,
        "back": page_of(found),
        "decides": decides,
        "closes": ending.closes(found),
        "outlives": ending.outlives(found),
    }
    return render(request, "clinic/end_care.html", context, status=422 if form.errors else 200)


def _end_or_propose(patient: Patient, by: Any, decides: bool, given: dict[str, Any]) -> str:
    if not decides:
        del given["revision"]
        ending.propose(patient=patient, by=by, **given)
        return _("Proposed: it stands in Decisions until a dermatologist has answered.")
    ending.end_care(patient=patient, by=by, **given)
    if patient.status == PatientStatus.ENDING:
        return _("Care is ending: what outlives it stands on its lists until it is handed over.")
    return _("Care has ended; nothing is left open.")


@allow(Act.END_CARE)
@require_POST
def resume_care(request: StaffRequest, pk: int) -> HttpResponse:
    """Resume a patient's care after it ended."""
    found = get_object_or_404(Patient, pk=pk)
    form = RevisionForm(request.POST)
    try:
        ending.resume_care(patient=found, by=request.user, revision=form.seen())
    except StaleRow as error:
        return conflict(request, error, page_of(found))
    return redirect("clinic:patient", pk)


@allow(Act.ASSESS_RISK)
def assess_risk(request: StaffRequest, pk: int) -> HttpResponse:
    """Assess a patient's risk; a lower tier that makes somebody wait longer shows both days first."""
    found = get_object_or_404(Patient, pk=pk)
    form = RiskForm(request.POST or None)
    against: list[tuple[Context, str, str]] = []
    asked: dict[str, Any] = {}
    if form.is_valid():
        try:
            signed = request.POST.get("signed", "")
            row = risk.assess(patient=found, by=request.user, signed=signed, **form.cleaned_data)
        except MakesLonger as error:
            asked = asks_first(request, form, error)
        except risk.DecisionNeeded as error:
            against = _figures(error.against)
            for name, words in error.fields.items():
                form.add_error(name, words)
        except (risk.RiskRefused, WrongDay) as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("Risk recorded: %(tier)s.") % {"tier": row.get_tier_display()})
            return redirect("clinic:patient", pk)
    refused = "" if risk.in_force() else people_wording.NONE_IN_FORCE
    context = {"patient": found, "form": form, "against": against, "refused": refused, **asked}
    status = 422 if form.is_bound else 200
    return render(request, "clinic/assess_risk.html", context, status=status)


@allow(Act.RECORD_VISIT)
def record_visit(request: StaffRequest, pk: int) -> HttpResponse:
    """Record a visit and what was done in it."""
    found = get_object_or_404(Patient, pk=pk)
    form = VisitForm(
        request.POST or None,
        subjects=patient_page.subjects_of(found),
        due=patient_page.due_of(found),
        by=request.user,
    )
    if form.is_valid():
        try:
            visits.record(patient=found, by=request.user, **form.cleaned_data)
            # So that the patient page asks for a visit to take back only of those who can have one.
            request.session["recorded_a_visit"] = True
        except WrongDay as error:
            form.add_error("attended_on", str(error))
        except visits.VisitRefused as error:
            form.add_error("done", str(error))
        else:
            return redirect("clinic:patient", pk)
    note = ""
    if not may(request.user, Act.SKIN_CHECK):
        note = _(
            "A full skin check is recorded by who examined: a dermatologist, or staff to whom the clinic gave it."
        )
    return _about(request, found, form, _("Record a visit"), _("Record"), note=note)


@allow(Act.RECORD_VISIT)
@require_POST
def take_back_visit(request: StaffRequest, pk: int) -> HttpResponse:
    """Take a wrong visit back."""
    visit = get_object_or_404(Visit.objects.select_related("patient"), pk=pk)
    try:
        visits.take_back(visit=visit, by=request.user, revision=RevisionForm(request.POST).seen())
    except StaleRow as error:
        return conflict(request, error, page_of(visit.patient))
    except visits.VisitRefused as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("The visit is taken back: what it completed is owed again."))
    return redirect("clinic:patient", visit.patient_id)

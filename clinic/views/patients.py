"""Pages of patients: find, register, amend, risk, visits, the trail."""

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from clinic.access import Act, allow, may
from clinic.duties import ledger, proposals
from clinic.forms import AmendForm, EndCareForm, RegisterForm, RiskForm, RouteForm, VisitForm
from clinic.models import ContactRoute, Patient, StaleRow
from clinic.pages import duty_rows, patient_page
from clinic.pages.fields import RevisionForm
from clinic.pages.responses import PAGE, conflict, page_form, page_of
from clinic.people import patients as people
from clinic.people import risk, visits
from clinic.record_days import WrongDay
from clinic.tiers import wording
from clinic.trail import audit


@allow(Act.SEE_PATIENTS)
def patients(request: HttpRequest) -> HttpResponse:
    words = request.GET.get("q", "").strip()
    page = Paginator(people.search(words), PAGE).get_page(request.GET.get("page"))
    shared = people.shared_names(list(page.object_list))
    context = {
        "page": page,
        "words": words,
        "shared": shared,
        "may_register": may(request.user, Act.REGISTER_PATIENTS),
    }
    if not page.object_list:
        context["total"] = Patient.objects.count()
    return render(request, "clinic/patients.html", context)


@allow(Act.REGISTER_PATIENTS)
def register(request: HttpRequest) -> HttpResponse:
    form = RegisterForm(request.POST or None)
    if form.is_valid():
        data = {key: value for key, value in form.cleaned_data.items() if key != "same_name_checked"}
        patient = people.register(by=request.user, **data)
        messages.success(request, f"{patient} is registered as {patient.number}.")
        return redirect("clinic:patient", patient.pk)
    return page_form(request, form, "Register a patient", back="clinic:patients", button="Register")


@allow(Act.SEE_PATIENTS)
def patient(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Patient, pk=pk)
    if found.merged_into_id:
        return redirect("clinic:patient", found.merged_into_id)
    audit.read(found, by=request.user, page="patient")
    context = {
        "patient": found,
        "namesakes": list(people.namesakes(found)[:3]),
        **_risk(found),
        "routes": list(found.routes.all()),
        "columns": patient_page.panels_for(found, request),
        "buttons": patient_page.buttons_for(request),
        "route_form": RouteForm(),
        "owed": duty_rows.duty_rows(ledger.open_duties(found), request),
        "proposed": duty_rows.proposal_rows(proposals.waiting().filter(patient=found), request),
        "may_register": may(request.user, Act.REGISTER_PATIENTS),
        "may_rules": may(request.user, Act.SEE_RULES),
        "may_assess": may(request.user, Act.ASSESS_RISK),
        "may_visit": may(request.user, Act.RECORD_VISIT),
        "may_trail": may(request.user, Act.SEE_TRAIL),
        "may_end": may(request.user, Act.END_CARE),
    }
    return render(request, "clinic/patient.html", context)


def _risk(patient: Patient) -> dict[str, Any]:
    """The latest assessment, what the criteria in force would say of it, and published figures beside it."""
    latest = risk.current(patient)
    if latest is None:
        return {"risk": None}
    lifetime = risk.tiers_of(latest.policy).lifetime if latest.policy else ()
    return {
        "risk": latest,
        "risk_differs": risk.differs(latest, risk.in_force()),
        "risk_context": [
            (row, wording.figure(row), wording.FLAGS[row.flag]) for row in risk.context_of(latest)
        ],
        "risk_lifetime": [(row, wording.FLAGS[row.flag]) for row in lifetime],
    }


@allow(Act.REGISTER_PATIENTS)
def amend(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Patient, pk=pk)
    form = AmendForm(request.POST or None, instance=found, initial={"revision": found.revision})
    if form.is_valid():
        fresh = get_object_or_404(Patient, pk=pk)
        try:
            people.amend(patient=fresh, by=request.user, **form.cleaned_data)
        except StaleRow as error:
            return conflict(request, error, page_of(fresh))
        return redirect("clinic:patient", pk)
    return _about(request, found, form, "Amend the details", "Save")


def _about(
    request: HttpRequest, patient: Patient, form: Any, title: str, button: str, **more: Any
) -> HttpResponse:
    return page_form(request, form, title, back=page_of(patient), button=button, patient=patient, **more)


@allow(Act.REGISTER_PATIENTS)
@require_POST
def add_route(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Patient, pk=pk)
    form = RouteForm(request.POST)
    if not form.is_valid():
        return _about(request, found, form, "Add a way to reach the patient", "Add")
    try:
        people.add_route(patient=found, by=request.user, **form.cleaned_data)
    except people.PatientRefused as error:
        form.add_error(None, str(error))
        return _about(request, found, form, "Add a way to reach the patient", "Add")
    return redirect("clinic:patient", pk)


@allow(Act.REGISTER_PATIENTS)
@require_POST
def kill_route(request: HttpRequest, pk: int, route: int) -> HttpResponse:
    found = get_object_or_404(ContactRoute.objects.select_related("patient"), pk=route, patient_id=pk)
    people.kill_route(route=found, by=request.user)
    return redirect("clinic:patient", pk)


@allow(Act.END_CARE)
def end_care(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Patient, pk=pk)
    form = EndCareForm(request.POST or None, initial={"revision": found.revision})
    if form.is_valid():
        try:
            people.end_care(patient=found, by=request.user, **form.cleaned_data)
        except StaleRow as error:
            return conflict(request, error, page_of(found))
        return redirect("clinic:patient", pk)
    return _about(request, found, form, "End this patient's care", "End care")


@allow(Act.END_CARE)
@require_POST
def resume_care(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Patient, pk=pk)
    form = RevisionForm(request.POST)
    try:
        people.resume_care(patient=found, by=request.user, revision=form.seen())
    except StaleRow as error:
        return conflict(request, error, page_of(found))
    return redirect("clinic:patient", pk)


@allow(Act.ASSESS_RISK)
def assess_risk(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Patient, pk=pk)
    form = RiskForm(request.POST or None)
    if form.is_valid():
        try:
            row = risk.assess(patient=found, by=request.user, **form.cleaned_data)
        except (risk.RiskRefused, WrongDay) as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, f"Risk recorded: {row.get_tier_display()}.")
            return redirect("clinic:patient", pk)
    note = "Risk tiers order check-ups; they follow the criteria in force and do not replace judgement."
    if risk.in_force() is None:
        note = risk.NONE_IN_FORCE
    return _about(request, found, form, "Risk assessment", "Record", note=note)


@allow(Act.RECORD_VISIT)
def record_visit(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Patient, pk=pk)
    form = VisitForm(
        request.POST or None, subjects=patient_page.subjects_of(found), due=patient_page.due_of(found)
    )
    if form.is_valid():
        try:
            visits.record(patient=found, by=request.user, **form.cleaned_data)
        except WrongDay as error:
            form.add_error("attended_on", str(error))
        else:
            return redirect("clinic:patient", pk)
    return _about(request, found, form, "Record a visit", "Record")


@allow(Act.SEE_TRAIL)
def trail(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Patient, pk=pk)
    audit.read(found, by=request.user, page="trail")
    page = Paginator(audit.trail(found), PAGE).get_page(request.GET.get("page"))
    rows = [{"row": row, "words": audit.words(row.action)} for row in page.object_list]
    reads = list(found.reads.select_related("by")[:PAGE])
    return render(
        request, "clinic/trail.html", {"patient": found, "page": page, "rows": rows, "reads": reads}
    )

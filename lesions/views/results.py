"""Pages of Results: procedures, reports, and what is still owed of them."""

from typing import Any

from django.contrib import messages
from django.forms import model_to_dict
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.html import format_html
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from clinic.access import Act, StaffRequest, allow, may
from clinic.duties.kinds import OwningList
from clinic.duties.ledger import DutyRefused
from clinic.models import Patient, StaleRow
from clinic.pages import duty_list, duty_rows
from clinic.pages.responses import asks_first, conflict, page_form
from clinic.people.longer_waits import MakesLonger
from lesions.models import Diagnosis, Procedure
from lesions.pages import diagnosis_versions
from lesions.pages.lesion_head import patient_url
from lesions.register import subjects, unmatched
from lesions.result_forms import (
    AmendDiagnosisForm,
    InErrorForm,
    NewDiagnosisForm,
    ProcedureForm,
    SuturesForm,
    UnmatchedReportForm,
)
from lesions.results import in_error, pathology, results_owed
from lesions.results.report_checks import AlreadyReported, ResultRefused


@allow(Act.SEE_WORKLIST)
def results(request: StaffRequest) -> HttpResponse:
    """List what is owed of tissue, reports and results, urgent first."""
    context = {
        "told": duty_rows.kept_answer("told", request),
        "duties": duty_list.page_of_list(OwningList.RESULTS, request),
        "may_do": may(request.user, Act.DO_DUTIES),
    }
    return render(request, "lesions/results.html", context)


@allow(Act.DO_DUTIES)
def unmatched_report(request: StaffRequest) -> HttpResponse:
    """Keep a report that belongs to no specimen on record, before anybody looks further."""
    form = UnmatchedReportForm(request.POST or None)
    if form.is_valid():
        try:
            duty = unmatched.take(by=request.user, **form.cleaned_data)
        except DutyRefused as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("Kept: it stands in Results until it is filed or returned."))
            return redirect("clinic:duty", duty.pk)
    note = _(
        "Look for the patient and the specimen first. What is kept here is filed or returned within a day."
    )
    more = {"back": "lesions:results", "button": _("Keep the report"), "note": note}
    return page_form(request, form, _("A report that fits nobody"), **more)


@allow(Act.RECORD_PROCEDURES)
def new_procedure(request: StaffRequest, pk: int) -> HttpResponse:
    """Record a procedure; its tissue is owed from then on until its report is told."""
    patient = get_object_or_404(Patient, pk=pk)
    initial = {"lesion": request.GET.get("lesion")}
    form = ProcedureForm(request.POST or None, patient=patient, initial=initial)
    if form.is_valid() and _recorded(form, pathology.record_procedure, patient, request):
        return redirect("clinic:patient", pk)
    note = _("The tissue of a biopsy or excision waits under Results: to be sent, to arrive, to be reported.")
    return _about(request, patient, form, _("Record a procedure"), note)


@allow(Act.RECORD_PROCEDURES)
def sutures(request: StaffRequest, pk: int) -> HttpResponse:
    """Say whether a procedure left sutures that must come out."""
    row = get_object_or_404(Procedure.objects.select_related("patient", "lesion"), pk=pk)
    stated = None if row.sutures is None else ("yes" if row.sutures else "no")
    form = SuturesForm(request.POST or None, initial={"revision": row.revision, "sutures": stated})
    if form.is_valid():
        try:
            pathology.note_sutures(procedure=row, by=request.user, **form.cleaned_data)
        except StaleRow as error:
            return conflict(request, error, patient_url(row.patient))
        return redirect("clinic:patient", row.patient_id)
    note = _("%(procedure)s. Nothing is planned where nothing is left to remove.")
    note %= {"procedure": capfirst(subjects.procedure_words(row))}
    return _about(request, row.patient, form, _("Sutures to remove"), note)


@allow(Act.PROPOSE_ENDING)
def procedure_in_error(request: StaffRequest, pk: int) -> HttpResponse:
    """Strike a procedure through that was recorded in error, or propose to."""
    return _in_error(request, get_object_or_404(Procedure.objects.select_related("patient", "lesion"), pk=pk))


@allow(Act.PROPOSE_ENDING)
def diagnosis_in_error(request: StaffRequest, pk: int) -> HttpResponse:
    """Strike a result through that was recorded in error, or propose to."""
    return _in_error(request, get_object_or_404(Diagnosis.objects.select_related("patient", "lesion"), pk=pk))


def _in_error(request: StaffRequest, row: Procedure | Diagnosis) -> HttpResponse:
    """Take a row back within ten minutes, by who recorded it; whoever comes later proposes it, and another confirms."""
    form = InErrorForm(request.POST or None, initial={"revision": row.revision})
    if form.is_valid():
        try:
            said = _take_back_or_propose(row, request, **form.cleaned_data)
        except StaleRow as error:
            return conflict(request, error, patient_url(row.patient))
        except (ResultRefused, DutyRefused) as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, said)
            return redirect("clinic:patient", row.patient_id)
    words = subjects.procedure_words(row) if isinstance(row, Procedure) else subjects.diagnosis_words(row)
    note = _("%(what)s: it stays readable, struck through, and what followed from it is put back.")
    return _about(request, row.patient, form, _("Recorded in error"), note % {"what": capfirst(words)})


def _take_back_or_propose(
    row: Procedure | Diagnosis, request: StaffRequest, revision: int, reason: str
) -> str:
    member: Any = request.user
    if in_error.may_take_back(row, member):
        in_error.take_back(row=row, by=member, revision=revision)
        return _("Struck through.")
    in_error.propose(row=row, by=member, reason=reason)
    return _("Proposed: it counts until another person has confirmed it, in Decisions.")


@allow(Act.RECORD_RESULTS)
def new_diagnosis(request: StaffRequest, pk: int) -> HttpResponse:
    """Record what a laboratory reported."""
    patient = get_object_or_404(Patient, pk=pk)
    initial = {"procedure": request.GET.get("procedure"), "lesion": request.GET.get("lesion")}
    form = NewDiagnosisForm(request.POST or None, patient=patient, initial=initial)
    if form.is_valid() and _recorded(form, pathology.record_diagnosis, patient, request):
        return redirect("clinic:patient", pk)
    note = _("As the laboratory reported it. What is not stated stays empty, and somebody is asked.")
    return _about(request, patient, form, _("Record a result"), note)


@allow(Act.RECORD_RESULTS)
def amend_diagnosis(request: StaffRequest, pk: int) -> HttpResponse:
    """Amend a diagnosis, its earlier versions kept; where somebody waits longer, both days are shown first."""
    found = get_object_or_404(Diagnosis.objects.select_related("patient"), pk=pk)
    names = (*pathology.AMENDABLE, "revision")
    form = AmendDiagnosisForm(
        request.POST or None,
        patient=found.patient,
        initial=model_to_dict(found, names) | {"report_of": request.GET.get("report_of")},
    )
    asked: dict[str, Any] = {}
    if form.is_valid():
        try:
            signed = request.POST.get("signed", "")
            pathology.amend_diagnosis(diagnosis=found, by=request.user, signed=signed, **form.cleaned_data)
        except MakesLonger as error:
            asked = asks_first(request, form, error)
        except StaleRow as error:
            return conflict(request, error, patient_url(found.patient))
        except ResultRefused as error:
            form.add_error(None, _in_words(error, form))
        else:
            return redirect("clinic:patient", found.patient_id)
    return _amend_page(request, found, form, asked)


def _amend_page(
    request: StaffRequest, found: Diagnosis, form: AmendDiagnosisForm, asked: dict[str, Any]
) -> HttpResponse:
    context = {
        "form": form,
        "patient": found.patient,
        "back": patient_url(found.patient),
        "about": subjects.diagnosis_words(found),
        "wanting": [str(results_owed.WANTED[name]) for name in results_owed.wanting(found)],
        "versions": diagnosis_versions.in_words(found),
        **asked,
    }
    status = 422 if form.is_bound else 200
    return render(request, "lesions/amend_diagnosis.html", context, status=status)


def _recorded(form: Any, record: Any, patient: Patient, request: StaffRequest) -> bool:
    try:
        record(patient=patient, by=request.user, **form.cleaned_data)
    except ResultRefused as error:
        form.add_error(None, _in_words(error, form))
        return False
    return True


def _in_words(error: ResultRefused, form: Any) -> str:
    """Write a refusal in words, with a link where the diagnosis is on record already."""
    if not isinstance(error, AlreadyReported):
        return str(error)
    address, cut = (
        reverse("lesions:amend_diagnosis", args=[error.diagnosis.pk]),
        form.cleaned_data["procedure"],
    )
    # Further tissue of the same tumour, such as a wider excision: its report is filed with the diagnosis on record.
    if cut and cut.pk in results_owed.waits_for_report(cut.patient):
        address += f"?report_of={cut.pk}"
    return format_html('{} <a href="{}">{}</a>', error, address, _("Amend the one on record"))


def _about(
    request: StaffRequest, patient: Patient, form: Any, title: str, note: str, **more: Any
) -> HttpResponse:
    back, button = patient_url(patient), _("Record")
    return page_form(request, form, title, back=back, button=button, patient=patient, note=note, **more)

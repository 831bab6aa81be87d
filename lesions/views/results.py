"""Procedures, results, and who has to be told."""

from typing import Any

from django.contrib import messages
from django.forms import model_to_dict
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.text import capfirst
from django.views.decorators.http import require_POST

from clinic import clock
from clinic.access import Act, allow, may
from clinic.duties.kinds import OwningList
from clinic.models import Patient, StaleRow
from clinic.pages import duty_rows
from clinic.pages.responses import asks_first, conflict, page_form
from clinic.people import patients as people
from clinic.people.longer_waits import MakesLonger
from lesions.forms import AmendDiagnosisForm, DiagnosisForm, ProcedureForm, SuturesForm, ToldForm
from lesions.models import MALIGNANT, Diagnosis, Lesion, Procedure
from lesions.pages.lesion_head import patient_url
from lesions.register import subjects
from lesions.review import pathology
from lesions.review.pathology import ResultRefused


@allow(Act.TELL_PATIENT)
def results(request: HttpRequest) -> HttpResponse:
    waiting, untold = list(pathology.waiting_for_result()), list(pathology.to_tell())
    today = clock.today()
    shared = people.shared_names([row.patient for row in (*waiting, *untold)])
    context = {
        "waiting": [_row(row, row.lesion) | {"days": (today - row.on).days} for row in waiting],
        "untold": [_row(row, row.lesion) | {"first": row.code in MALIGNANT} for row in untold],
        "shared": shared,
        "told": Diagnosis.objects.filter(told_on__isnull=False).count(),
        "may_record": may(request.user, Act.RECORD_RESULTS),
        "duties": duty_rows.page_of_list(OwningList.RESULTS, request),
    }
    return render(request, "lesions/results.html", context)


def _row(row: Any, lesion: Lesion | None) -> dict[str, Any]:
    return {"row": row, "place": subjects.lesion_words(lesion) if lesion else ""}


@allow(Act.TELL_PATIENT)
@require_POST
def told(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(Diagnosis.objects.select_related("patient"), pk=pk)
    form = ToldForm({"on": clock.today(), **request.POST.dict()})
    if not form.is_valid():
        return page_form(
            request,
            form,
            "The patient was told",
            back="lesions:results",
            button="Record",
            patient=row.patient,
        )
    if form.cleaned_data["revision"] != row.revision:
        return conflict(request, StaleRow(row), reverse("lesions:results"))
    try:
        pathology.tell(diagnosis=row, by=request.user, on=form.cleaned_data["on"])
    except StaleRow as error:
        return conflict(request, error, reverse("lesions:results"))
    except ResultRefused as error:
        form.add_error(None, str(error))
        return page_form(
            request,
            form,
            "The patient was told",
            back="lesions:results",
            button="Record",
            patient=row.patient,
        )
    messages.success(request, f"{row.patient} was told.")
    return redirect("lesions:results")


@allow(Act.RECORD_RESULTS)
def new_procedure(request: HttpRequest, pk: int) -> HttpResponse:
    patient = get_object_or_404(Patient, pk=pk)
    initial = {"lesion": request.GET.get("lesion")}
    form = ProcedureForm(request.POST or None, patient=patient, initial=initial)
    if form.is_valid() and _recorded(form, pathology.record_procedure, patient, request):
        return redirect("clinic:patient", pk)
    note = "A biopsy or excision waits under Results until its report is recorded."
    return _about(request, patient, form, "Record a procedure", note)


@allow(Act.RECORD_RESULTS)
def sutures(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(Procedure.objects.select_related("patient", "lesion"), pk=pk)
    stated = {True: "yes", False: "no"}.get(row.sutures)
    form = SuturesForm(request.POST or None, initial={"revision": row.revision, "sutures": stated})
    if form.is_valid():
        try:
            pathology.note_sutures(procedure=row, by=request.user, **form.cleaned_data)
        except StaleRow as error:
            return conflict(request, error, patient_url(row.patient))
        return redirect("clinic:patient", row.patient_id)
    note = f"{capfirst(subjects.procedure_words(row))}. Nothing is planned where nothing is left to remove."
    return _about(request, row.patient, form, "Sutures to remove", note)


@allow(Act.RECORD_RESULTS)
def new_diagnosis(request: HttpRequest, pk: int) -> HttpResponse:
    patient = get_object_or_404(Patient, pk=pk)
    initial = {"procedure": request.GET.get("procedure"), "lesion": request.GET.get("lesion")}
    form = DiagnosisForm(request.POST or None, patient=patient, initial=initial)
    if form.is_valid() and _recorded(form, pathology.record_diagnosis, patient, request):
        return redirect("clinic:patient", pk)
    note = "As the laboratory reported it. What is not stated stays empty, and somebody is asked."
    return _about(request, patient, form, "Record a result", note)


@allow(Act.RECORD_RESULTS)
def amend_diagnosis(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Diagnosis.objects.select_related("patient"), pk=pk)
    names = (*pathology.AMENDABLE, "revision")
    form = AmendDiagnosisForm(
        request.POST or None, patient=found.patient, initial=model_to_dict(found, names)
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
            form.add_error(None, str(error))
        else:
            return redirect("clinic:patient", found.patient_id)
    note = "What has become known since. Every change stands in the trail."
    return _about(request, found.patient, form, "Amend the diagnosis", note, **asked)


def _recorded(form: Any, record: Any, patient: Patient, request: HttpRequest) -> bool:
    try:
        record(patient=patient, by=request.user, **form.cleaned_data)
    except ResultRefused as error:
        form.add_error(None, str(error))
        return False
    return True


def _about(
    request: HttpRequest, patient: Patient, form: Any, title: str, note: str, **more: Any
) -> HttpResponse:
    about = {"back": patient_url(patient), "button": "Record", "patient": patient, "note": note}
    return page_form(request, form, title, **about, **more)

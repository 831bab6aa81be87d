"""Make the head that every page about a lesion carries."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _

from clinic.access import StaffRequest
from clinic.models import Patient
from clinic.pages.responses import page_form
from clinic.people import finding as people
from clinic.trail import audit
from lesions.models import Lesion
from lesions.register import register, wording


def found(pk: int) -> Lesion:
    """Find the lesion of a page, with its patient; 404 where there is none."""
    return get_object_or_404(Lesion.objects.select_related("patient"), pk=pk)


def banner(request: StaffRequest, patient: Patient, lesion: Lesion | None, page: str) -> dict[str, Any]:
    """Say who this is, whether somebody else bears the name, and where the lesion lies; the read is recorded."""
    audit.read(patient, by=request.user, page=page)
    return {
        "patient": patient,
        "namesakes": list(people.namesakes(patient)[:3]),
        "lesion": lesion,
        "place": register.place_words(lesion) if lesion else "",
    }


def lesion_url(lesion: Lesion) -> str:
    return reverse("lesions:lesion", args=[lesion.pk])


def patient_url(patient: Patient) -> str:
    return reverse("clinic:patient", args=[patient.pk])


def about_lesion(
    request: StaffRequest, lesion: Lesion, form: Any, title: str, button: str, **more: Any
) -> HttpResponse:
    """Answer with a page that is one form about one lesion."""
    about = {"title": title, "lesion": wording.lesion_at(lesion.label, register.place_words(lesion))}
    title = _("%(title)s: %(lesion)s") % about
    back = lesion_url(lesion)
    return page_form(request, form, title, back=back, button=button, patient=lesion.patient, **more)

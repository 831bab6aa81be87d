"""Pages about a lesion: register it, see it over time, note signs, record an examination."""

from typing import Any

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, StaffRequest, allow, may
from clinic.charts.year_strip import Dot, Mark, Strip
from clinic.duties.ledger import DutyRefused
from clinic.models import Patient, Proposal, StaleRow
from clinic.pages.responses import conflict
from clinic.people import consent
from lesions.forms import AmendLesionForm, ExaminedForm, LesionForm, PicturesForm, SignForm
from lesions.measuring import figures
from lesions.models import UNFINISHED, Image, Lesion, RefusedUpload
from lesions.pages import lesion_sections
from lesions.pages.lesion_head import about_lesion, banner, found, lesion_url, patient_url
from lesions.pictures import wording
from lesions.register import register, subjects
from lesions.register.endings import LesionRefused
from lesions.results import tissue_request
from lesions.review import putting_right, reviews, taking_back


@allow(Act.ADD_PICTURES)
def new_lesion(request: StaffRequest, pk: int) -> HttpResponse:
    """Register a lesion at its place on the body, with its side in words."""
    patient = get_object_or_404(Patient, pk=pk)
    form = LesionForm(request.POST or None)
    if form.is_valid():
        try:
            lesion = register.add(patient=patient, by=request.user, **form.cleaned_data)
        except LesionRefused as error:
            form.add_error(None, str(error))
        else:
            messages.success(
                request,
                _("Lesion %(label)s, %(place)s, is registered.")
                % {"label": lesion.label, "place": register.place_words(lesion)},
            )
            return redirect("lesions:lesion", lesion.pk)
    context = banner(request, patient, None, "new lesion") | {
        "form": form,
        "chart": form.place(),
        "marks": marks(patient),
        "back": patient_url(patient),
    }
    status = 422 if form.is_bound else 200
    return render(request, "lesions/new_lesion.html", context, status=status)


def marks(patient: Patient) -> list[dict[str, Any]]:
    """Give the marks of the lesions that are on the body chart already."""
    rows = register.watched(patient)
    return [
        {
            "view": row.view,
            "x": row.x,
            "y": row.y,
            "number": row.label,
            "label": subjects.lesion_words(row),
            "url": lesion_url(row),
        }
        for row in rows
    ]


@allow(Act.SEE_PICTURES)
def lesion(request: StaffRequest, pk: int) -> HttpResponse:
    """Show a lesion over time: its pictures, decisions, signs and results."""
    return lesion_page(request, found(pk), PicturesForm())


def lesion_page(request: StaffRequest, lesion: Lesion, form: PicturesForm) -> HttpResponse:
    """Answer with a lesion's page; `form` is that of its pictures, with what was wrong about a file."""
    pictures = _pictures(lesion)
    waits = lesion.reviews.filter(state="waiting").select_related("assessment").first()
    # Whoever is asked for a second reading does not see the first one here either.
    signed = reviews.decisions_before(waits, request.user).filter(lesion=lesion)
    decisions = list(signed.select_related("by", "revoked__by").prefetch_related("addenda__by"))
    context = banner(request, lesion.patient, lesion, "lesion") | {
        "pictures": pictures,
        "strip": _strip(lesion, [row["image"] for row in pictures], decisions),
        "away": list(putting_right.moved_away(lesion)),
        "lately": {row.pk for row in taking_back.to_take_back(request.user) if row.lesion_id == lesion.pk},
        "signs": list(lesion.urgent_signs.select_related("by")),
        "open_signs": list(register.open_signs(lesion)),
        "decisions": decisions,
        "asks_for_tissue": tissue_request.stands_among(decisions),
        "diagnoses": list(lesion.diagnoses.all()),
        "waits": waits,
        "refused": [(row, wording.of_row(row.code, row.params)) for row in _refused(lesion)],
        "sections": lesion_sections.sections_for(lesion, request),
        "upload_form": form,
        "no_photographs": consent.refused_on(lesion.patient, clock.today()),
        "may_add": may(request.user, Act.ADD_PICTURES),
        "may_examine": may(request.user, Act.EXAMINE),
        "may_note": may(request.user, Act.NOTE_SIGNS),
        "may_sign": may(request.user, Act.SIGN_OFF),
    }
    return render(request, "lesions/lesion.html", context, status=422 if form.is_bound else 200)


def _refused(lesion: Lesion) -> QuerySet[RefusedUpload]:
    return lesion.refused_uploads.filter(settled_at__isnull=True)


def _pictures(lesion: Lesion) -> list[dict[str, Any]]:
    """List the pictures, newest first, each with the assessment that counts and its largest diameter."""
    rows = lesion.images.prefetch_related("assessments__drawn_by").order_by("-taken_on", "-pk")
    return [_picture(image) for image in rows]


def _picture(image: Image) -> dict[str, Any]:
    rows = sorted(image.assessments.all(), key=lambda row: row.pk)
    last = figures.shown(rows)
    return {
        "image": image,
        "last": last,
        "across": figures.figure(last.result, "feret") if last else None,
        "measuring": any(row.state in UNFINISHED for row in rows),
        "failure": wording.of_row(rows[-1].failure, rows[-1].failure_params) if rows else "",
    }


def _picture_words(image: Image) -> str:
    return _("%(kind)s picture") % {"kind": image.get_kind_display()}


def _strip(lesion: Lesion, images: list[Image], decisions: list[Any]) -> Strip:
    """Draw the lesion's strip, from the first record to a little beyond today."""
    today = clock.today()
    days = [lesion.since, *(image.taken_on for image in images)]
    start = min(min(days), figures.months_from(today, -12))
    dots = [Dot(image.taken_on, _picture_words(image)) for image in images]
    # What was taken back decides nothing and would seem on a time line as if it did.
    standing = [each for each in decisions if not hasattr(each, "revoked")]
    words = [Mark(each.signed_on, each.get_decision_display()) for each in standing]
    return Strip(start, figures.months_from(today, 3), today, dots=dots, marks=words)


@allow(Act.ADD_PICTURES)
def amend_lesion(request: StaffRequest, pk: int) -> HttpResponse:
    """Amend a lesion, or propose to: what ends its being watched needs two people."""
    lesion = found(pk)
    initial = {name: getattr(lesion, name) for name in ("state", "monitoring", "note", "revision")}
    form = AmendLesionForm(request.POST or None, initial=initial)
    if form.is_valid():
        try:
            done = register.amend_or_propose(lesion=lesion, by=request.user, **form.cleaned_data)
        except StaleRow as error:
            return conflict(request, error, lesion_url(lesion))
        except (LesionRefused, DutyRefused) as error:
            form.add_error(None, str(error))
        else:
            if isinstance(done, Proposal):
                messages.success(request, _("Proposed: nothing has ended; it stands in Decisions."))
            return redirect("lesions:lesion", pk)
    return about_lesion(request, lesion, form, _("Amend"), _("Save"))


@allow(Act.NOTE_SIGNS)
def note_sign(request: StaffRequest, pk: int) -> HttpResponse:
    """Note an urgent sign of a lesion."""
    lesion = found(pk)
    form = SignForm(request.POST or None)
    if form.is_valid():
        try:
            register.note_sign(lesion=lesion, by=request.user, **form.cleaned_data)
        except LesionRefused as error:
            form.add_error(None, str(error))
        else:
            messages.warning(
                request, _("Urgent work from now on, until a dermatologist has examined it in person.")
            )
            return redirect("lesions:lesion", pk)
    note = _(
        "A raised, firm, growing or bleeding lesion is urgent work the same day; it is not watched with pictures."
    )
    return about_lesion(request, lesion, form, _("Note growth, bleeding …"), _("Note it"), note=note)


@allow(Act.EXAMINE)
def examined(request: StaffRequest, pk: int) -> HttpResponse:
    """Record an examination in person, which answers the urgent signs of a lesion."""
    lesion = found(pk)
    form = ExaminedForm(request.POST or None)
    if form.is_valid():
        try:
            register.examine_in_person(lesion=lesion, by=request.user, **form.cleaned_data)
        except LesionRefused as error:
            form.add_error(None, str(error))
        else:
            return redirect("lesions:lesion", pk)
    return about_lesion(request, lesion, form, _("Examined in person"), _("Record"))

"""Give the answers that many views share: a page that is one form, and a conflict of two people."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render, resolve_url
from django.utils.translation import gettext

from clinic.access import Act, may
from clinic.models import Patient, StaleRow
from clinic.people.longer_waits import MakesLonger

# As many as one scrolls through and still compares (clinic setting, no source).
PAGE = 50


def conflict(
    request: HttpRequest, error: StaleRow, back: str, template: str = "clinic/conflict.html", **kwargs: Any
) -> HttpResponse:
    """Answer that somebody else was quicker: nothing was overwritten, and here is the way back."""
    context = {"what": error.say(), "back_url": back, **kwargs}
    return render(request, template, context, status=409)


def page_form(
    request: HttpRequest, form: Any, title: str, *, back: str, button: str, **more: Any
) -> HttpResponse:
    """Answer with a page that is one form; 422 tells a script what a person reads on the page."""
    status = 422 if form.is_bound and form.errors else 200
    context = {"form": form, "title": title, "back": resolve_url(back), "button": button, **more}
    return render(request, "clinic/form_page.html", context, status=status)


def asks_first(request: HttpRequest, form: Any, refused: MakesLonger) -> dict[str, Any]:
    """Give `page_form` both days to show and, for whoever may sign for the longer wait, the tick."""
    form.add_error(None, str(refused))
    # Everybody sees the days; without the right there is no tick, and the page says who must be asked.
    may_sign = may(request.user, Act.OVERRIDE)
    return {"waits": refused.waits, "signature": refused.signature if may_sign else ""}


def to_survivor(
    request: HttpRequest, gone: Patient, said: str = "", page: str = "clinic:patient"
) -> HttpResponse:
    """Lead from a record that was merged away to the one that is kept, and say so."""
    kept = gone.merged_into
    assert kept is not None  # asked by whoever calls
    words = {"gone": gone.number, "kept": kept.number}
    line = gettext("%(gone)s was merged into this record, %(kept)s: it is the same person.") % words
    messages.info(request, f"{line} {said}".strip())
    return redirect(page, kept.pk)


def page_of(patient: Patient) -> str:
    return resolve_url("clinic:patient", patient.pk)

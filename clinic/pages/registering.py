"""Register somebody in the middle of something else: what was typed stays in the session, and one comes back to it."""

import secrets
from typing import Any

from django.http import HttpRequest
from django.shortcuts import resolve_url
from django.utils.http import urlencode

from clinic.models import Patient

# An upper app's page that goes on with whoever was registered, by the word of the address that asks for it.
GOES_ON: dict[str, str] = {}
_KEPT = "typed_before_registering"
# Of one caller after the other; a session on a shared computer need not remember a whole day.
_MOST = 5


def address(request: HttpRequest, then: str, typed: dict[str, Any]) -> str:
    """Give the address of the form, whose way back carries the key of what was typed and nobody's name."""
    key, kept = secrets.token_hex(4), request.session.get(_KEPT, {})
    request.session[_KEPT] = dict([*kept.items(), (key, typed)][-_MOST:])
    return f"{resolve_url('clinic:register')}?{urlencode({'then': then, 'typed': key})}"


def typed(request: HttpRequest) -> dict[str, Any]:
    """Give what was typed before; nothing where the address names nothing that this session keeps."""
    found: dict[str, Any] = request.session.get(_KEPT, {}).get(request.GET.get("typed", ""), {})
    return found


def first_fields(request: HttpRequest) -> dict[str, str]:
    """Give name and number as they were typed, “Zoë Müller” or “Müller, Zoë”, for the fields of the form."""
    said = typed(request)
    name = said.get("name", "")
    given, _space, family = name.rpartition(" ")
    if "," in name:
        family, _comma, given = name.partition(",")
    return {"given_name": given.strip(), "family_name": family.strip(), "phone": said.get("number", "")}


def goes_on(request: HttpRequest, patient: Patient) -> str:
    """Give the page that follows: the record, or where the registering was begun."""
    page = GOES_ON.get(request.GET.get("then", ""))
    if page is None:
        return resolve_url("clinic:patient", patient.pk)
    return f"{resolve_url(page, patient.pk)}?{urlencode({'typed': request.GET.get('typed', '')})}"

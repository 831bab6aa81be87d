from django.contrib.auth.decorators import login_not_required
from django.db import connection
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect

from clinic.access import allow
from clinic.models import Role

# Each desk opens on what to do now.
START = {
    Role.NURSE: "scheduling:today",
    Role.DERMATOLOGIST: "lesions:decisions",
    Role.MANAGER: "scheduling:missed",
    Role.ADMINISTRATOR: "clinic:staff",
}


@allow(None)
def start(request: HttpRequest) -> HttpResponse:
    return redirect(START[request.user.role])


@login_not_required
def health(request: HttpRequest) -> JsonResponse:
    """For the proxy and the launcher: the process answers and the database does."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    return JsonResponse({"ok": True})

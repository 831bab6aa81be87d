from django.contrib.auth.decorators import login_not_required
from django.db import connection
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect

from clinic import heartbeat, jobs
from clinic.access import StaffRequest, allow
from clinic.models import Role

# Each desk opens on what to do now.
START: dict[str, str] = {
    Role.NURSE: "scheduling:today",
    Role.DERMATOLOGIST: "lesions:decisions",
    Role.MANAGER: "scheduling:missed",
    Role.ADMINISTRATOR: "clinic:staff",
}


@allow(None)
def start(request: StaffRequest) -> HttpResponse:
    """Lead whoever signed in to the page of their own work."""
    return redirect(START[request.user.role])


@login_not_required
def health(request: HttpRequest) -> JsonResponse:
    """Tell a monitor how the program does: 503 names what stands still; `?web` asks only web process and database."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    # After the question to the database: a process that cannot reach it is not alive.
    heartbeat.beat("web")
    if "web" in request.GET:
        return JsonResponse({"ok": True})
    still = heartbeat.standing_still(list(jobs.activities()))
    still += [f"chore {name}" for name in jobs.failing_chores()]
    still += [] if heartbeat.broker_answers() else ["broker"]
    answer = {"ok": False, "standing_still": still} if still else {"ok": True}
    return JsonResponse(answer, status=503 if still else 200)

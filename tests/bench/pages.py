"""The lists of a large clinic: python -m tests.bench.pages [patients] [due] [--database sqlite|URL] [--keep FOLDER].

Builds invented patients in a throw-away database, of whom `due` stand on today's list, and asks for each list as the
person who works from it. Beside each stands a plain page of as many rows: one indexed query through the same base
template, by the same person in the same run, called by turns. Milliseconds are processor time of this process, the
median of calls after a first one; on PostgreSQL the database's own time comes on top and is part of the seconds by the
wall. With `--keep` the clinic is built once, stays, and is measured again by the next run of the same numbers.
"""

import argparse
import functools
import re
import statistics
import tempfile
import time

from tests.bench.paged_clinic import invent
from tests.bench.replanning import prepare
from tests.bench.table import load

CALLS = 15
# (name, who asks, page and what stands in its address, what is asked for)
LISTS = (
    ("Today", "nurse", "scheduling:today", {}),
    ("Missed", "nurse", "scheduling:missed", {}),
    ("Missed, one reason", "nurse", "scheduling:missed", {"why": "not_reached"}),
    ("Results", "nurse", "lesions:results", {}),
    ("Problems", "nurse", "scheduling:problems", {}),
    ("Patients", "nurse", "clinic:patients", {}),
    ("Diary, a day", "nurse", "scheduling:diary", {}),
    ("Diary, a week", "nurse", "scheduling:diary", {"view": "week"}),
    ("Decisions", "dermatologist", "lesions:decisions", {}),
    ("Pictures", "nurse", "lesions:pictures", {}),
    ("Past misses", "manager", "scheduling:past_misses", {}),
    (
        "Rows behind a number",
        "manager",
        "scheduling:past_miss_rows",
        {"how": "open", "what": "full_skin_check"},
    ),
    ("Trail by staff", "manager", "clinic:staff_trail", {}),
    ("One place of the count", "manager", "scheduling:place problem", {}),
)
PLAIN = """{% extends "clinic/base.html" %}{% load quarterday %}{% block content %}<table><tbody>
{% for row in rows %}<tr><th><a href="{% url 'clinic:patient' row.pk %}">{{ row }}</a></th><td>{{ row.number }}</td>
<td>{{ row.born|day }}</td></tr>
{% endfor %}</tbody></table>{% endblock %}"""
# A row of a list or of a table, and whom an alarm of Missed names.
ROW = re.compile(r'<(?:article|div) class="row"|<tr>\s*<t[dh][ >](?! ?scope="col")|<li>\s*<a class="name"')


def plain(request, rows):
    """As many rows as the page beside it, from one indexed query."""
    from django.http import HttpResponse

    from clinic.models import Patient

    found = Patient.objects.order_by("pk")[:rows]
    return HttpResponse(compiled().render({"rows": found}, request))


@functools.cache
def compiled():
    """Compile the plain template once, as those of the lists are."""
    from django.template import engines

    return engines["django"].from_string(PLAIN)


def settle():
    """Settings as the tests have them: no static manifest, no redirect to https; the pages are the same."""
    import sys
    from types import ModuleType

    from django.conf import settings
    from django.urls import include, path

    settings.ALLOWED_HOSTS = ["testserver"]
    settings.SECURE_SSL_REDIRECT = settings.SESSION_COOKIE_SECURE = settings.CSRF_COOKIE_SECURE = False
    settings.STORAGES["staticfiles"]["BACKEND"] = "django.contrib.staticfiles.storage.StaticFilesStorage"
    settings.MIDDLEWARE = [name for name in settings.MIDDLEWARE if not name.startswith("whitenoise")]
    urls = ModuleType("tests.bench.urls")
    urls.urlpatterns = [path("plain/<int:rows>/", plain), path("", include("clinic.project.urls"))]
    sys.modules[urls.__name__] = urls
    settings.ROOT_URLCONF = urls.__name__


def ask(client, address, query=None):
    """Questions of a page, and the page."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client.get(address, query)
    with CaptureQueriesContext(connection) as asked:
        page = client.get(address, query).content.decode()
    return len(asked), page


def write():
    """Write what changes nothing and yet overtakes every number and every answer that was kept."""
    from django.db.models import F

    from clinic.models import Duty

    Duty.objects.filter(pk=Duty.objects.values("pk")[:1]).update(note=F("note"))


def by_turns(client, before, *asked):
    """Processor ms and ms by the wall of each page, one after the other: what slows the machine slows both."""
    took = [[] for _ in asked]
    for _ in range(CALLS):
        for times, (address, query) in zip(took, asked, strict=True):
            before()
            worked, begun = time.process_time(), time.perf_counter()
            answer = client.get(address, query)
            times.append((1000 * (time.process_time() - worked), 1000 * (time.perf_counter() - begun)))
            assert answer.status_code == 200, answer.status_code
    return [tuple(statistics.median(of) for of in zip(*times, strict=True)) for times in took]


def signed_in(role):
    from django.test import Client

    from clinic.models import Member
    from tests import build

    client = Client()
    member = Member.objects.filter(role=role, is_active=True).first() or build.member(role)
    client.force_login(member, backend="clinic.project.backends.ClinicBackend")
    return client


def address_of(page):
    from django.urls import reverse

    name, *args = page.split()
    return reverse(name, args=args)


def measure(only="", before=lambda: None):
    clients = {role: signed_in(role) for role in ("nurse", "dermatologist", "manager")}
    print("| list | rows | processor ms | plain ms | ratio | ms by the wall | plain | queries | KiB |")
    print("|---|---|---|---|---|---|---|---|---|", flush=True)
    for name, role, page, query in LISTS:
        if only.lower() not in name.lower():
            continue
        asked, text = ask(clients[role], address_of(page), query)
        rows = len(ROW.findall(text))
        plain_page = f"/plain/{rows}/"
        ask(clients[role], plain_page)
        found = by_turns(clients[role], before, (address_of(page), query), (plain_page, None))
        (worked, wall), (bare, bare_wall) = found
        print(
            f"| {name} | {rows} | {worked:.0f} | {bare:.0f} | {worked / bare:.1f} | {wall:.0f} | {bare_wall:.0f} "
            f"| {asked} | {len(text.encode()) / 1024:.0f} |", flush=True,
        )  # fmt: skip


def arguments(doc):
    asked = argparse.ArgumentParser(description=doc.splitlines()[0])
    asked.add_argument("patients", nargs="?", type=int, default=20_000)
    asked.add_argument("due", nargs="?", type=int, default=4_000)
    asked.add_argument("--database", default="sqlite")
    asked.add_argument("--only", default="", help="lists whose name holds this")
    asked.add_argument(
        "--written", action="store_true", help="somebody writes before each call, so nothing is kept"
    )
    asked.add_argument("--keep", default="", metavar="FOLDER", help="build once, and go on with it next time")
    return asked.parse_args()


def main():
    asked = arguments(__doc__)
    with tempfile.TemporaryDirectory(prefix="pages-") as folder:
        run(asked, prepare(asked.database, asked.keep or folder, keep=bool(asked.keep)))


def run(asked, connection):
    try:
        settle()
        build_once(asked, connection)
        print(f"{asked.patients} patients, {asked.due} due, {connection.vendor}\n")
        measure(asked.only, *[write] * asked.written)
        load()
    finally:
        if not asked.keep:
            connection.creation.destroy_test_db("bench", verbosity=0)


def build_once(asked, connection):
    """Invent the clinic unless an earlier run kept one of these numbers; its day is made anew."""
    from clinic import clock
    from clinic.models import Patient
    from scheduling.counting import whereabouts
    from tests import build

    kept = Patient.objects.count()
    if not kept:
        build.rules_in_force(), build.flags_in_force()
        invent(asked.patients, asked.due, build.dermatologist())
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
    elif kept != asked.patients:
        raise SystemExit(f"{asked.keep} holds a clinic of {kept} patients: name another folder.")
    whereabouts.count_everybody(clock.today())


if __name__ == "__main__":
    main()

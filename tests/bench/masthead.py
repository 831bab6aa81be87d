"""The numbers of the masthead on a page: python -m tests.bench.masthead [patients] [due] [--database sqlite|URL] [--keep FOLDER].

The clinic is that of `tests.bench.pages`, and may be one that it kept. Milliseconds are processor time of this process, the
least and the median of `CALLS` pages: with the numbers kept; right after an act of one's own, by the road of a request; with
the numbers overtaken by somebody else's write, so that the page counts them. Beside them what the count costs alone, and what
an act pays for it. On PostgreSQL the database's own time comes on top and is part of the milliseconds by the wall.
"""

import itertools
import statistics
import tempfile
import time

from tests.bench import pages
from tests.bench.replanning import prepare
from tests.bench.table import load

CALLS = 25
NUMBERS = itertools.count(int(time.time()))


def taken(of, before=lambda: None):
    """Processor ms and ms by the wall, least and median of as many calls."""
    took = []
    for _ in range(CALLS):
        before()
        worked, begun = time.process_time(), time.perf_counter()
        of()
        took.append((1000 * (time.process_time() - worked), 1000 * (time.perf_counter() - begun)))
    return [figure(column) for column in zip(*took, strict=True) for figure in (min, statistics.median)]


def masthead_of(client):
    """What a page asks for its masthead, as the context processor does it."""
    from django.test import RequestFactory

    from clinic.models import Member
    from clinic.project import context

    user = Member.objects.get(pk=client.session["_auth_user_id"])

    def masthead():
        request = RequestFactory().get("/")
        request.user = user
        return [(place.label, place.count) for place in context.desk(request)["places"]]

    return masthead


def measure():
    from clinic.tally import tally
    from scheduling.models import DeskLine

    keys = itertools.cycle(
        DeskLine.objects.filter(patient__isnull=False).values_list("patient", flat=True)[:CALLS]
    )
    lines = [("the count alone", taken(tally.count))]
    for role in ("nurse", "dermatologist"):
        client = pages.signed_in(role)
        masthead = masthead_of(client)
        for words, before in (
            ("kept", tally.keep),
            ("after an act of one's own", lambda client=client: an_act(client, next(keys))),
            ("after somebody else's write, counted anew", lambda: a_write(next(keys))),
        ):
            lines.append((f"{role}: {words}", taken(masthead, before)))
    lines.append(("what an act pays for the count after it", taken(tally.keep, lambda: a_write(next(keys)))))
    return lines


def an_act(client, patient):
    """A telephone number is added: by the road of a request, with all that follows before it answers."""
    from django.urls import reverse

    given = {"kind": "phone", "value": f"01 {next(NUMBERS)}", "own": "own"}
    assert client.post(reverse("clinic:add_route", args=[patient]), given).status_code == 302


def a_write(patient):
    """What a worker or somebody beside one writes; not by a request, so that nobody has counted it."""
    from clinic.models import Member, Patient
    from clinic.people import patients

    someone, by = Patient.objects.get(pk=patient), Member.objects.filter(role="nurse").first()
    patients.add_route(patient=someone, by=by, kind="phone", value=f"01 {next(NUMBERS)}")


def main():
    asked = pages.arguments(__doc__)
    with tempfile.TemporaryDirectory(prefix="masthead-") as folder:
        connection = prepare(asked.database, asked.keep or folder, keep=bool(asked.keep))
        try:
            pages.settle()
            pages.build_once(asked, connection)
            print(f"{asked.patients} patients, {asked.due} due, {connection.vendor}\n")
            print("| masthead | least ms of processor | median | least ms by the wall | median |")
            print("|---|---|---|---|---|")
            for words, figures in measure():
                print(f"| {words} | {' | '.join(f'{one:.1f}' for one in figures)} |", flush=True)
            load()
        finally:
            if not asked.keep:
                connection.creation.destroy_test_db("bench", verbosity=0)


if __name__ == "__main__":
    main()

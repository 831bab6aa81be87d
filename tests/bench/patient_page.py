"""The patient page beside a plain page and its neighbours: python -m tests.bench.patient_page [--profile].

One invented record as full as they come (nine lesions with pictures, duties of every kind) and one with one lesion, in a
throw-away database. The plain page is a signed-in page with one row of one indexed query, by the same person in the same run. Milliseconds
are processor time of this process, the median of calls after a first one.
"""

import argparse
import cProfile
import pstats
import tempfile

from tests.bench.pages import ask, settle, signed_in
from tests.bench.replanning import prepare
from tests.bench.table import load

PROFILED = 20


def measure(client, records):
    from django.urls import reverse

    pages = {f"patient, {words}": reverse("clinic:patient", args=[row.pk]) for words, row in records.items()}
    pages |= {
        f"patient, {words}, again": reverse("clinic:patient", args=[row.pk]) for words, row in records.items()
    }
    lesion = records["nine lesions"].lesions.first()
    pages |= {
        "lesion": reverse("lesions:lesion", args=[lesion.pk]),
        "Today": reverse("scheduling:today"),
        "Decisions": reverse("lesions:decisions"),
        "plain": "/plain/1/",
    }
    print("| page | processor ms | of plain | queries | KiB |\n|---|---|---|---|---|")
    plain = ask(client, "/plain/1/")[0]
    for name, address in pages.items():
        worked, _, asked, text = ask(client, address)
        print(
            f"| {name} | {worked:.0f} | {worked / plain:.1f} | {asked} | {len(text.encode()) / 1024:.0f} |",
            flush=True,
        )


def profile(client, record):
    from django.urls import reverse

    address, found = reverse("clinic:patient", args=[record.pk]), cProfile.Profile()
    found.enable()
    for _ in range(PROFILED):
        client.get(address)
    found.disable()
    pstats.Stats(found).sort_stats("cumulative").print_stats(90)


def main():
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--profile", action="store_true")
    asked = asked.parse_args()
    with tempfile.TemporaryDirectory(prefix="patient-page-") as folder:
        connection = prepare("sqlite", folder)
        try:
            run(asked)
        finally:
            connection.creation.destroy_test_db("bench", verbosity=0)


def run(asked):
    from tests import build
    from tests.full_record import full_record

    settle()
    build.rules_in_force(), build.flags_in_force(), build.tiers_in_force()
    records = {"nine lesions": full_record(), "one lesion": full_record(1)}
    client = signed_in("dermatologist")
    measure(client, records)
    if asked.profile:
        profile(client, records["nine lesions"])
    load()


if __name__ == "__main__":
    main()

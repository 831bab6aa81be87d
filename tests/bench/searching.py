"""Finding people: python -m tests.bench.searching [patients ...] [--database sqlite|URL] [--rounds N].

Builds invented people in a throw-away database and does, for each kind of search, what the page does: ask who is found,
count them, read the first fifty in order, and ask which of them share a name. Milliseconds are of processor, the least and the middle of
some rounds: this process's own, and on PostgreSQL those of the process that serves it (Linux tells them apart).
"""

import argparse
import os
import random
import statistics
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

from tests.bench.replanning import prepare, progress

BATCH = 2000
PAGE = 50
SYLLABLES = ("ba", "bre", "dor", "el", "fin", "gar", "hol", "is", "ka", "len", "mar", "nor", "ol", "pe", "ros", "san", "tor",
             "ul", "ver", "wil", "ößt", "łu", "çel", "ñe", "åm", "ze")  # fmt: skip
ENDS = ("son", "berg", "mann", "wicz", "ova", "ley", "ton", "ø", "é", "i")
GIVEN = 400
SOUGHT = {"given_name": "Zoë", "family_name": "Müller-Łukasz", "born": date(1971, 7, 19)}
# what is typed: what kind of search it is
KINDS = {
    "": "everybody",
    "Zoe": "a given name",
    "Müller, Zoë": "Family, Given",
    "zoe mueller-lukasz": "the whole name, spelled otherwise",
    "b": "one letter",
    "b k": "two letters",
    "mar": "three letters",
    "mar tor": "three letters of both names",
    "19.7.1971": "day of birth",
    "Muller 19 July 1971": "name and day",
    "QD-00042": "number of a record",
    "01 234 5678": "telephone, at home",
    "+353 (0)1 234 5678": "telephone, from abroad",
    "5678": "the end of a telephone number, or a record",
    "nobodyisso": "nobody",
}


def invented_name(random_):
    start = "".join(random_.choices(SYLLABLES, k=random_.choice((2, 2, 3)))) + random_.choice(ENDS)
    return start.capitalize()


def rows(count, random_, givens):
    """Families of any size; one in eight has two names."""
    from clinic import clock
    from clinic.models import Patient
    from clinic.people import finding

    families = [invented_name(random_) for _ in range(max(1, count // 4))]
    for _ in range(count):
        family = random_.choice(families)
        if not random_.randrange(8):
            family += "-" + random_.choice(families)
        given, born = random_.choice(givens), date(1930, 1, 1) + timedelta(random_.randrange(29_000))
        yield Patient(given_name=given, family_name=family, born=born, changed_at=clock.now(), number="",
                      **finding.folded(given, family))  # fmt: skip


def store(patients, first, random_):
    from clinic.formats.folding import phone_key
    from clinic.models import ContactRoute, NamePart, Patient
    from clinic.people import finding

    for place, patient in enumerate(patients):
        patient.number = finding.record_number(first + place)
    Patient.objects.bulk_create(patients)
    NamePart.objects.bulk_create(part for patient in patients for part in finding.parts_of(patient))
    numbers = [f"0{random_.randrange(1, 99)} {random_.randrange(10**6, 10**7)}" for _ in patients]
    ContactRoute.objects.bulk_create(
        ContactRoute(patient=patient, kind="phone", value=number, phone_key=phone_key(number))
        for patient, number in zip(patients, numbers, strict=True)
    )


def invent(count, first):
    """People in bulk, by the functions that fold what the pages store; their audit is no part of what is measured."""
    random_ = random.Random(first)
    people = list(rows(count, random_, [invented_name(random_) for _ in range(GIVEN)]))
    for start in range(0, count, BATCH):
        store(people[start : start + BATCH], first + start, random_)
        progress(min(start + BATCH, count), count)


def served_by(connection):
    """Processor seconds of the database's own process; none of its own on SQLite."""
    if connection.vendor == "sqlite":
        return lambda: 0.0
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        times = Path(f"/proc/{cursor.fetchone()[0]}/schedstat")
    return lambda: int(times.read_text().split()[0]) / 1e9


def find(words, page=1):
    from django.core.paginator import Paginator

    from clinic.people import finding

    found = finding.few_enough(finding.search(words)) if words else finding.search(words)
    if found is None:
        return f"over {finding.MOST_FOUND:,}"
    pages = Paginator(found, PAGE)
    shown = list(pages.get_page(page).object_list)
    finding.shared_names(shown)
    return f"{pages.count:,}"


def measure(words, rounds, served, page=1):
    """Least and middle milliseconds of a search, and how many were found."""
    find(words, page)
    spent = []
    for _ in range(rounds):
        begin = time.process_time() + served()
        count = find(words, page)
        spent.append(1000 * (time.process_time() + served() - begin))
    return min(spent), statistics.median(spent), count


def report(count, connection, rounds):
    served = served_by(connection)
    print(f"\n{count:,} people, {connection.vendor}, {rounds} rounds, load {os.getloadavg()[0]:.1f}\n")
    print("| search | typed | found | least ms | middle ms |\n|---|---|---|---|---|")
    for words, kind in KINDS.items():
        least, middle, found = measure(words, rounds, served)
        print(f"| {kind} | {words} | {found} | {least:.1f} | {middle:.1f} |", flush=True)
    least, middle, found = measure("", rounds, served, page=10**6)
    print(f"| the last page of everybody | | {found} | {least:.1f} | {middle:.1f} |", flush=True)


def run(asked, connection):
    from clinic.people import patients
    from tests import build

    try:
        patients.register(by=build.nurse(), phone="+353 1 234 5678", **SOUGHT)
        first = 100
        for count in sorted(asked.patients):
            invent(count, first)
            first += count
            if connection.vendor == "postgresql":
                with connection.cursor() as cursor:
                    cursor.execute("VACUUM ANALYZE")  # as autovacuum does in a running clinic
            report(first - 99, connection, asked.rounds)
    finally:
        connection.creation.destroy_test_db("bench", verbosity=0)


def main():
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("patients", nargs="*", type=int, default=[100_000])
    asked.add_argument("--database", default="sqlite")
    asked.add_argument("--rounds", type=int, default=15)
    asked = asked.parse_args()
    with tempfile.TemporaryDirectory(prefix="searching-") as folder:
        run(asked, prepare(asked.database, folder))


if __name__ == "__main__":
    main()

"""Finding pairs at night: python -m tests.bench.same_people [patients ...] [--database sqlite|URL].

Builds invented people in a throw-away database (`searching.py`), registers one in fifty a second time with a slip in
the name, gives one in ten the telephone of somebody of the same family name, and runs the chore of the night: once when
all pairs are new, once when all are known. Seconds of processor, SQLite's own work among them, and the most memory that
it added.
"""

import argparse
import os
import random
import tempfile
import time
import tracemalloc

from tests.bench.replanning import prepare
from tests.bench.searching import BATCH, invented_name, rows, store

TWICE, HOUSEHOLD = 50, 10


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("patients", type=int, nargs="*", default=[20_000])
    parser.add_argument("--database", default="sqlite")
    given = parser.parse_args()
    for count in given.patients:
        with tempfile.TemporaryDirectory() as folder:
            prepare(given.database, folder)
            measure(count)


def measure(count: int) -> None:
    from clinic.models import LikelyPair

    fill(count, random.Random(7))
    print(f"{count:,} records, load {os.getloadavg()[0]:.1f}")
    new, seconds = timed()
    print(f"all new: {new} pairs, {seconds:.1f} s")
    new, seconds = timed()
    print(f"all known: {new} new of {LikelyPair.objects.count()}, {seconds:.1f} s")
    tracemalloc.start()
    timed()
    print(f"most memory added: {tracemalloc.get_traced_memory()[1] / 2**20:.1f} MiB")


def timed() -> tuple[int, float]:
    from clinic import clock
    from clinic.merging import likely_same

    began = time.process_time()
    return likely_same.find_pairs(clock.today()), time.process_time() - began


def fill(count: int, random_: random.Random) -> None:
    from clinic.models import ContactRoute, Patient
    from clinic.people import finding

    givens = [invented_name(random_) for _ in range(400)]
    made = 0
    while made < count:
        some = list(rows(min(BATCH, count - made), random_, givens))
        for one in random_.sample(some, len(some) // TWICE):
            other = random_.choice(some)
            slip = one.given_name[:-1] + random_.choice("aeiou")
            other.given_name, other.family_name, other.born = slip, one.family_name, one.born
            for name, value in finding.folded(slip, one.family_name).items():
                setattr(other, name, value)
        store(some, made + 1, random_)
        made += len(some)
    for patient in Patient.objects.order_by("?")[: count // HOUSEHOLD]:
        relative = Patient.objects.filter(folded_family=patient.folded_family).exclude(pk=patient.pk).first()
        if relative:
            key = ContactRoute.objects.filter(patient=relative).values_list("phone_key", flat=True)[0]
            ContactRoute.objects.filter(patient=patient).update(phone_key=key)


if __name__ == "__main__":
    main()

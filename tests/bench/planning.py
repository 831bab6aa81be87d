"""Patients planned per second by the core, with reasons: python -m tests.bench.planning [patients].

The same run also makes the same due dates with a bare relativedelta loop (no facts, windows, reasons or problems),
so that the ratio of the two compares between machines. One process, one core, CPU seconds.
"""

import random
import sys
import time
from collections import Counter
from datetime import date, timedelta

from dateutil.relativedelta import relativedelta

from scheduling.rules.plan import engine
from scheduling.rules.ruleset import ruleset
from tests.scheduling.rules.build import build

RULES = ruleset.load(ruleset.shipped("default"))
TODAY = date(2026, 6, 1)
# Rule of the shipped set: months between visits.
INTERVALS = {"melanoma-invasive": 3, "melanoma-in-situ": 12, "bcc": 12, "scc-low": 6, "risk-renewal": 12}
CODES = {
    "melanoma": "melanoma-invasive",
    "melanoma_in_situ": "melanoma-in-situ",
    "bcc": "bcc",
    "scc": "scc-low",
}


def row(what, value):
    print(f"{what:<66}{value}")


def invented(random_):
    """A patient with one to three diagnoses, three lesions under watch and every visit of the past years."""
    first = TODAY - timedelta(random_.randrange(60, 700))
    codes = random_.choices(list(CODES), k=random_.choice([1, 1, 2, 3]))
    diagnoses = [
        {
            "id": str(index), "code": code, "anchor": str(first + timedelta(30 * index)),
            "risk_class": {"scheme": "S3", "class": "low"} if code == "scc" else None,
            "thickness": f"{random_.randrange(3, 45) / 10}" if code == "melanoma" else None,
            "ulceration": False, "n": "N0", "m": "M0", "stage_basis": "clinical", "primary": "known",
        }
        for index, code in enumerate(codes)
    ]  # fmt: skip
    lesions = [
        {"id": str(index), "monitoring": "long", "since": str(first), "last_image_on": str(first)}
        for index in range(3)
    ]
    visits = [first + timedelta(days) for days in range(90, (TODAY - first).days, 90)]
    return build(
        risk={"tier": "high", "assessed_on": str(first)},
        diagnoses=diagnoses,
        lesions=lesions,
        done=[{"on": str(day)} for day in visits],
    )


def bare_dates(starts):
    """The anchors' dates up to the due one, each counted by relativedelta."""
    return [
        anchor + relativedelta(months=months * number)
        for anchor, months, last in starts
        for number in range(1, last + 1)
    ]


def seconds(work):
    start = time.process_time()
    result = work()
    return time.process_time() - start, result


def quickest(patients):
    """On a machine with other work the best of many short runs says most."""
    return min(
        seconds(lambda: [engine.plan(facts, RULES, TODAY) for facts in patients])[0] for _ in range(25)
    )


def _bare(due):
    return [item for item in due if item.rule in INTERVALS]


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 5000
    random_ = random.Random(5)
    patients = [invented(random_) for _ in range(count)]
    taken, plans = seconds(lambda: [engine.plan(facts, RULES, TODAY) for facts in patients])
    due = [item for plan in plans for item in plan.due]
    starts = [(item.anchor, INTERVALS[item.rule], item.number) for item in _bare(due)]
    bare, targets = seconds(lambda: [bare_dates([start])[-1] for start in starts])
    # A further reason may want the same visit earlier, never later.
    assert all(item.target <= day for item, day in zip(_bare(due), targets, strict=True))
    row("patients, due rows, reasons", f"{count}, {len(due)}, {sum(len(item.reasons) for item in due)}")
    row("problems, by code", dict(Counter(one.code for plan in plans for one in plan.problems)))
    row("planned with reasons, patients per second and core", f"{count / taken:,.0f}")
    row("the quickest of 25 times over a hundred of them", f"{100 / quickest(patients[:100]):,.0f}")
    row("bare relativedelta loop for the same dates, patients per second", f"{count / bare:,.0f}")
    row("time of the core over time of the bare loop", f"{taken / bare:.1f}")


if __name__ == "__main__":
    main()

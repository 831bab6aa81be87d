"""A clinician's own interval, counted through step by step with python-dateutil, an independent calendar."""

from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.scheduling.rules.asking import MELANOMA, plan, row

# Days by which a visit may be early or late: docs/sources.md K2, a clinic setting; below two months a tenth of the interval.
TOLERANCE = {"P1D": 0, "P2W": 1, "P1M": 3, "P3M": 14, "P6M": 30, "P1Y": 60, "P1M15D": 4}
SPANS = {
    "P1D": {"days": 1}, "P2W": {"days": 14}, "P1M": {"months": 1}, "P3M": {"months": 3}, "P6M": {"months": 6},
    "P1Y": {"years": 1}, "P1M15D": {"months": 1, "days": 15},
}  # fmt: skip


@settings(deadline=None)  # a plan is made for each, on whatever machine
@given(
    st.sampled_from(sorted(SPANS)),
    st.dates(date(1990, 1, 1), date(2024, 5, 31)),
    st.dates(date(1985, 1, 1), date(2024, 5, 31)),
)
def test_the_first_occurrence_is_the_first_that_the_records_hold(interval, decided, since):
    """domain.md, 5: what lay before the records is not missed; its number tells how many went before."""
    found = row(
        plan(records_since=str(since), overrides=[{"interval": interval, "decided_on": str(decided)}])
    )
    number = 1
    while on(decided, interval, number) + timedelta(days=TOLERANCE[interval]) < since:
        number += 1
    assert (found.number, found.target) == (number, on(decided, interval, number))


def on(decided, interval, number):
    """Months and days are each counted from the day itself: never chained."""
    span = SPANS[interval]
    months = relativedelta(months=number * (span.get("months", 0) + 12 * span.get("years", 0)))
    return decided + months + timedelta(days=number * span.get("days", 0))


@pytest.mark.parametrize("interval, days", TOLERANCE.items())
def test_how_early_and_how_late_is_in_time(interval, days):
    found = row(plan(overrides=[{"interval": interval, "decided_on": "2024-05-31"}]))
    assert (found.target - found.earliest).days == (found.latest - found.target).days == days


@pytest.mark.parametrize(
    "seen, is_open", [("2024-06-23", True), ("2024-06-24", False), ("2024-07-10", False)]
)
def test_a_visit_within_a_week_of_an_own_day_is_the_visit(seen, is_open):
    """A week early is in time: a clinic setting, no source."""
    answer = plan(today=date(2024, 7, 20), overrides=[{"date": "2024-07-01"}], done=[{"on": seen}])
    assert ("override:1" in {due.rule for due in answer.due}) == is_open


def test_of_two_own_intervals_the_longer_lasting_says_what_is_replaced():
    """Melanoma of 31 Jan 2024, every three months: visits to the end of 2025 are replaced, the eighth is not."""
    own = {"interval": "P6M", "decided_on": "2024-05-31"}
    answer = plan(
        diagnoses=[MELANOMA],
        overrides=[own | {"id": "1", "until": "2025-12-31"}, own | {"id": "2", "until": "2024-12-31"}],
    )
    (rule,) = [one for one in row(answer).reasons if one.rule == "melanoma-invasive"]
    assert dict(rule.params)["number"] == 8

"""Calendar arithmetic against dateutil's relativedelta, an independent implementation of clamping, and against rrule."""

import itertools
from datetime import date, datetime, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from dateutil.rrule import MONTHLY, rrule
from hypothesis import given
from hypothesis import strategies as st

from scheduling.rules import dates
from scheduling.rules.dates import Duration
from scheduling.rules.plan import lateness

DAYS = st.dates(date(1900, 1, 1), date(2100, 12, 31))


@given(DAYS, st.integers(0, 130), st.integers(0, 400), st.integers(-8, 40))
def test_adding_agrees_with_relativedelta(day, months, days, times):
    oracle = day + relativedelta(months=months * times) + timedelta(days=days * times)
    assert dates.add(day, Duration(months, days), times) == oracle


def test_every_day_of_four_years_agrees_with_relativedelta():
    first = date(2023, 1, 1)
    for days in range(4 * 365 + 1):
        day = first + timedelta(days)
        for months in range(1, 13):
            assert dates.add(day, Duration(months)) == day + relativedelta(months=months)


def test_counting_from_the_anchor_does_not_drift():
    # Computed with dateutil (docs/sources.md, "Dates"): quarterly from 30 Nov 2025 is 28 Feb, 30 May, 30 Aug, 30 Nov
    found = [dates.add(date(2025, 11, 30), Duration(3), k) for k in range(1, 5)]
    assert found == [date(2026, 2, 28), date(2026, 5, 30), date(2026, 8, 30), date(2026, 11, 30)]


@pytest.mark.parametrize("year, day", [(1900, 28), (2000, 29), (2023, 28), (2024, 29), (2100, 28)])
def test_last_day_of_february(year, day):
    assert dates.add(date(year, 1, 31), Duration(1)) == date(year, 2, day)


@pytest.mark.parametrize(
    "text, expected",
    [
        ("P3M", Duration(3)),
        ("P2Y", Duration(24)),
        ("P1Y6M", Duration(18)),
        ("P2M15D", Duration(2, 15)),
        ("P6W", Duration(0, 42)),
        ("P0D", Duration()),
    ],
)
def test_reading_durations(text, expected):
    assert dates.parse(text) == expected
    assert dates.parse(dates.format(expected)) == expected


@pytest.mark.parametrize(
    "text", ["", "P", "3M", "P3", "P-3M", "P3M2Y", "PT3H", "P1.5M", "p3m", "P3M ", "P٣M"]
)
def test_other_texts_are_no_durations(text):
    with pytest.raises(ValueError, match="ISO 8601"):
        dates.parse(text)


@given(st.integers(0, 2000), st.integers(0, 3000))
def test_durations_survive_writing_and_reading(months, days):
    assert dates.parse(dates.format(Duration(months, days))) == Duration(months, days)


def test_half_an_interval():
    # 31 Jan to 30 Apr are 90 days: 45 are half, 44 are less (docs/domain.md, point 5)
    start = date(2025, 1, 31)
    assert dates.is_half_or_more(start, start + timedelta(45), Duration(3))
    assert not dates.is_half_or_more(start, start + timedelta(44), Duration(3))


def test_days_late():
    # Counted by hand: case 8 (31 days of January + 10), case 22 (28 days to the end of February + 15), case 7
    assert lateness.days_late(date(2025, 12, 31), date(2026, 2, 10)) == 41
    assert lateness.days_late(date(2026, 1, 31), date(2026, 3, 15)) == 43
    assert lateness.days_late(date(2026, 4, 30), date(2026, 4, 30)) == 0
    assert lateness.days_late(date(2026, 4, 30), date(2026, 5, 1)) == 1
    assert lateness.days_late(date(2026, 4, 30), date(2026, 4, 1)) == 0


def test_a_recall_enters_the_list_its_ladder_ahead():
    # docs/domain.md, point 9
    assert lateness.opens_on(date(2026, 1, 31), 28) == date(2026, 1, 3)


@pytest.mark.parametrize(
    "duration, text",
    [(Duration(3), "P3M"), (Duration(24), "P2Y"), (Duration(2, 15), "P2M15D"), (Duration(13, 1), "P1Y1M1D")],
)
def test_a_duration_is_written_without_its_empty_parts(duration, text):
    assert dates.format(duration) == text


def test_the_upper_bound_in_days_takes_the_longest_months():
    assert dates.longest_days(Duration(2, 3)) == 65


@given(DAYS, st.sampled_from([1, 2, 3, 4, 6, 12]), st.integers(1, 24))
def test_counting_agrees_with_rrule_where_no_month_is_too_short(day, months, times):
    # RFC 5545 skips short months, so its dates are a subset: the clamped ones are ours
    rule = rrule(MONTHLY, interval=months, count=times, dtstart=datetime(day.year, day.month, day.day))
    theirs = {moment.date() for moment in rule}
    last = max(theirs)
    ours = [dates.add(day, Duration(months), k) for k in range(24 * 12)]
    until = [found for found in ours if found <= last]
    assert theirs <= set(until)
    assert all(found.day < day.day for found in set(until) - theirs)
    assert all((found + timedelta(1)).day == 1 for found in set(until) - theirs)


@given(DAYS, st.sampled_from([1, 3, 6, 12]))
def test_rrule_told_to_take_the_last_fitting_day_agrees(day, months):
    # BYMONTHDAY 28…n with BYSETPOS -1 is the standard's own way to write "the n-th or the last day"
    days = list(range(min(day.day, 28), day.day + 1))
    first = datetime(day.year, day.month, 1)
    rule = rrule(MONTHLY, interval=months, count=25, dtstart=first, bymonthday=days, bysetpos=-1)
    assert [moment.date() for moment in rule] == [dates.add(day, Duration(months), k) for k in range(25)]


def test_which_of_two_spans_ends_first_is_what_their_days_say():
    """Against python-dateutil; whole months are compared without counting them out."""
    spans = [(months, days) for months in (0, 1, 2, 11, 12, 13) for days in (0, 1, 27, 31)]
    for anchor in (date(2023, 1, 31), date(2024, 1, 30), date(2024, 2, 29), date(2023, 12, 1)):
        for one, other in itertools.product(spans, spans):
            ends = [anchor + relativedelta(months=months, days=days) for months, days in (one, other)]
            assert dates.is_not_after(anchor, Duration(*one), Duration(*other)) == (ends[0] <= ends[1])

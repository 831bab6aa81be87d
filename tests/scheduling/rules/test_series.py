"""Where a series steps on: phase ends, single visits, overrides that end on a target (docs/domain.md, points 2, 5 and 7)."""

from datetime import date

import pytest

from scheduling.rules.plan import engine
from tests.scheduling.rules.asking import (
    CHECK,
    DEFAULT,
    MELANOMA,
    TODAY,
    YEARS,
    by_attendance,
    last_day,
    plan,
    row,
)
from tests.scheduling.rules.build import build


def seen(*days):
    return {"diagnoses": [MELANOMA], "done": [CHECK | {"on": day} for day in days]}


def strip(rules, until, **facts):
    """Targets of the skin checks up to `until`, by the calendar."""
    day = date.fromisoformat(until)
    shown = engine.upcoming(build(**facts), rules, last_day(facts), day)
    return sorted(str(due.target) for due in shown if due.purpose == "full_skin_check" and due.target <= day)


# Clinic setting, no source (docs/domain.md, 2): counted from attendance, phase ends stay tied to the anchor
@pytest.mark.parametrize(
    "last_visit, earliest",
    [
        ("2024-11-08", "2025-01-25"),  # three months on is 2025-02-08, 14 days early is before the phase end
        ("2024-11-20", "2025-01-31"),  # 14 days early would be after it
    ],
)
def test_a_window_cut_at_the_phase_end_opens_no_later_than_its_target(last_visit, earliest):
    rules = by_attendance(YEARS, '"ask"', '"P0D"')
    found = row(plan(rules, **seen("2024-05-20", "2024-08-20", last_visit)))
    assert (found.target, found.earliest) == (date(2025, 1, 31), date.fromisoformat(earliest))


ONCE_FIRST = (
    '[{ every = "P14D", for = "once", early = "P14D", late = "P0D" }, '
    '{ every = "P6M", for = "P2Y", early = "P30D", late = "P30D" }]'
)
ONCE_LAST = (
    '[{ every = "P1Y", for = "P2Y", early = "P180D", late = "P60D" }, '
    '{ every = "P6M", for = "once", early = "P30D", late = "P30D" }]'
)


def test_a_single_visit_that_was_kept_early_is_not_asked_for_again():
    rules = by_attendance(ONCE_FIRST, '"end"', None)
    assert row(plan(rules, **seen())).target == date(2024, 2, 14)
    found = row(plan(rules, **seen("2024-02-02")))
    assert (found.number, found.target) == (2, date(2024, 8, 2))


def test_the_strip_shows_a_single_visit_once():
    # the visit of 2025-08-31 is five months before the end of the yearly phase, so the single one follows it
    facts = seen("2025-01-31", "2025-08-31")
    rules = by_attendance(ONCE_LAST, '"end"', None)
    assert row(plan(rules, **facts)).target == date(2026, 2, 28)
    assert strip(rules, "2030-01-01", **facts) == ["2025-01-31", "2026-01-31", "2026-02-28"]
    kept = plan(rules, **seen("2025-01-31", "2025-08-31", "2026-02-28"))
    assert "full_skin_check" not in {due.purpose for due in kept.due}


def test_the_strip_by_attendance_keeps_a_finished_visit_on_its_last_day():
    rules = by_attendance(YEARS, '"ask"', '"P0D"')
    assert strip(rules, "2024-04-30", **seen("2024-05-20")) == ["2024-04-30"]
    assert strip(rules, "2024-04-29", **seen("2024-05-20")) == []


def test_an_override_replaces_the_target_on_its_own_last_day_too():
    decided = {"id": "9", "interval": "P2Y", "until": "2025-01-31"}
    facts = {"diagnoses": [MELANOMA], "overrides": [CHECK | decided]}
    before = [CHECK | decided | {"until": "2025-01-30"}]
    assert row(plan(**facts)).target == date(2025, 4, 30)
    assert row(plan(diagnoses=[MELANOMA], overrides=before)).target == date(2025, 1, 31)
    assert strip(DEFAULT, "2025-04-30", **facts) == ["2025-04-30"]


def test_a_missing_assessment_is_asked_for_without_doubt():
    found = row(plan(records_since="2024-05-20", today=TODAY), "risk_assessment")
    assert "may apply" not in found.reasons[0].text

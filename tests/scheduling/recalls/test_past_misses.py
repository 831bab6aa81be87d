"""What ran past its limit stays on record: by month, with how late it was and what became of it.

From when something counts as late, and to which month a miss belongs: clinic setting, no source. The median is checked
against Python's own `statistics`.
"""

import statistics
from datetime import UTC, date, datetime, time, timedelta

import pytest

from clinic.models import Duty
from clinic.people import visits
from scheduling.models import Recall
from scheduling.recalls import missed_reasons, past_misses
from scheduling.recalls.past_misses import Asked
from tests import build
from tests.scheduling import scene

pytestmark = pytest.mark.usefixtures("rules")
TODAY = scene.TODAY


def recall(latest, ended_on=None, state="due", **more):
    """A copy of an open check with another window and end."""
    one = scene.due_check()
    ended = {
        "completed": {"evidence": "clinic.visit:1"},
        "closed": {"ground": "moved", "closed_by": build.dermatologist()},
    }
    fields = {"earliest": latest, "target": latest, "latest": latest, "state": state, "ended_on": ended_on}
    Recall.objects.filter(pk=one.pk).update(**fields, **ended.get(state, {}), **more)
    return Recall.objects.get(pk=one.pk)


def duty(due, ended_on=None, at=None, **more):
    """A duty with its day; ended with evidence where it was done."""
    who = build.patient()
    ended = at or (datetime.combine(ended_on, time(11), tzinfo=UTC) if ended_on else None)
    fields = {
        "kind": "report",
        "patient": who,
        "opened_from": f"clinic.patient:{who.pk}",
        "opened_at": scene.NOON,
    }
    fields |= {"due_on": due, "ended_at": ended, "evidence": "x:1" if ended else ""}
    return Duty.objects.create(**fields, **more)


def found(**asked):
    return [(row["is_recall"], row["pk"]) for row in past_misses.rows_of(Asked(**asked), TODAY)]


def tallies(**asked):
    return dict(past_misses.by_month(Asked(**asked), TODAY, past_misses.months(TODAY)))


def split(by, **asked):
    return past_misses.splits(Asked(**asked), TODAY)[by]


def test_what_was_made_good_late_stays_in_the_month_of_its_limit():
    late = recall(date(2025, 7, 1), date(2026, 5, 18), "completed")
    recall(date(2025, 7, 20), date(2025, 7, 20), "completed")
    tally = tallies()[date(2025, 7, 1)]
    assert (tally.fell, tally.missed, tally.longest, tally.became) == (2, 1, 321, {"good": 1})
    assert found(month=date(2025, 7, 1)) == [(1, late.pk)]


def test_still_open_and_ended_otherwise_are_told_from_made_good():
    kept, done, gone = (
        recall(date(2026, 5, 3)),
        recall(date(2026, 5, 3), date(2026, 5, 9), "completed"),
        recall(date(2026, 5, 3), date(2026, 6, 1), "closed"),
    )
    assert tallies()[date(2026, 5, 1)].became == {"open": 1, "good": 1, "ended": 1}
    for how, row in (("open", kept), ("good", done), ("ended", gone)):
        assert found(how=how) == [(1, row.pk)]


def test_duties_are_counted_beside_recalls():
    urgent = duty(date(2026, 5, 3), urgent=True)
    plain = duty(date(2026, 5, 4), date(2026, 5, 14))
    duty(date(2026, 5, 4), date(2026, 5, 4))
    row = recall(date(2026, 5, 1), date(2026, 5, 2), "completed")
    tally = tallies()[date(2026, 5, 1)]
    assert (tally.fell, tally.missed) == (4, 3)
    assert found() == [(0, urgent.pk), (0, plain.pk), (1, row.pk)], "the longest late first"
    assert {key: one.missed for key, one in split("urgency")} == {
        "A": 1,
        "-": 1,
        "B": 1,
    }
    assert {key: one.missed for key, one in split("what")} == {
        "report": 2, "full_skin_check": 1,
    }  # fmt: skip


@pytest.mark.parametrize("late", [[4], [1, 8], [2, 2, 9], [1, 3, 3, 40], [5, 1, 1, 1, 7]])
def test_the_median_is_that_of_pythons_statistics(late):
    for days in late:
        duty(date(2026, 4, 1), date(2026, 4, 1) + timedelta(days=days))
    tally = tallies()[date(2026, 4, 1)]
    assert (tally.median, tally.longest) == (statistics.median(late), max(late))


def test_each_number_is_its_rows():
    recall(date(2026, 5, 3)), recall(date(2026, 3, 3), date(2026, 5, 9), "completed"), duty(date(2026, 5, 3))
    (
        duty(date(2026, 3, 3), date(2026, 4, 2), urgent=True),
        recall(date(2026, 3, 3), date(2026, 3, 4), "closed"),
    )
    for month, tally in tallies().items():
        assert tally.missed == len(found(month=month)) == sum(tally.became.values())
        for how, number in tally.became.items():
            assert number == len(found(month=month, how=how))
        assert tally.fell == len(found(month=month, every="1"))
        for by in ("what", "clinician", "urgency"):
            for key, part in split(by, month=month):
                assert part.missed == len(found(month=month, **{by: key}))


def test_open_recalls_that_ran_past_are_those_of_missed():
    recall(date(2026, 5, 3)), recall(TODAY), recall(date(2026, 3, 3), date(2026, 5, 9), "completed")
    left = recall(date(2026, 2, 3)).patient
    type(left).objects.filter(pk=left.pk).update(status="deceased", status_on=left.born, status_ground="said")
    keys = {key for _is, key in found(how="open")}
    assert keys == set(missed_reasons.late(TODAY).values_list("pk", flat=True)) and len(keys) == 1


def test_a_miss_is_the_clinicians_who_had_seen_the_patient_last():
    row, before, after = recall(date(2026, 5, 3)), build.dermatologist(), build.dermatologist()
    for by, day in ((before, date(2026, 1, 9)), (after, date(2026, 6, 1))):
        done = [("risk_assessment", "patient")]
        visits.record(patient=row.patient, by=by, attended_on=day, done=done)
    Recall.objects.filter(pk=row.pk).update(state="due", ended_on=None)
    assert [key for key, _tally in split("clinician")] == [str(before.pk)]
    assert found(clinician=str(before.pk)) == [(1, row.pk)] and not found(clinician=str(after.pk))
    duty(date(2026, 5, 3))
    assert len(found(clinician=past_misses.NOBODY)) == 1


def test_what_was_entered_in_error_or_stood_twice_was_no_miss():
    recall(date(2026, 5, 3), date(2026, 6, 1), "closed", ended_how={"code": "merged"})
    wrong = recall(date(2026, 5, 3), date(2026, 6, 1), "closed")
    Recall.objects.filter(pk=wrong.pk).update(ground="error")
    assert not found()


def test_the_end_of_a_duty_counts_by_the_clinics_own_day():
    """Half past midnight in the clinic is another day by the clock of the database."""
    duty(date(2026, 6, 16), at=datetime(2026, 6, 16, 22, 30, tzinfo=UTC))
    late = duty(date(2026, 6, 16), at=datetime(2026, 6, 16, 23, 30, tzinfo=UTC))
    assert found() == [(0, late.pk)]


def test_an_address_says_what_is_asked_and_nothing_else():
    asked = Asked.of({"month": "2026-05", "what": "report", "clinician": "x", "urgency": "Z", "how": "open"})
    assert asked == Asked(month=date(2026, 5, 1), what="report", how="open")
    assert asked.query(urgency="A") == "month=2026-05&what=report&urgency=A&how=open"
    assert Asked.of({"month": "2026-13"}) == Asked()

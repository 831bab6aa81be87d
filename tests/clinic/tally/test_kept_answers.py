"""What a list works out over all its rows is kept, and given only while it holds. Our own rule, no source."""

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from clinic import clock
from clinic.models import Duty, Policy, Tally, Visit
from clinic.tally import kept_answers, tally, tally_marks
from clinic.tally.kept_answers import KeptAnswer
from scheduling.models import Appointment
from tests.clinic.tally.test_tally import noon, owe  # noqa: F401 a fixture
from tests.test_queries import clinic  # noqa: F401 a fixture

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def owed(monkeypatch):
    """An answer over the open duties, the newest first, with the kind of each."""
    rows = Duty.objects.filter(ended_at=None).order_by("-pk")
    asked = {"owed": KeptAnswer(lambda: rows.values_list("pk", "kind"))}
    monkeypatch.setattr(kept_answers, "ANSWERS", asked)
    monkeypatch.setattr(kept_answers, "_KEPT", {})


def given():
    """What a page is given, and how many questions working it out took."""
    numbers = tally.standing()
    with CaptureQueriesContext(connection) as asked:
        found = kept_answers.give("owed", numbers)
    return [list(column) for column in found], len(asked)


def test_it_is_worked_out_once_and_column_by_column(noon):  # noqa: F811 the fixture
    first, second = owe(), owe()
    expected = [[second.pk, first.pk], ["find_a_way", "find_a_way"]]
    assert [given(), given()] == [(expected, 1), (expected, 0)]


def test_of_no_rows_there_are_as_many_columns(noon):  # noqa: F811 the fixture
    assert given() == ([[], []], 1)


def test_after_any_write_of_what_it_reads_it_is_worked_out_anew(noon):  # noqa: F811 the fixture
    duty = owe()
    given()
    Duty.objects.filter(pk=duty.pk).update(ended_at=clock.now(), evidence="x:1")
    assert given() == ([[], []], 1)


def test_it_follows_the_numbers_also_where_they_were_counted_elsewhere(noon):  # noqa: F811 the fixture
    """Another process counted after the write, so no mark stands any more: the revision alone tells."""
    given()
    duty = owe()
    tally.keep()
    assert tally.kept().holds and given() == ([[duty.pk], ["find_a_way"]], 1)


def test_numbers_begun_anew_bear_no_revision_of_before(noon):  # noqa: F811 the fixture
    """A migration and a restored database begin again, and what this process keeps is of another state."""
    given()
    duty = owe()
    Tally.objects.all().delete()
    assert given() == ([[duty.pk], ["find_a_way"]], 1)


def test_what_was_worked_out_and_rolled_back_is_never_given(noon):  # noqa: F811 the fixture
    """Both states were counted after the same one before them, and must not bear one number."""
    given()
    with pytest.raises(RuntimeError), transaction.atomic():
        duty = owe()
        assert given()[0] == [[duty.pk], ["find_a_way"]]
        raise RuntimeError
    second = owe()
    assert given() == ([[second.pk], ["find_a_way"]], 1)
    Duty.objects.filter(pk=second.pk).update(ended_at=clock.now(), evidence="x:1")
    assert given() == ([[], []], 1)


def test_beside_numbers_that_are_not_kept_nothing_is_kept(noon, monkeypatch):  # noqa: F811 the fixture
    monkeypatch.setattr(tally, "_write", lambda *_args, **_fields: False)
    owe()
    assert given()[1] == given()[1] == 1


def test_what_it_reads_is_marked_as_what_is_counted_is(monkeypatch):
    counted = tally_marks.tables()
    through = "scheduling_appointment_recalls"
    assert "clinic_visit" not in counted and through not in counted
    visits = Visit.objects.filter(patient__duties=None).values_list("pk")
    booked = Appointment.recalls.through.objects.values_list("pk")
    asked = {"visits": KeptAnswer(lambda: visits, besides=(Policy,)), "booked": KeptAnswer(lambda: booked)}
    monkeypatch.setattr(kept_answers, "ANSWERS", asked)
    assert tally_marks.tables() - counted == {"clinic_visit", through, "clinic_policy"}

"""Who approved what, and whose dates were accepted with it: read from the audit trail (docs/domain.md, point 7)."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.tally import tally
from scheduling.rule_changes import approval
from tests import build
from tests.page import read
from tests.scheduling import scene
from tests.scheduling.rule_changes.test_preview import FIRST, longer, proposed, shown, signed

pytestmark = pytest.mark.usefixtures("rules")


@pytest.fixture
def nurse(client):
    client.force_login(build.nurse(), backend="clinic.project.backends.ClinicBackend")
    return client


def approved():
    policy = longer()
    found = shown(policy)
    return signed(policy, found), found


def test_what_was_accepted_is_read_back_as_it_was_shown():
    scene.due_check(), scene.overdue_check()
    policy, found = approved()
    changes, people = approval.changes_of(policy)
    order = lambda one: (one.patient, one.purpose, one.subject)  # noqa: E731
    assert sorted(changes, key=order) == sorted(found.changes, key=order) and len(people) == 2


def test_the_rules_page_says_who_signed_and_how_many_wait_longer(nurse):
    first = scene.due_check()
    policy, _ = approved()
    page = read(nurse.get(reverse("scheduling:rules")))
    assert "1 person, 1 seen later" in page and f"{policy.approved_by}, dermatologist" in page
    link = reverse("scheduling:rules_accepted", args=[policy.pk])
    assert page.leads_to(link)
    answer = read(nurse.get(link))
    assert str(first.patient) in answer and "92 days later" in answer


@pytest.mark.parametrize(
    ("window", "words"),
    [
        ('early = "P14D", late = "P28D"', "1 person, 1 seen later"),  # the last day comes a fortnight later
        ('early = "P7D", late = "P14D"', "1 person, none seen later"),  # only the window opens later
    ],
)
def test_who_is_seen_later_is_counted_apart_from_who_only_moves(nurse, window, words):
    scene.due_check()
    policy = proposed(new=FIRST.replace('early = "P14D", late = "P14D"', window))
    signed(policy, shown(policy))
    assert words in read(nurse.get(reverse("scheduling:rules")))


def test_a_set_that_moved_nobody_says_so(nurse):
    page = read(nurse.get(reverse("scheduling:rules")))
    assert "nobody’s dates" in page and "seen later" not in page


def test_more_versions_and_people_ask_no_more_questions(nurse):
    def counted(url):
        with CaptureQueriesContext(connection) as found:
            assert nurse.get(url).status_code == 200
        return len(found)

    scene.due_check()
    policy, _ = approved()
    urls = reverse("scheduling:rules"), reverse("scheduling:rules_accepted", args=[policy.pk])
    [counted(url) for url in urls]
    one = [counted(url) for url in urls]
    scene.due_check(), scene.due_check()
    last, _ = approved()
    urls = urls[0], reverse("scheduling:rules_accepted", args=[last.pk])
    tally.keep()  # as the request does that writes them
    assert [counted(url) for url in urls] == one and max(one) <= 20


def test_the_tick_counts_the_duties(nurse, client):
    """One duty waits, six duties wait: the sentence under which somebody signs."""
    scene.due_check()
    policy = longer()
    client.force_login(build.dermatologist(), backend="clinic.project.backends.ClinicBackend")
    url = reverse("scheduling:rules_preview", args=[policy.pk])
    assert "I accept that this duty waits longer" in read(client.get(url))
    scene.due_check()
    assert "I accept that these 2 duties wait longer" in read(client.get(url))

"""Decisions: once, by a dermatologist, on pictures that were looked at; and what they move.

Who signs, and what a decision moves: common practice, no source.
"""

from threading import Barrier, Thread

import pytest
from django.db import connection, transaction

from clinic.access import NotAllowed
from clinic.duties import proposals
from lesions.looking import queue, showing
from lesions.models import Review, SignOff
from lesions.pictures import intake, storage
from lesions.register import register
from lesions.review import signoff
from lesions.review.signoff import SignOffRefused, StaleReview
from tests import build
from tests.lesions import scene

pytestmark = pytest.mark.django_db


@pytest.fixture
def review():
    return scene.measured(scene.lesion())


def look(review, member):
    for picture in showing.pictures_of(review, review.comparison):
        intake.deliver(image=picture, to=member)


def sign(review, by=None, decision="reassure", **more):
    by = by or build.dermatologist()
    look(review, by)
    fields = {"review_id": review.pk, "revision": review.revision, "decision": decision} | more
    return signoff.record(by=by, **fields)


def test_a_signature_keeps_what_was_seen_and_moves_the_facts(review):
    before = review.lesion.patient.facts_revision
    signed = sign(review, note="as before")
    assert signed.seen == [review.assessment.image.sha256]
    assert signed.version == review.assessment.version
    review.refresh_from_db()
    review.lesion.patient.refresh_from_db()
    assert review.state == "signed" and not queue.flagged().exists()
    assert review.lesion.patient.facts_revision > before


def test_of_two_people_who_sign_at_once_the_second_is_told(review):
    first, second = build.dermatologist(), build.dermatologist()
    sign(review, first, "biopsy")
    with pytest.raises(StaleReview):
        sign(review, second, "reassure")
    assert SignOff.objects.get().by == first
    review.lesion.refresh_from_db()
    assert review.lesion.state == "biopsy_decided"


@pytest.mark.django_db(transaction=True)
def test_two_signatures_in_two_connections_end_in_one():
    review, people = scene.measured(scene.lesion()), [build.dermatologist(), build.dermatologist()]
    for member in people:
        look(review, member)
    start, answers = Barrier(2), []

    def run(member):
        start.wait()
        try:
            signoff.record(review_id=review.pk, by=member, decision="biopsy", revision=review.revision)
            answers.append("signed")
        except StaleReview:
            answers.append("stale")
        finally:
            connection.close()

    threads = [Thread(target=run, args=(member,)) for member in people]
    [thread.start() for thread in threads]
    [thread.join() for thread in threads]
    assert sorted(answers) == ["signed", "stale"] and SignOff.objects.count() == 1


def test_a_nurse_cannot_sign(review):
    with pytest.raises(NotAllowed):
        sign(review, build.nurse())


def test_a_picture_that_was_not_sent_to_this_member_refuses_the_signature(review):
    look(review, build.dermatologist())
    with pytest.raises(SignOffRefused, match="not shown to you"):
        signoff.record(
            review_id=review.pk, by=build.dermatologist(), decision="reassure", revision=review.revision
        )
    review.refresh_from_db()
    assert review.state == "waiting"


def test_both_pictures_must_have_been_sent_since_the_review_opened():
    lesion, member = scene.lesion(), build.dermatologist()
    first = scene.measured(lesion, days_ago=90)
    sign(first, member)
    second = scene.measured(lesion)
    assert len(showing.pictures_of(second, second.comparison)) == 2
    intake.deliver(image=second.assessment.image, to=member)
    with pytest.raises(SignOffRefused, match="not shown to you"):
        signoff.record(review_id=second.pk, by=member, decision="reassure", revision=second.revision)
    sign(second, member)


def test_a_picture_that_changed_on_the_disk_refuses_the_signature(review):
    storage.path(review.assessment.image.derivative_sha256).write_bytes(b"another picture")
    with pytest.raises(SignOffRefused, match="changed"):
        sign(review)


def test_in_person_needs_no_delivery_and_counts_as_an_examination(review):
    doctor = build.dermatologist()
    signoff.record(
        review_id=review.pk, by=doctor, decision="reassure", revision=review.revision, in_person=True
    )
    review.lesion.refresh_from_db()
    assert review.lesion.examined_in_person_on is not None


@pytest.mark.parametrize(
    ("decision", "months", "state", "monitoring"),
    [
        ("biopsy", None, "biopsy_decided", None),
        ("excise", None, "biopsy_decided", None),
        ("look_again", 3, "watched", "short"),
        ("look_again", 4, "watched", "short"),
        ("look_again", 6, "watched", "long"),
        ("already_removed", None, "removed", None),
        ("inadequate", None, "watched", "long"),
        ("reassure", None, "watched", "long"),
        ("refer", None, "watched", "long"),
        ("wrong_subject", None, "watched", "long"),
    ],
)
def test_what_a_decision_moves(decision, months, state, monitoring):
    """Three months short-term, six to twelve long-term: ALT08, BJD08."""
    review = scene.measured(scene.lesion(monitoring="long"))
    signed = sign(review, decision=decision, months=months)
    review.lesion.refresh_from_db()
    assert (review.lesion.state, review.lesion.monitoring) == (state, monitoring)
    assert signed.months == months


@pytest.mark.parametrize(
    ("decision", "months"), [("look_again", None), ("look_again", 25), ("biopsy", 3), ("cure", None)]
)
def test_a_decision_that_does_not_hold_together_is_refused(review, decision, months):
    with pytest.raises(SignOffRefused):
        sign(review, decision=decision, months=months)


def test_a_raised_lesion_is_not_watched_on_from_a_picture(review):
    """Raised, firm, growing or bleeding: no monitoring slot (OCP 2.1, NG12)."""
    register.note_sign(lesion=review.lesion, by=build.nurse(), sign="raised")
    review.refresh_from_db()
    for decision, months in (("reassure", None), ("look_again", 3)):
        with pytest.raises(SignOffRefused, match="in person"):
            sign(review, decision=decision, months=months)
    assert sign(review, decision="excise").decision == "excise"


def test_urgent_comes_first_then_the_oldest():
    old, new, urgent = (scene.lesion() for _ in range(3))
    reviews = [scene.measured(lesion, scene.jpeg(seed)) for seed, lesion in enumerate((old, new, urgent))]
    register.note_sign(lesion=urgent, by=build.nurse(), sign="bleeding")
    assert [review.lesion for review in queue.flagged()] == [urgent, old, new]
    assert len(reviews) == 3


def test_a_second_reading_waits_on_for_somebody_else(review):
    asker, other = build.dermatologist(), build.dermatologist()
    codes = set(review.flags.values_list("code", flat=True))
    sign(review, asker, "second_reading")
    again = Review.objects.get(state="waiting")
    assert set(again.flags.values_list("code", flat=True)) == codes | {"second_reading"}
    with pytest.raises(SignOffRefused, match="another dermatologist"):
        sign(again, asker, "reassure")
    assert sign(again, other, decision="reassure").review == again


def test_a_decision_in_person_needs_no_picture_and_leaves_what_waits():
    lesion = scene.lesion()
    signed = signoff.decide_in_person(lesion=lesion, by=build.dermatologist(), decision="biopsy")
    lesion.refresh_from_db()
    assert (lesion.state, signed.review, signed.in_person) == ("biopsy_decided", None, True)
    waiting = scene.measured(lesion)
    signoff.decide_in_person(lesion=lesion, by=build.dermatologist(), decision="excise")
    waiting.refresh_from_db()
    assert waiting.state == "waiting"


def test_a_lesion_entered_in_error_leaves_the_queue_only_as_wrong(review):
    said = {"state": "entered_in_error", "reason": "another patient's"}
    lesion, doctor = review.lesion, build.dermatologist()
    asked = register.amend_or_propose(lesion=lesion, by=build.nurse(), revision=lesion.revision, **said)
    proposals.confirm(proposal=asked, by=doctor, revision=asked.revision)
    with pytest.raises(SignOffRefused):
        sign(review, decision="reassure")
    assert sign(review, decision="wrong_subject")


def test_an_addendum_stands_below_and_changes_nothing(review):
    signed = sign(review)
    signoff.add_addendum(signoff=signed, by=build.dermatologist(), text=" seen again ")
    signed.refresh_from_db()
    assert signed.decision == "reassure" and signed.addenda.get().text == "seen again"
    with pytest.raises(SignOffRefused):
        signoff.add_addendum(signoff=signed, by=build.dermatologist(), text="  ")


def test_a_refused_signature_leaves_no_trace(review):
    with transaction.atomic(), pytest.raises(SignOffRefused):
        signoff.record(
            review_id=review.pk, by=build.dermatologist(), decision="biopsy", revision=review.revision
        )
    review.lesion.refresh_from_db()
    assert review.lesion.state == "watched" and not SignOff.objects.exists()

"""What a signature leaves owed, and what alone ends it. How this clinic works: common practice, no source."""

from datetime import timedelta

import pytest

from clinic import clock
from clinic.access import NotAllowed
from clinic.duties import ledger, steps
from clinic.duties.ledger import DutyRefused
from clinic.models import AuditRecord, Duty
from lesions.analysis.drawing.phantom import draw
from lesions.looking import queue
from lesions.measuring import measure
from lesions.models import Image, Review, SignOff
from lesions.pictures import storage
from lesions.pictures.intake import PictureRefused
from lesions.register import register
from lesions.results import pathology
from lesions.review import owed, putting_right, questions, reviews, signoff, taking_back
from lesions.review.signoff import AskedFirst, SignOffRefused
from scheduling.planning import replan
from scheduling.planning.gather import gather_facts
from tests import build
from tests.lesions import scene
from tests.lesions.analysis import pictures as drawn
from tests.lesions.review.test_signoff import look, sign
from tests.scheduling import scene as booking_scene

pytestmark = pytest.mark.django_db


@pytest.fixture
def review():
    return scene.measured(scene.lesion(monitoring="long"), days_ago=3)


def usable(lesion, seed=1, **more):
    """A drawn lesion of good quality, as the worker measures it."""
    return scene.measured(lesion, drawn.jpeg(draw(drawn.small(seed)).image), **more)


def failing(lesion):
    picture = scene.file(lesion)
    storage.path(picture.sha256).write_bytes(b"rotten")
    measure.measure_picture(picture.assessments.get().pk)
    return picture


def kinds(patient):
    return sorted(row.kind for row in ledger.open_duties(patient))


def open_duty(lesion, kind):
    return ledger.open_duties(lesion.patient).get(kind=kind)


# ---- way 6: a referral is a loop


def test_refer_opens_the_sending_and_the_decision_ends_nothing(review):
    signed = sign(review, decision="refer")
    duty = ledger.open_duties(review.lesion.patient).get()
    assert (duty.kind, duty.subject) == ("send_referral", f"lesion:{review.lesion.pk}")
    assert (duty.opened_from, duty.urgent) == (f"lesions.signoff:{signed.pk}", False)


def test_a_referral_for_a_noted_sign_is_urgent(review):
    register.note_sign(lesion=review.lesion, by=build.nurse(), sign="bleeding")
    review.refresh_from_db()
    sign(review, decision="refer")
    assert ledger.open_duties(review.lesion.patient).get(kind="send_referral").urgent


def test_a_referral_ends_only_when_its_letter_is_read(review, doctor):
    sign(review, doctor, "refer")
    said = {"whom": "the hospital", "words": "seen"}
    for outcome in ("sent", "accepted", "answered", "read"):
        duty = ledger.open_duties(review.lesion.patient).get()
        steps.settle(duty=duty, by=doctor, revision=duty.revision, outcome=outcome, **said)
    assert kinds(review.lesion.patient) == []


# ---- way 14: a picture that nobody could judge


def test_inadequate_asks_for_the_picture_within_days(review):
    sign(review, decision="inadequate")
    duty = open_duty(review.lesion, "repeat_picture")
    review.lesion.refresh_from_db()
    assert duty.due_on == clock.today() + timedelta(days=14)
    assert review.lesion.monitoring == "long"


def test_an_inadequate_picture_is_no_last_picture(review):
    patient = review.lesion.patient
    assert gather_facts(patient).lesions[0].last_image_on is not None
    sign(review, decision="inadequate")
    assert gather_facts(patient).lesions[0].last_image_on is None


def test_only_a_usable_picture_ends_the_repeat(review):
    sign(review, decision="inadequate")
    scene.measured(review.lesion)  # noise: nothing is found in it
    assert open_duty(review.lesion, "repeat_picture")
    picture = usable(review.lesion).assessment.image
    duty = Duty.objects.get(kind="repeat_picture")
    assert (duty.evidence, duty.ended_by) == (f"lesions.image:{picture.pk}", None)


def test_an_older_picture_filed_late_is_no_repeat(review):
    sign(review, decision="inadequate")
    usable(review.lesion, days_ago=9)
    assert open_duty(review.lesion, "repeat_picture")


def test_a_later_decision_ends_the_repeat(review, doctor):
    sign(review, decision="inadequate")
    signed = signoff.decide_in_person(lesion=review.lesion, by=doctor, decision="reassure")
    assert Duty.objects.get(kind="repeat_picture").evidence == f"lesions.signoff:{signed.pk}"


def test_a_failed_picture_is_taken_again_and_owed_once():
    lesion = scene.lesion()
    failing(lesion)
    assert open_duty(lesion, "repeat_picture").opened_by is None
    sign(Review.objects.get(state="waiting"), decision="inadequate", in_person=True)
    assert kinds(lesion.patient) == ["repeat_picture"]


def test_a_failed_picture_decided_otherwise_is_owed_no_more():
    lesion = scene.lesion()
    failing(lesion)
    sign(Review.objects.get(state="waiting"), decision="excise", in_person=True)
    assert kinds(lesion.patient) == []


def test_a_useless_picture_replaces_no_decision(review, doctor):
    """An excision that was decided stands, whatever is said of a later photograph."""
    signoff.decide_in_person(lesion=review.lesion, by=doctor, decision="excise")
    sign(review, decision="inadequate")
    assert [row.decision for row in gather_facts(review.lesion.patient).decisions] == ["excise"]
    review.lesion.refresh_from_db()
    assert review.lesion.state == "biopsy_decided"


def test_what_a_useless_picture_had_replaced_waits_again(review):
    again = scene.measured(review.lesion)
    sign(again, decision="inadequate")
    assert Review.objects.get(state="waiting").assessment.image == review.assessment.image


# ---- way 15: wrong lesion or patient


def wrong(review):
    sign(review, decision="wrong_subject")
    return review.assessment.image


def test_wrong_subject_owes_the_moving_and_the_picture(review):
    wrong(review)
    assert kinds(review.lesion.patient) == ["put_picture_right", "repeat_picture"]
    assert open_duty(review.lesion, "put_picture_right").due_on == clock.today() + timedelta(days=2)


def test_a_picture_is_moved_to_its_lesion_and_measured_there(review):
    image, nurse, old = wrong(review), build.nurse(), review.lesion
    right = scene.lesion()
    before = {row.pk: row.facts_revision for row in (old.patient, right.patient)}
    putting_right.move(image=image, lesion=right, by=nurse, revision=image.revision)
    for patient in (old.patient, right.patient):
        patient.refresh_from_db()
        assert patient.facts_revision > before[patient.pk]
        assert AuditRecord.objects.filter(patient=patient, action="image.move").exists()
    assert Duty.objects.get(kind="put_picture_right").ended_by == nurse
    assert gather_facts(old.patient).lesions[0].last_image_on is None
    measure.measure_picture(image.assessments.get().pk)
    assert Review.objects.get(state="waiting").lesion == right
    assert SignOff.objects.get().lesion == old and putting_right.moved_away(old).get().to_lesion == right


def test_what_was_compared_with_a_wrong_picture_is_judged_again(review):
    later = scene.measured(review.lesion)
    assert later.comparison.earlier.image == review.assessment.image
    image = review.assessment.image
    first = SignOff.objects.create(
        lesion=review.lesion, review=review, decision="wrong_subject", by=build.dermatologist(),
        signed_at=clock.now(), signed_on=clock.today(),
    )  # fmt: skip
    owed.follow(first, urgent=False)
    putting_right.move(image=image, lesion=scene.lesion(), by=build.nurse(), revision=image.revision)
    measure.measure_picture(later.assessment.pk)
    assert Review.objects.get(state="waiting", lesion=review.lesion).comparison is None


def taken_back(image, by):
    duty = Duty.objects.get(kind="put_picture_right")
    ledger.take_back(duty=duty, by=by, revision=duty.revision)
    image.refresh_from_db()
    return image


def test_a_move_taken_back_brings_the_picture_back_and_it_is_moved_again(review):
    image, nurse, other = wrong(review), build.nurse(), scene.lesion()
    putting_right.move(image=image, lesion=other, by=nurse, revision=image.revision)
    image = taken_back(image, nurse)
    assert image.lesion == review.lesion and open_duty(review.lesion, "put_picture_right")
    assert not putting_right.moved_away(review.lesion).exists()
    assert putting_right.moved_away(other).get().to_lesion == review.lesion
    right = scene.lesion()
    putting_right.move(image=image, lesion=right, by=nurse, revision=image.revision)
    assert Image.objects.get().lesion == right and image.moves.count() == 3


def test_what_a_picture_had_replaced_there_waits_again_when_it_goes(review):
    """Moved to a lesion whose own picture waits undecided: that one must be decided on once the other is gone."""
    image, nurse, other = wrong(review), build.nurse(), scene.lesion()
    own = scene.measured(other, days_ago=9)
    putting_right.move(image=image, lesion=other, by=nurse, revision=image.revision)
    measure.measure_picture(image.assessments.get().pk)
    assert Review.objects.get(lesion=other, state="waiting").assessment.image == image
    taken_back(image, nurse)
    assert Review.objects.get(lesion=other, state="waiting").assessment.image == own.assessment.image


def test_a_picture_decided_on_there_is_not_brought_back(review, doctor):
    image, nurse, other = wrong(review), build.nurse(), scene.lesion()
    putting_right.move(image=image, lesion=other, by=nurse, revision=image.revision)
    measure.measure_picture(image.assessments.get().pk)
    sign(Review.objects.get(lesion=other, state="waiting"), doctor)
    with pytest.raises(DutyRefused, match=f"{doctor} has signed “Reassure and continue” on it since"):
        taken_back(image, nurse)


def test_set_aside_taken_back_counts_again(review, doctor):
    image = wrong(review)
    putting_right.set_aside(image=image, by=doctor, revision=image.revision, reason="nobody knows whose")
    assert not taken_back(image, doctor).set_aside
    assert open_duty(review.lesion, "put_picture_right")


def test_only_a_picture_called_wrong_is_moved(review):
    image = review.assessment.image
    with pytest.raises(PictureRefused, match="first signs"):
        putting_right.move(image=image, lesion=scene.lesion(), by=build.nurse(), revision=image.revision)


def test_a_picture_is_set_aside_by_a_dermatologist_with_a_reason(review, doctor):
    image = wrong(review)
    given = {"image": image, "revision": image.revision}
    with pytest.raises(NotAllowed):
        putting_right.set_aside(by=build.nurse(), reason="whose?", **given)
    with pytest.raises(PictureRefused, match="words"):
        putting_right.set_aside(by=doctor, reason=" ", **given)
    putting_right.set_aside(by=doctor, reason="nobody knows whose it is", **given)
    assert Image.objects.get().set_aside and kinds(review.lesion.patient) == ["repeat_picture"]
    assert not measure.earlier_assessments(scene.measured(review.lesion).assessment)


# ---- already removed


def test_already_removed_elsewhere_waits_for_its_report(review):
    sign(review, decision="already_removed")
    assert open_duty(review.lesion, "report").subject == f"lesion:{review.lesion.pk}"


# ---- way 20: asked before it is signed


@pytest.mark.parametrize(
    ("note", "found"),
    [
        ("Suspicious, please excise urgently", ["Suspicious", "excise", "urgently"]),
        ("not suspicious", []),
        ("Verdächtig, bitte Exzision", ["Verdächtig", "Exzision"]),
        ("nicht dringend", []),
        ("lesión sospechosa, biopsia", ["sospechosa", "biopsia"]),
        ("lésion suspecte, exérèse", ["suspecte", "exérèse"]),
        ("as before, no change", []),
    ],
)
def test_words_that_contradict_going_on_watching(note, found):
    assert questions.contradicting(note) == found


def test_a_contradiction_is_asked_and_signed_all_the_same(review, doctor):
    given = {"decision": "reassure", "note": "please excise"}
    with pytest.raises(AskedFirst, match="excise"):
        sign(review, doctor, **given)
    review.refresh_from_db()
    assert review.state == "waiting"
    sign(review, doctor, all_the_same=True, **given)
    assert AuditRecord.objects.get(action="signoff.record").details["asked"]


def test_what_is_to_be_done_may_be_called_urgent(review):
    assert sign(review, decision="excise", note="suspicious, urgent")


def test_an_interval_longer_than_the_monitoring_is_asked(review):
    """Six to twelve months long-term: ALT08, BJD08."""
    with pytest.raises(AskedFirst, match="12 months"):
        sign(review, decision="look_again", months=24)
    assert sign(review, decision="look_again", months=12)


def test_the_plans_day_is_said_before_it_is_signed(review):
    build.rules_in_force()
    with pytest.raises(AskedFirst, match="plan will ask earlier"):
        sign(review, decision="look_again", months=24)


# ---- taken back


def test_a_signature_is_taken_back_and_what_it_moved_returns(review, doctor):
    signed = sign(review, doctor, "excise")
    taking_back.take_back(signed=signed, by=doctor)
    review.lesion.refresh_from_db()
    assert (review.lesion.state, review.lesion.monitoring) == ("watched", "long")
    again = Review.objects.get(state="waiting")
    assert again.assessment == review.assessment and again.opened_at == review.opened_at
    assert gather_facts(review.lesion.patient).decisions == ()
    assert sign(again, doctor, "reassure").review == again


def test_taking_back_withdraws_what_was_opened(review, doctor):
    signed = sign(review, doctor, "wrong_subject")
    row = taking_back.take_back(signed=signed, by=doctor)
    assert kinds(review.lesion.patient) == []
    assert {duty.evidence for duty in Duty.objects.all()} == {f"lesions.revokedsignoff:{row.pk}"}


def test_taking_back_owes_again_what_was_ended(review, doctor):
    sign(review, decision="inadequate")
    signed = signoff.decide_in_person(lesion=review.lesion, by=doctor, decision="reassure")
    assert kinds(review.lesion.patient) == []
    taking_back.take_back(signed=signed, by=doctor)
    assert kinds(review.lesion.patient) == ["repeat_picture"]


def test_signs_answered_by_a_signature_are_open_again(review, doctor):
    build.rules_in_force()
    lesion = review.lesion
    register.note_sign(lesion=lesion, by=build.nurse(), sign="bleeding")
    replan.replan_patient(lesion.patient_id)
    asked = lesion.patient.recalls.get(purpose="lesion_examination")
    signed = signoff.decide_in_person(lesion=lesion, by=doctor, decision="reassure")
    replan.replan_patient(lesion.patient_id)
    asked.refresh_from_db()
    assert asked.state == "completed"
    taking_back.take_back(signed=signed, by=doctor)
    replan.replan_patient(lesion.patient_id)
    asked.refresh_from_db()
    lesion.refresh_from_db()
    assert register.open_signs(lesion).exists() and lesion.examined_in_person_on is None
    assert asked.state in ("planned", "due") and queue.flagged().get().urgent


def test_a_second_reading_taken_back_waits_for_the_signer(review, doctor):
    signed = sign(review, doctor, "second_reading")
    taking_back.take_back(signed=signed, by=doctor)
    again = Review.objects.get(state="waiting")
    assert sorted(reviews.drafts_of(again), key=str) == sorted(reviews.drafts_of(review), key=str)
    assert sign(again, doctor, "reassure")


def test_only_the_signer_within_ten_minutes(review, doctor):
    signed = sign(review, doctor)
    with pytest.raises(SignOffRefused, match="Only who"):
        taking_back.take_back(signed=signed, by=build.dermatologist())
    with clock.at(clock.now() + timedelta(minutes=11)), pytest.raises(SignOffRefused, match="Ten minutes"):
        taking_back.take_back(signed=signed, by=doctor)
    taking_back.take_back(signed=signed, by=doctor)
    with pytest.raises(SignOffRefused, match="already"):
        taking_back.take_back(signed=signed, by=doctor)


def _booked(signed, other):
    build.rules_in_force()
    replan.replan_patient(signed.lesion.patient_id)
    recall = signed.lesion.patient.recalls.get(of=f"decision:{signed.pk}")
    later = clock.now().replace(hour=10, minute=0, second=0, microsecond=0) + timedelta(days=3)
    booking_scene.booked(recall, starts_at=later, by=other)


def _cut(signed, other):
    lesion = signed.lesion
    pathology.record_procedure(
        patient=lesion.patient, lesion=lesion, by=other, kind="biopsy", on=clock.today()
    )


def _signed(signed, other):
    signoff.decide_in_person(lesion=signed.lesion, by=other, decision="biopsy")


def _sent(signed, other):
    duty = ledger.open_duties(signed.lesion.patient).get(kind="send_referral")
    steps.settle(duty=duty, by=other, revision=duty.revision, outcome="sent", whom="the hospital")


@pytest.mark.parametrize(
    ("decision", "act", "what"),
    [
        ("excise", _booked, "booked"),
        ("excise", _cut, "procedure"),
        ("excise", _signed, "Biopsy"),
        ("refer", _sent, "send the referral"),
    ],
)
def test_what_somebody_acted_on_stays_signed(review, doctor, decision, act, what):
    signed, other = sign(review, doctor, decision), build.dermatologist(name="Somebody Else")
    act(signed, other)
    with pytest.raises(SignOffRefused, match=f"Somebody Else.*{what}"):
        taking_back.take_back(signed=signed, by=doctor)


def test_a_picture_is_looked_at_before_it_is_signed_again(review, doctor):
    signed = sign(review, doctor)
    taking_back.take_back(signed=signed, by=doctor)
    look(Review.objects.get(state="waiting"), doctor)
    assert [row.pk for row in taking_back.to_take_back(doctor)] == []

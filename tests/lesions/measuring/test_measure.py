"""The shell round the core: one worker at a time, failures become work, nothing undecided is forgotten.

What waits for a person: common practice, no source.
"""

import io
from datetime import timedelta
from functools import cache

import numpy as np
import pytest

from clinic import clock, jobs
from lesions.analysis import pipeline
from lesions.analysis.drawing import phantom
from lesions.analysis.picture.allowance import UnreadablePicture
from lesions.analysis.refusals import UnusableOutline
from lesions.looking import queue
from lesions.measuring import measure
from lesions.models import Assessment, Comparison, Flag, Review
from lesions.pictures import intake, storage
from lesions.register import register
from lesions.review import signoff
from tests import build
from tests.lesions import scene

pytestmark = pytest.mark.django_db
MOLE = phantom.Phantom(seed=3, width=480, height=360, mm_per_px=0.04, ruler=False)
SCALE = {"mm_per_px": 0.04, "scale_origin": "device"}


@cache
def drawn(spec):
    out = io.BytesIO()
    phantom.draw(spec).image.save(out, "JPEG", quality=92)
    return out.getvalue()


def codes(review):
    return set(review.flags.values_list("code", flat=True))


@pytest.fixture(scope="module")
def growing():
    """Two photographs of one drawn lesion; in the second its area is half as large again."""
    later = phantom.recaptured(MOLE, 5)
    same_distance = phantom.replace(later, mm_per_px=MOLE.mm_per_px)
    return drawn(MOLE), drawn(phantom.grown(same_distance, 1.5))


def test_growth_is_measured_compared_and_put_before_a_dermatologist(growing):
    """The drawn truth is the outside source: 50 % more area."""
    build.flags_in_force()
    lesion = scene.lesion()
    first = scene.measured(lesion, growing[0], days_ago=90, **SCALE)
    assert codes(first) >= {"nothing_to_compare"} and first.comparison is None
    second = scene.measured(lesion, growing[1], **SCALE)
    first.refresh_from_db()
    assert (first.state, second.state, second.flagged) == ("superseded", "waiting", True)
    growth = second.flags.get(code="area_growth")
    assert growth.value == pytest.approx(50, abs=12)
    assert growth.params["compared_with"] == build.days_ago(90).isoformat()
    assert (growth.unit, growth.limit, growth.source) == ("%", 10.0, "clinic setting, no source")
    assert second.comparison.earlier == first.assessment and second.comparison.later == second.assessment
    assert second.assessment.result["schema"] == 2


def test_without_limits_in_force_everything_is_looked_at(growing):
    review = scene.measured(scene.lesion(), growing[0], **SCALE)
    assert review.flagged and "no_limits" in codes(review)


def test_without_a_scale_millimetres_are_missing_and_said_to_be(growing):
    build.flags_in_force()
    review = scene.measured(scene.lesion(), growing[0])
    measures = {row["name"]: row["value"] for row in review.assessment.result["measures"]}
    assert measures["feret"] is None and measures["feret_px"] > 0
    assert "feret" in review.flags.get(code="unmeasured").params["values"]


@pytest.mark.parametrize(("kind", "origin"), [("dermoscopic", "ruler"), ("close_up", None)])
def test_only_a_dermoscopic_picture_takes_its_scale_from_a_ruler(kind, origin):
    """The ruler that is looked for is a contact plate's; a close-up has none."""
    ruled = phantom.replace(MOLE, seed=41, width=600, height=450, mm_per_px=0.03, ruler=True)
    review = scene.measured(scene.lesion(), drawn(ruled), kind=kind)
    scale = review.assessment.result["scale"]
    assert (scale and scale["origin"]) == origin


def test_a_picture_that_cannot_be_measured_waits_for_a_decision():
    picture = scene.file(scene.lesion())
    storage.path(picture.sha256).write_bytes(b"rotten")
    row = picture.assessments.get()
    measure.measure_picture(row.pk)
    row.refresh_from_db()
    assert (row.state, row.failure) == ("failed", "stored_file_changed")
    review = queue.flagged().get()
    assert codes(review) == {"unmeasured"} and review.assessment == row


def test_a_core_that_refuses_becomes_work(monkeypatch):
    def refuse(*_, **__):
        raise UnusableOutline("encloses_nothing")

    monkeypatch.setattr(pipeline, "measure", refuse)
    review = scene.measured(scene.lesion())
    assert review.assessment.failure == "encloses_nothing"
    assert review.flags.get().params == {"failure": {"code": "encloses_nothing", "params": {}}}


def test_the_words_of_a_library_stay_in_the_log(monkeypatch, caplog):
    def stumble(*_, **__):
        np.array([]).argmin()

    monkeypatch.setattr(pipeline, "measure", stumble)
    row = scene.measured(scene.lesion()).assessment
    assert row.failure == measure.NOT_FORESEEN.code
    assert "argmin of an empty sequence" in caplog.text


def test_a_worker_obeys_the_limits_of_the_clinic(settings):
    picture = scene.file(scene.lesion(), scene.jpeg(size=(1500, 1000)))
    settings.PICTURE_MAX_MEGAPIXELS = 1
    row = picture.assessments.get()
    measure.measure_picture(row.pk)
    row.refresh_from_db()
    assert (row.state, row.failure, row.failure_params) == ("failed", "too_many", {"most": 1})


def test_a_worker_that_dies_three_times_ends_in_a_sentence(monkeypatch):
    def die(*_, **__):
        raise MemoryError

    monkeypatch.setattr(pipeline, "measure", die)
    row = scene.file(scene.lesion()).assessments.get()
    start = clock.now()
    for attempt in range(3):
        with clock.at(start + attempt * timedelta(minutes=3)), pytest.raises(MemoryError):
            measure.measure_picture(row.pk)
    with clock.at(start + timedelta(minutes=8, seconds=30)):
        assert measure.waiting() == [row.pk]
        measure.measure_picture(row.pk)
    row.refresh_from_db()
    assert (row.state, row.failure) == ("failed", measure.GIVEN_UP.code)
    assert queue.flagged().exists()


def test_one_worker_holds_a_picture_until_its_lease_lapses(monkeypatch):
    row = scene.file(scene.lesion()).assessments.get()
    start, asked = clock.now(), []

    def meanwhile(*_, **__):
        """While the first worker measures, a second one asks for the same picture, and again after the lease."""
        asked.append(row.pk)
        if len(asked) == 1:
            assert measure.waiting() == []
            measure.measure_picture(row.pk)
            with clock.at(start + timedelta(minutes=3)):
                assert measure.waiting() == [row.pk]
                measure.measure_picture(row.pk)
        raise UnreadablePicture("damaged")

    monkeypatch.setattr(pipeline, "measure", meanwhile)
    measure.measure_picture(row.pk)
    row.refresh_from_db()
    assert len(asked) == 2 and row.attempts == 2


def test_the_answer_of_a_worker_that_lost_its_lease_does_not_count(monkeypatch):
    row = scene.file(scene.lesion()).assessments.get()
    start, asked = clock.now(), []

    def overtaken(*_, **__):
        """The first worker is so late that a second one has taken the picture, and is cut off in turn."""
        asked.append(row.pk)
        if len(asked) == 2:
            raise MemoryError
        with clock.at(start + timedelta(minutes=3)), pytest.raises(MemoryError):
            measure.measure_picture(row.pk)
        raise UnreadablePicture("damaged")

    monkeypatch.setattr(pipeline, "measure", overtaken)
    measure.measure_picture(row.pk)
    row.refresh_from_db()
    assert (row.state, row.failure) == ("running", "") and not Review.objects.exists()


def test_doing_it_again_or_for_a_row_that_is_gone_changes_nothing():
    review = scene.measured(scene.lesion())
    measure.measure_picture(review.assessment_id)
    measure.measure_picture(999_999)
    assert Review.objects.count() == 1 and Assessment.objects.get().attempts == 1


def test_a_change_nobody_decided_on_outlives_the_next_picture():
    lesion = scene.lesion()
    first = scene.measured(lesion, days_ago=90)
    Flag.objects.create(review=first, code="area_growth", params={"sentence": "The area grew."}, value=30.0)
    second = scene.measured(lesion, days_ago=1)
    carried = second.flags.get(code="area_growth")
    assert (carried.value, carried.params["undecided"]) == (30.0, "earlier_picture")
    third = scene.measured(lesion)
    assert third.flags.get(code="area_growth").params == carried.params


def test_an_older_picture_filed_late_is_compared_with_and_hides_no_newer():
    lesion = scene.lesion()
    newer = scene.measured(lesion)
    assert set(codes(newer)) >= {"nothing_to_compare"}
    assert scene.measured(lesion, days_ago=200) is None
    newer.refresh_from_db()
    waits = Review.objects.get(state="waiting")
    assert newer.state == "superseded" and waits.assessment == newer.assessment
    assert waits.comparison.earlier.image.taken_on == build.days_ago(200)
    assert "nothing_to_compare" not in codes(waits)


def test_an_older_picture_filed_late_asks_for_no_second_decision():
    lesion, doctor = scene.lesion(), build.dermatologist()
    newer = scene.measured(lesion)
    intake.deliver(image=newer.assessment.image, to=doctor)
    signoff.record(review_id=newer.pk, by=doctor, decision="reassure", revision=newer.revision)
    assert scene.measured(lesion, days_ago=200) is None
    assert not Review.objects.filter(state="waiting").exists() and not Comparison.objects.exists()


def test_a_picture_of_the_wrong_lesion_is_never_compared_with():
    lesion, doctor = scene.lesion(), build.dermatologist()
    wrong = scene.measured(lesion, days_ago=90)
    intake.deliver(image=wrong.assessment.image, to=doctor)
    signoff.record(review_id=wrong.pk, by=doctor, decision="wrong_subject", revision=wrong.revision)
    assert scene.measured(lesion).comparison is None


def test_the_first_and_the_previous_picture_are_both_compared():
    lesion = scene.lesion()
    scene.measured(lesion, days_ago=200)
    previous = scene.measured(lesion, days_ago=100)
    last = scene.measured(lesion)
    assert last.comparison.earlier == previous.assessment
    assert Comparison.objects.filter(later=last.assessment).count() == 2


def test_an_urgent_sign_makes_the_next_review_urgent():
    lesion = scene.lesion()
    register.note_sign(lesion=lesion, by=build.nurse(), sign="firm")
    assert scene.measured(lesion).urgent


def test_the_worker_without_a_broker_finds_and_measures_what_waits():
    row = scene.file(scene.lesion()).assessments.get()
    assert jobs.WORK["assess"].queue == "pictures"
    assert jobs.work_once("worker") >= 1
    row.refresh_from_db()
    assert row.state == "done" and measure.waiting() == []

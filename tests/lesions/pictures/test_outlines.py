"""A person's outline stands beside the automatic one and counts; a scale set by hand is measured by."""

import io
from dataclasses import replace
from functools import cache

import pytest

from clinic import jobs
from clinic.access import NotAllowed
from clinic.models import AuditRecord, StaleRow
from lesions.analysis.drawing import phantom
from lesions.measuring import measure
from lesions.models import Comparison, Review
from lesions.pictures import intake, outlines, scales, storage
from lesions.pictures.outlines import OutlineRefused
from lesions.pictures.scales import ScaleRefused
from lesions.review import signoff, wording
from tests import build
from tests.lesions import scene

pytestmark = pytest.mark.django_db
MOLE = phantom.Phantom(seed=3, width=480, height=360, mm_per_px=0.04, ruler=False)
SCALE = {"mm_per_px": 0.04, "scale_origin": "device"}
SQUARE = [(100, 100), (200, 100), (200, 200), (100, 200)]


@cache
def drawn(spec):
    out = io.BytesIO()
    phantom.draw(spec).image.save(out, "JPEG", quality=92)
    return out.getvalue()


@pytest.fixture(scope="module")
def pair():
    later = replace(phantom.recaptured(MOLE, 5), mm_per_px=MOLE.mm_per_px)
    return drawn(MOLE), drawn(later)


def redraw(image, points=SQUARE, by=None):
    """Draw and measure, as page and worker do."""
    row = outlines.draw(image=image, by=by or build.nurse(), points=points, revision=image.revision)
    measure.measure_picture(row.pk)
    row.refresh_from_db()
    return row


def test_a_drawn_outline_is_measured_beside_the_automatic_one(pair):
    """A square of 100 pixels at 0.04 mm is 16 mm square: plain geometry."""
    review = scene.measured(scene.lesion(), pair[0], **SCALE)
    nurse = build.nurse()
    row = redraw(review.assessment.image, by=nurse)
    assert (row.state, row.drawn_by, row.outline_key != "automatic") == ("done", nurse, True)
    assert row.result["outline"]["drawn_by"] == "person" and row.result["doubt"] == []
    measures = {each["name"]: each["value"] for each in row.result["measures"]}
    assert measures["area"] == pytest.approx(16, rel=0.01)
    review.assessment.refresh_from_db()
    assert review.assessment.result["outline"]["drawn_by"] == "automatic"
    record = AuditRecord.objects.get(action="outline.draw")
    assert record.by == nurse and record.details["points"] == 4


def test_the_waiting_review_is_replaced_by_one_on_the_new_figures(pair):
    review = scene.measured(scene.lesion(), pair[0], **SCALE)
    row = redraw(review.assessment.image)
    review.refresh_from_db()
    new = Review.objects.get(state="waiting")
    assert review.state == "superseded" and new.assessment == row


def test_a_reason_nobody_decided_on_is_not_drawn_away(pair):
    review = scene.measured(scene.lesion(), pair[0], **SCALE)
    review.flags.create(code="area_growth", params={"sentence": "The area grew."}, value=30.0)
    redraw(review.assessment.image)
    kept = Review.objects.get(state="waiting").flags.get(code="area_growth")
    assert str(wording.flag_words(kept)) == (
        "The area grew. Seen when this picture was measured before and not decided yet."
    )


def test_comparison_goes_by_the_persons_outline(pair):
    lesion = scene.lesion()
    first = scene.measured(lesion, pair[0], days_ago=90, **SCALE)
    mine = redraw(first.assessment.image)
    later = scene.measured(lesion, pair[1], **SCALE)
    assert later.comparison.earlier == mine


def test_correcting_an_earlier_outline_compares_what_waits_anew(pair):
    build.flags_in_force()
    lesion = scene.lesion()
    first = scene.measured(lesion, pair[0], days_ago=90, **SCALE)
    second = scene.measured(lesion, pair[1], **SCALE)
    assert "area_growth" not in set(second.flags.values_list("code", flat=True))
    mine = redraw(first.assessment.image, [(230, 170), (260, 170), (260, 200), (230, 200)])
    waits = Review.objects.get(state="waiting")
    assert waits.assessment == second.assessment and waits.comparison.earlier == mine
    assert Comparison.objects.filter(later=second.assessment).count() == 2
    # A square of 1.2 mm lies well inside the mole, so the same mole now counts as grown.
    assert "area_growth" in set(waits.flags.values_list("code", flat=True))


def test_a_decided_picture_waits_again_only_for_a_new_reason(pair):
    build.flags_in_force()
    doctor, review = build.dermatologist(), scene.measured(scene.lesion(), pair[0], **SCALE)
    assert not review.flags.filter(code="diameter").exists()
    intake.deliver(image=review.assessment.image, to=doctor)
    signoff.record(review_id=review.pk, by=doctor, decision="reassure", revision=review.revision)
    redraw(review.assessment.image)
    assert not Review.objects.filter(state="waiting").exists()
    redraw(review.assessment.image, [(10, 100), (400, 100), (400, 200), (10, 200)])
    assert Review.objects.get(state="waiting").flags.filter(code="diameter").exists()


def test_the_same_outline_twice_is_one_and_an_earlier_one_is_refused():
    image, nurse = scene.file(scene.lesion()), build.nurse()
    row = outlines.draw(image=image, by=nurse, points=[(1, 1), (90, 1), (90, 80)], revision=1)
    assert outlines.draw(image=image, by=nurse, points=[(90, 80), (90, 1), (1, 1)], revision=1) == row
    outlines.draw(image=image, by=nurse, points=[(1, 1), (90, 1), (90, 70)], revision=2)
    with pytest.raises(OutlineRefused, match="move a point"):
        outlines.draw(image=image, by=nurse, points=[(1, 1), (90, 1), (90, 80)], revision=3)


def test_what_cannot_be_drawn_changes_nothing():
    image, nurse = scene.file(scene.lesion()), build.nurse()
    overview = scene.file(image.lesion, scene.jpeg(8), kind="overview")
    for picture, points, words in (
        (image, [(1, 1), (90, 80)], "at least three"),
        (image, [(1, 1), (130, 1), (90, 80)], "outside"),
        (overview, [(1, 1), (90, 1), (90, 80)], "overview"),
    ):
        with pytest.raises(OutlineRefused, match=words):
            outlines.draw(image=picture, by=nurse, points=points, revision=1)
    with pytest.raises(StaleRow):
        outlines.draw(image=image, by=nurse, points=[(1, 1), (90, 1), (90, 80)], revision=7)
    with pytest.raises(NotAllowed):
        outlines.draw(image=image, by=build.manager(), points=[(1, 1), (90, 1), (90, 80)], revision=1)
    assert image.assessments.count() == 1


def test_drawing_asks_for_the_measures(monkeypatch, django_capture_on_commit_callbacks):
    asked = []
    image = scene.file(scene.lesion())
    monkeypatch.setattr(jobs, "_publish", lambda *what: asked.append(what))
    with django_capture_on_commit_callbacks(execute=True):
        row = outlines.draw(image=image, by=build.nurse(), points=[(1, 1), (90, 1), (90, 80)], revision=1)
    assert asked == [("assess", [row.pk])]


# ---- scale ------------------------------------------------------------------------------------


def test_two_points_and_their_distance_are_a_scale(pair):
    """200 pixels that are 10 mm: 0.05 mm a pixel; 2 pixels at either end: sqrt(2) * 2 / 200 = 1.41 %."""
    review = scene.measured(scene.lesion(), pair[0])
    image = review.assessment.image
    row = scales.set_by_hand(image=image, by=build.nurse(), points=[(10, 20), (210, 20)], mm=10, revision=1)
    measure.measure_picture(row.pk)
    row.refresh_from_db()
    assert (image.mm_per_px, image.scale_origin) == (0.05, "hand")
    assert image.scale_uncertainty == pytest.approx(0.0141, abs=0.0001)
    assert row.outline_key == "automatic@0.05" and row.result["scale"]["origin"] == "hand"
    assert next(each["value"] for each in row.result["measures"] if each["name"] == "feret") > 0
    assert Review.objects.get(state="waiting").assessment == row


def test_a_new_scale_keeps_the_persons_outline(pair):
    review, nurse = scene.measured(scene.lesion(), pair[0]), build.nurse()
    image = review.assessment.image
    mine = redraw(image, by=nurse)
    points = [(0, 0), (200, 0)]
    row = scales.set_by_hand(image=image, by=build.nurse(), points=points, mm=8, revision=image.revision)
    assert row.drawn_by == nurse and row.outline == mine.outline and row.outline_key.endswith("@0.04")


@pytest.mark.parametrize(
    ("points", "mm", "words"),
    [
        ([(1, 1)], 5, "exactly two"),
        ([(1, 1), (15, 1)], 5, "too close"),
        ([(1, 1), (1, 1)], 5, "too close"),
        ([(1, 1), (121, 1)], 5, "outside"),
        ([(1, 1), (100, 1)], 0, "above 0"),
        ([(1, 1), (100, 1)], float("nan"), "above 0"),
        ([(1, 1), (100, 1)], 150, "between"),
    ],
)
def test_points_that_give_no_scale_are_refused(points, mm, words):
    image = scene.file(scene.lesion())
    with pytest.raises(ScaleRefused, match=words):
        scales.set_by_hand(image=image, by=build.nurse(), points=points, mm=mm, revision=1)
    image.refresh_from_db()
    assert image.mm_per_px is None and image.assessments.count() == 1


# ---- failed, and tried again ------------------------------------------------------------------


def test_a_failed_picture_is_measured_again_when_its_file_is_back():
    image = scene.file(scene.lesion())
    path, row = storage.path(image.sha256), image.assessments.get()
    kept = path.read_bytes()
    path.write_bytes(b"rotten")
    measure.measure_picture(row.pk)
    path.write_bytes(kept)
    row.refresh_from_db()
    nurse = build.nurse()
    measure.measure_again(assessment=row, by=nurse, revision=row.revision)
    measure.measure_picture(row.pk)
    row.refresh_from_db()
    assert (row.state, row.attempts, row.failure) == ("done", 1, "")
    waits = Review.objects.get(state="waiting")
    assert waits.assessment == row and "could not be measured" not in str(list(waits.flags.all()))
    with pytest.raises(StaleRow):
        measure.measure_again(assessment=row, by=nurse, revision=row.revision)

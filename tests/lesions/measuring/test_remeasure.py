"""A new version measures everything anew: old rows stay, nothing is compared across versions, and it resumes."""

import io
from dataclasses import replace

import pytest
from django.core.management import call_command

from lesions.analysis.drawing import phantom
from lesions.analysis.version import VERSION
from lesions.looking import showing
from lesions.measuring import measure as assess
from lesions.measuring import remeasure
from lesions.measuring.remeasure import Moved
from lesions.models import Assessment, Comparison, Review
from lesions.pictures import intake, outlines, storage
from lesions.review import signoff
from tests import build
from tests.lesions import scene
from tests.lesions.pictures.test_outlines import MOLE, SCALE, drawn

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def pair():
    return drawn(MOLE), drawn(replace(phantom.recaptured(MOLE, 5), mm_per_px=MOLE.mm_per_px))


@pytest.fixture
def lesion(pair):
    """Two pictures measured by an earlier version, the first also by a person's outline."""
    build.flags_in_force()
    lesion = scene.lesion()
    first = scene.measured(lesion, pair[0], days_ago=90, **SCALE).assessment.image
    square = [(100, 100), (300, 100), (300, 300), (100, 300)]
    row = outlines.draw(image=first, by=build.nurse(name="P. Pencil"), points=square, revision=1)
    assess.measure_picture(row.pk)
    scene.measured(lesion, pair[1], **SCALE)
    Assessment.objects.update(version="2025.9")
    return lesion


def run(*arguments):
    out = io.StringIO()
    call_command("rescore", *arguments, stdout=out)
    return out.getvalue()


def test_every_outline_is_measured_by_this_version_and_old_rows_stay(lesion):
    old = list(Assessment.objects.order_by("pk").values_list("pk", "result"))
    said = run()
    assert "2 pictures have no figures" in said and "Left: 0." in said
    assert list(Assessment.objects.filter(version="2025.9").order_by("pk").values_list("pk", "result")) == old
    new = Assessment.objects.filter(version=VERSION)
    assert [row.state for row in new] == ["done"] * 3
    mine = new.get(drawn_by__isnull=False)
    assert mine.drawn_by.name == "P. Pencil"
    assert (
        mine.outline["points"] == Assessment.objects.filter(drawn_by__isnull=False).first().outline["points"]
    )
    assert "0 pictures" in run()


def test_nothing_is_compared_across_versions(lesion):
    run()
    pairs = Comparison.objects.values_list("earlier__version", "later__version")
    assert set(pairs) == {("2025.9", "2025.9"), (VERSION, VERSION)}
    waits = Review.objects.get(state="waiting")
    assert waits.assessment.version == VERSION
    assert waits.comparison.earlier.drawn_by.name == "P. Pencil"


def test_it_goes_on_where_it_stopped(lesion):
    assert "Left: 1." in run("--limit", "1")
    first = set(Assessment.objects.filter(version=VERSION).values_list("pk", flat=True))
    assert len(first) == 2
    assert "1 pictures have no figures" in run()
    assert set(Assessment.objects.filter(version=VERSION).values_list("pk", flat=True)) > first


def test_a_job_that_was_queued_and_not_done_is_done(lesion):
    image = lesion.images.first()
    outlines.ask(image=image, ring=None, ringing=False)
    run()
    assert not Assessment.objects.exclude(state="done").exists()
    assert Assessment.objects.filter(image=image, version=VERSION).count() == 2


def test_a_dry_run_changes_nothing(lesion):
    assert "2 pictures" in run("--dry-run")
    assert not Assessment.objects.filter(version=VERSION).exists()


def test_a_decision_is_not_asked_for_again_because_the_program_changed(lesion):
    doctor, waits = build.dermatologist(), Review.objects.get(state="waiting")
    for picture in showing.pictures_of(waits, waits.comparison):
        intake.deliver(image=picture, to=doctor)
    signoff.record(review_id=waits.pk, by=doctor, decision="reassure", revision=waits.revision)
    run()
    assert not Review.objects.filter(state="waiting").exists()


def test_a_picture_that_fails_is_named_and_the_rest_goes_on(lesion):
    image = lesion.images.first()
    storage.path(image.sha256).write_bytes(b"rotten")
    said = run()
    assert f"picture {image.pk}: The stored file has changed" in said and "Could not be measured: 2" in said
    assert Assessment.objects.filter(version=VERSION, state="done").count() == 1


def test_the_summary_sets_old_beside_new(lesion):
    for row in Assessment.objects.all():
        for measure in row.result["measures"]:
            if measure["name"] == "area":
                measure["value"] *= 0.8
            if measure["name"] == "solidity":
                measure["value"] = None
        row.save(update_fields=["result"])
    said = run()
    rows = {row.name: row for row in remeasure.moved()}
    # Old figures at four fifths: the new ones are a quarter larger.
    assert rows["area"].pictures == 3 and rows["area"].median == pytest.approx(0.25, abs=1e-4)
    assert rows["solidity"] == Moved("solidity", 0, None, None, 0, 3)
    assert rows["feret"].median == pytest.approx(0, abs=1e-6)
    assert "+25.0 %" in said and "largest diameter" in said


def test_overviews_and_lesions_entered_in_error_are_left_alone(lesion):
    scene.file(lesion, scene.jpeg(77), kind="overview")
    assert remeasure.left().count() == 2
    lesion.state = "entered_in_error"
    lesion.save(update_fields=["state"])
    assert not remeasure.left().exists()

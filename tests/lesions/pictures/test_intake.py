"""Taking a picture in: what is refused, what is kept, and what then waits.

What is refused, and within which bounds: clinic setting, no source.
"""

import hashlib
import io
import sys
from datetime import date, timedelta

import pytest
from PIL import Image as Pixels
from PIL import ImageFile

from clinic import clock
from clinic.models import StaleRow
from clinic.people import ending
from lesions.analysis.types import Message
from lesions.models import Assessment, Image
from lesions.pictures import intake, storage
from lesions.pictures.intake import PictureRefused
from tests import build
from tests.lesions import scene
from tests.lesions.analysis.picture.crafted import even_png, webp

pytestmark = pytest.mark.django_db


def stored(settings):
    return [path for path in settings.PRIVATE_FILES.rglob("*") if path.is_file()]


def test_the_original_is_kept_byte_for_byte_and_a_cleaned_copy_beside_it():
    data = scene.jpeg(exif=camera("2020:01:01 10:00:00"))
    picture = scene.file(scene.lesion(), data)
    assert storage.path(picture.sha256).read_bytes() == data
    assert picture.sha256 == hashlib.sha256(data).hexdigest()
    copy = storage.path(picture.derivative_sha256).read_bytes()
    assert copy != data and not Pixels.open(io.BytesIO(copy)).getexif()


def test_a_picture_waits_to_be_measured_and_moves_the_facts():
    lesion = scene.lesion()
    before = lesion.patient.facts_revision
    picture = scene.file(lesion)
    assert picture.assessments.get().state == "queued"
    lesion.patient.refresh_from_db()
    assert lesion.patient.facts_revision == before + 1


def test_an_overview_is_filed_and_not_measured():
    picture = scene.file(scene.lesion(), kind="overview")
    assert not picture.assessments.exists()


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"<html><script>alert(1)</script>",
        b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        b"%PDF-1.4 no picture",
        b"\xff\xd8\xff\xe0" + b"\0" * 200,
        scene.jpeg(size=(320, 240))[:2000],
    ],
)
def test_what_is_no_whole_picture_is_refused_with_a_sentence(data, settings):
    with pytest.raises(PictureRefused, match=r"\.$"):
        scene.file(scene.lesion(), data, filename="innocent.jpg")
    assert not Image.objects.exists() and not stored(settings)


def test_a_picture_with_too_many_pixels_is_refused_before_it_is_decoded():
    """A small file that unpacks to an enormous picture."""
    bomb = io.BytesIO()
    Pixels.new("1", (10_000, 10_000)).save(bomb, "PNG")
    with pytest.raises(PictureRefused, match="million pixels"):
        scene.file(scene.lesion(), bomb.getvalue())


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: webp(16_000, 5_000), "WebP picture at most 23 million"),
        (lambda: even_png(10_000, 7_900, 16, 6, 4), "of this kind at most 40 million"),
    ],
)
def test_a_small_file_of_many_pixels_is_refused_at_no_cost_to_this_process(make, words, settings):
    with pytest.raises(PictureRefused, match=words):
        scene.file(scene.lesion(), make())
    assert not Image.objects.exists() and not stored(settings)


def test_the_limits_are_the_clinic_s_settings(settings):
    data = scene.jpeg(size=(1500, 1000))
    settings.PICTURE_MAX_MEGAPIXELS = 1
    with pytest.raises(PictureRefused, match="At most 1 million pixels"):
        scene.file(scene.lesion(), data)
    settings.PICTURE_MAX_MEGAPIXELS, settings.PICTURE_MAX_MEGAPIXELS_DECODED = 2, 1
    with pytest.raises(PictureRefused, match="of this kind at most 1 million pixels"):
        scene.file(scene.lesion(), data)
    settings.PICTURE_MAX_MEGAPIXELS_DECODED = 2
    assert scene.file(scene.lesion(), data).width == 1500


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux limits a process's memory")
def test_when_memory_runs_out_a_sentence_comes_back_and_nothing_is_kept(settings):
    settings.PICTURE_MEMORY_MB = 24
    with pytest.raises(PictureRefused) as refused:
        scene.file(scene.lesion(), even_png(6_000, 4_000, 8, 2, 3))
    assert refused.value.message.code == "too_dear"
    assert not Image.objects.exists() and not stored(settings)


def test_when_time_runs_out_a_sentence_comes_back_and_nothing_is_kept(settings):
    settings.PICTURE_SECONDS = 0.001
    with pytest.raises(PictureRefused) as refused:
        scene.file(scene.lesion())
    assert refused.value.message.code == "too_long"
    assert not Image.objects.exists() and not stored(settings)


def test_no_picture_is_decoded_where_pages_are_made(monkeypatch):
    monkeypatch.setattr(ImageFile.ImageFile, "load", lambda image: pytest.fail("decoded"))
    assert scene.file(scene.lesion()).derivative_sha256


def test_a_file_above_the_cap_is_refused(settings):
    settings.PICTURE_MAX_BYTES = 1024 * 1024
    with pytest.raises(PictureRefused, match="at most 1 MB"):
        scene.file(scene.lesion(), b"\xff" * (1024 * 1024 + 1))


def test_the_same_bytes_are_filed_once():
    lesion = scene.lesion()
    data = scene.jpeg()
    scene.file(lesion, data)
    with pytest.raises(PictureRefused, match="this lesion"):
        scene.file(lesion, data)
    with pytest.raises(PictureRefused, match="lesion 1 of this patient"):
        scene.file(scene.lesion(lesion.patient), data)
    assert Image.objects.count() == 1


def test_a_duplicate_in_another_record_does_not_say_whose():
    data = scene.jpeg()
    other = build.patient(given_name="Zebedee", family_name="Nightingale")
    scene.file(scene.lesion(other), data)
    with pytest.raises(PictureRefused) as refused:
        scene.file(scene.lesion(), data)
    assert "another record" in str(refused.value)
    for word in ("Zebedee", "Nightingale", other.number):
        assert word not in str(refused.value)


def camera(moment):
    exif = Pixels.Exif()
    exif.get_ifd(0x8769)[36867] = moment
    return exif


def test_a_day_that_cannot_be_is_refused():
    lesion = scene.lesion()
    for day in (clock.today() + timedelta(days=1), lesion.patient.born - timedelta(days=1)):
        with pytest.raises(PictureRefused):
            scene.file(lesion, taken_on=day)


def test_a_day_after_death_is_refused():
    lesion, today = scene.lesion(), clock.today()
    died = today - timedelta(days=3)
    seen = {"by": build.dermatologist(), "revision": lesion.patient.revision}
    ending.end_care(patient=lesion.patient, status="deceased", on=died, ground="Told by the son.", **seen)
    lesion.refresh_from_db()
    with pytest.raises(PictureRefused, match="had died by that day"):
        scene.file(lesion, days_ago=2)
    assert scene.file(lesion, days_ago=3).taken_on == died


def test_another_day_in_the_file_is_noted_and_shown():
    picture = scene.file(scene.lesion(), scene.jpeg(exif=camera("2020:03:01 10:00:00")))
    assert picture.camera_day == date(2020, 3, 1)
    today = clock.today().strftime("%Y:%m:%d 10:00:00")
    assert scene.file(scene.lesion(), scene.jpeg(7, exif=camera(today))).camera_day is None


@pytest.mark.parametrize(
    "scale",
    [
        {"mm_per_px": 0.02},
        {"mm_per_px": 0.02, "scale_origin": "guess"},
        {"mm_per_px": 5.0, "scale_origin": "given"},
        {"mm_per_px": float("nan"), "scale_origin": "given"},
        {"mm_per_px": 0.02, "scale_origin": "given", "scale_uncertainty": 3.0},
    ],
)
def test_a_scale_without_origin_or_beyond_reason_is_refused(scale):
    with pytest.raises(PictureRefused):
        scene.file(scene.lesion(), **scale)


def test_nothing_is_filed_with_a_lesion_entered_in_error():
    lesion = scene.lesion()
    lesion.state = "entered_in_error"
    lesion.save(update_fields=["state"])
    with pytest.raises(PictureRefused, match="in error"):
        scene.file(lesion)


def test_a_refused_file_is_work_until_it_is_settled_once():
    lesion = scene.lesion()
    row = intake.refuse(
        lesion=lesion, by=build.nurse(), filename="../../etc/pass\x00wd.jpg", why=Message("other_format")
    )
    assert row.filename == "passwd.jpg"
    intake.settle(refused=row, by=build.nurse(), revision=1)
    assert row.settled_at
    with pytest.raises(StaleRow):
        intake.settle(refused=row, by=build.nurse(), revision=1)


def test_no_audit_record_no_picture(monkeypatch):
    def broken(*_, **__):
        raise RuntimeError("the trail cannot be written")

    lesion, nurse = scene.lesion(), build.nurse()
    monkeypatch.setattr(intake.audit, "record", broken)
    with pytest.raises(RuntimeError):
        scene.file(lesion, by=nurse)
    assert not Image.objects.exists() and not Assessment.objects.exists()

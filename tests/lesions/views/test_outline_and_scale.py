"""The pages on which points are set over a photograph, without a script: what is shown, kept and refused."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lesions.measuring import measure
from lesions.models import Assessment, Image
from lesions.pictures import outlines, storage
from tests import build
from tests.lesions import scene
from tests.lesions.pictures.test_outlines import MOLE, SCALE, drawn
from tests.page import read

pytestmark = pytest.mark.django_db


@pytest.fixture
def nurse():
    client = Client()
    client.force_login(build.nurse(name="N. Hand"))
    return client


@pytest.fixture(scope="module")
def mole():
    return drawn(MOLE)


def url(name, *args):
    return reverse(f"lesions:{name}", args=args)


def queries(client, address):
    client.get(address)
    with CaptureQueriesContext(connection) as found:
        assert client.get(address).status_code == 200
    return len(found)


def test_the_page_starts_from_the_automatic_outline_in_movable_points(nurse, mole):
    image = scene.measured(scene.lesion(), mole, **SCALE).assessment.image
    answer = nurse.get(url("outline", image.pk))
    page, lines = read(answer), answer.context["form"]["points"].value().splitlines()
    assert 8 <= len(lines) <= 32
    assert "Measured by the automatic outline" in page and page.button("From the automatic outline")
    (plane,) = [one for one in page.walk() if one.tag == "svg" and one.name.endswith("its outline to set")]
    assert plane.shows_picture(url("view_image", image.pk))
    assert any(one.tag == "path" and one.get("d") for one in plane.walk())


def test_points_typed_by_hand_are_an_outline(nurse):
    image = scene.file(scene.lesion())
    answer = nurse.post(url("outline", image.pk), {"points": "10 10\n100.5 10\n60, 80\n", "revision": 1})
    assert answer.status_code == 302 and answer.url == url("lesion", image.lesion_id)
    row = Assessment.objects.get(drawn_by__isnull=False)
    assert row.outline == {"points": [[10, 10], [100.5, 10], [60, 80]], "drawn_by": "person"}
    page = read(nurse.get(url("lesion", image.lesion_id)))
    assert "the picture is being measured by it" in page


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ("10 10\nten ten\n60 80", "Line 2 is no point"),
        ("10 10\n100 10", "at least three"),
        ("10 10\n100 80\n100 10\n10 60", "crosses itself"),
        ("", "required"),
    ],
)
def test_what_is_no_outline_is_said_and_kept_on_the_page(nurse, points, words):
    image = scene.file(scene.lesion())
    answer = nurse.post(url("outline", image.pk), {"points": points, "revision": 1})
    page = read(answer)
    assert answer.status_code == 422 and words in page and "not kept yet" in page
    assert page.field("Points of the outline").value == points


def test_somebody_else_drew_meanwhile(nurse):
    image = scene.file(scene.lesion())
    outlines.draw(image=image, by=build.nurse(), points=[(1, 1), (90, 1), (90, 80)], revision=1)
    answer = nurse.post(url("outline", image.pk), {"points": "10 10\n100 10\n60 80", "revision": 1})
    assert answer.status_code == 409
    assert Assessment.objects.filter(drawn_by__isnull=False).count() == 1


def test_the_pages_say_who_drew_the_outline(nurse, mole):
    image = scene.measured(scene.lesion(), mole, **SCALE).assessment.image
    points = [(100, 100), (200, 100), (200, 200)]
    row = outlines.draw(image=image, by=build.nurse(name="P. Pencil"), points=points, revision=1)
    lesion, before = url("lesion", image.lesion_id), url("decision", image.lesion.reviews.get().pk)
    assert "being measured again" in read(nurse.get(lesion))
    assert "is being measured again" in read(nurse.get(before))
    measure.measure_picture(row.pk)
    now = url("decision", image.lesion.reviews.get(state="waiting").pk)
    for address in (lesion, now):
        page = read(nurse.get(address))
        assert "outline drawn by P. Pencil" in page and "being measured again" not in page
        assert page.leads_to(url("outline", image.pk))
    drawn_page = read(nurse.get(url("outline", image.pk)))
    assert "Measured by the outline that P. Pencil drew" in drawn_page and (
        "100.0 100.0" in drawn_page.field("Points of the outline").value
    )


def test_a_scale_is_set_by_two_points_and_a_distance(nurse, mole):
    image = scene.measured(scene.lesion(), mole).assessment.image
    assert "no scale, so nothing" in read(nurse.get(url("scale", image.pk)))
    data = {"points": "10 20\n210 20", "mm": "10", "revision": 1}
    assert nurse.post(url("scale", image.pk), data).status_code == 302
    assert Image.objects.get().mm_per_px == 0.05
    assert "two points by hand" in read(nurse.get(url("scale", image.pk)))
    again = nurse.post(url("scale", image.pk), data | {"revision": 2, "points": "10 20"})
    assert again.status_code == 422 and "exactly two" in read(again)
    assert nurse.post(url("scale", image.pk), data | {"points": "1 1\n90 1"}).status_code == 409


def test_an_overview_has_neither_page(nurse):
    image = scene.file(scene.lesion(), kind="overview")
    assert {nurse.get(url(name, image.pk)).status_code for name in ("outline", "scale")} == {404}


def test_a_failed_picture_is_measured_again_from_the_pictures_page(nurse):
    image = scene.file(scene.lesion())
    row, path = image.assessments.get(), storage.path(image.sha256)
    kept = path.read_bytes()
    path.write_bytes(b"rotten")
    measure.measure_picture(row.pk)
    path.write_bytes(kept)
    row.refresh_from_db()
    assert read(nurse.get(url("pictures"))).leads_to(url("measure_again", row.pk))
    nurse.post(url("measure_again", row.pk), {"revision": row.revision})
    assert measure.waiting() == [row.pk]
    assert nurse.post(url("measure_again", row.pk), {"revision": row.revision}).status_code == 409


def test_queries_do_not_grow_with_outlines(nurse, mole):
    lesion = scene.lesion()
    image = scene.measured(lesion, mole, **SCALE).assessment.image
    addresses = [url("outline", image.pk), url("scale", image.pk), url("lesion", lesion.pk)]

    def redraw(points):
        image.refresh_from_db()
        row = outlines.draw(image=image, by=build.nurse(), points=points, revision=image.revision)
        measure.measure_picture(row.pk)

    redraw([(100, 100), (200, 100), (200, 200)])
    before = [queries(nurse, address) for address in addresses]
    redraw([(100, 100), (200, 100), (200, 210)])
    redraw([(100, 100), (200, 100), (200, 220)])
    assert [queries(nurse, address) for address in addresses] == before


def test_an_outline_that_could_not_be_measured_is_told_on_the_lesion_page(nurse, mole):
    image = scene.measured(scene.lesion(), mole, **SCALE).assessment.image
    points = [(100, 100), (200, 100), (200, 200)]
    row = outlines.draw(image=image, by=build.nurse(), points=points, revision=1)
    storage.path(image.sha256).write_bytes(b"rotten")
    measure.measure_picture(row.pk)
    page = read(nurse.get(url("lesion", image.lesion_id)))
    assert "has changed on the disk" in page and "mm ±" in page


def test_a_scale_that_was_found_in_the_picture_is_told_and_drawn(nurse, mole):
    """The core may read a ruler where nobody entered a scale: what it measured by is what the pages say."""
    row = scene.measured(scene.lesion(), mole).assessment
    review = row.reviews.get()
    row.result["scale"] = {"mm_per_px": 0.04, "origin": "ruler", "rel_uncertainty": 0.02}
    row.save(update_fields=["result"])
    frames = [
        one for one in read(nurse.get(url("decision", review.pk))).walk() if one.get("class") == "frame"
    ]
    assert [one.get("data-mm-per-px") for one in frames] == ["0.04"]  # the script draws its bar by this
    page = read(nurse.get(url("scale", row.image_id)))
    assert "0.04 mm per pixel, from a ruler found in the picture" in page

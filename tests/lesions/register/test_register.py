"""Lesions: words and chart agree, signs make urgent, a dermatologist answers them in person.

Who notes a sign and who answers it: common practice, no source.
"""

import pytest

from clinic import clock
from clinic.access import NotAllowed
from clinic.models import StaleRow
from lesions.models import Lesion, Review
from lesions.register import bodymap, register
from lesions.register.register import LesionRefused
from tests import build
from tests.lesions import scene

pytestmark = pytest.mark.django_db


def test_labels_count_within_the_patient():
    patient = build.patient()
    assert [scene.lesion(patient).label for _ in range(3)] == [1, 2, 3]
    assert scene.lesion().label == 1


@pytest.mark.parametrize(
    "wrong", [{"side": "right"}, {"site": "72939005"}, {"x": 3.0, "y": 3.0}, {"view": "back"}]
)
def test_words_that_contradict_the_chart_are_refused(wrong):
    """Swapped sides are part of the wrong-site errors counted in docs/sources.md, "Results"; the rule: common practice, no source."""
    with pytest.raises(LesionRefused):
        scene.lesion(**wrong)
    assert not Lesion.objects.exists()


def test_a_midline_site_refuses_a_side():
    nose = scene.place("113179006", "midline")
    with pytest.raises(LesionRefused, match="midline"):
        scene.lesion(**nose | {"side": "left"})
    assert register.place_words(scene.lesion(**nose)) == "nose"


def test_the_side_is_read_in_capitals():
    lesion = scene.lesion()
    assert register.place_words(lesion) == bodymap.site_words(scene.ARM, "left")
    assert "LEFT" in register.place_words(lesion)


def test_registering_moves_the_facts_of_the_patient():
    patient = build.patient()
    before = patient.facts_revision
    scene.lesion(patient)
    patient.refresh_from_db()
    assert patient.facts_revision == before + 1
    assert patient.audit_records.first().action == "lesion.add"


def test_a_stale_amendment_is_refused_and_changes_nothing():
    lesion = scene.lesion(monitoring="short")
    other = Lesion.objects.get(pk=lesion.pk)
    register.amend(lesion=lesion, by=build.dermatologist(), revision=1, monitoring="long")
    with pytest.raises(StaleRow):
        register.amend(lesion=other, by=build.nurse(), revision=1, note="meanwhile")
    lesion.refresh_from_db()
    assert (lesion.monitoring, lesion.note, lesion.revision) == ("long", "", 2)


def test_what_is_gone_is_no_longer_monitored():
    lesion = scene.lesion(monitoring="short")
    register.amend(lesion=lesion, by=build.dermatologist(), revision=1, state="gone")
    assert (lesion.state, lesion.monitoring) == ("gone", None)


def test_a_sign_is_open_until_an_examination_on_or_after_its_day():
    lesion = scene.lesion()
    today = clock.today()
    register.note_sign(lesion=lesion, by=build.nurse(), sign="bleeding")
    register.note_sign(lesion=lesion, by=build.nurse(), sign="bleeding")
    assert register.open_signs(lesion).count() == 1
    register.examine_in_person(lesion=lesion, by=build.dermatologist(), on=build.days_ago(1))
    assert register.open_signs(lesion).count() == 1
    register.examine_in_person(lesion=lesion, by=build.dermatologist(), on=today)
    assert not register.open_signs(lesion).exists()


def test_a_nurse_cannot_close_an_urgent_sign():
    lesion = scene.lesion()
    register.note_sign(lesion=lesion, by=build.nurse(), sign="raised")
    with pytest.raises(NotAllowed):
        register.examine_in_person(lesion=lesion, by=build.nurse())
    assert register.open_signs(lesion).exists()


def test_a_sign_raises_what_already_waits_and_the_examination_lowers_it():
    lesion = scene.lesion()
    review = scene.measured(lesion)
    Review.objects.filter(pk=review.pk).update(flagged=False)
    register.note_sign(lesion=lesion, by=build.nurse(), sign="growing", words="it grew in two weeks")
    review.refresh_from_db()
    assert (review.urgent, review.flagged) == (True, True)
    register.examine_in_person(lesion=lesion, by=build.dermatologist())
    review.refresh_from_db()
    assert (review.urgent, review.flagged) == (False, True)

"""Words that rows share are written once, in the language of the request, and escaped only where they are shown."""

from datetime import datetime

import pytest
from django.template import engines
from django.utils import timezone, translation

from clinic.pages.said import Said, who
from tests import build


def test_words_of_one_key_are_written_once():
    said, written = Said(), []
    words = [said.once(key, lambda key=key: written.append(key) or f"of {key}") for key in "aab"]
    assert (words, written) == (["of a", "of a", "of b"], ["a", "b"])


def test_a_day_a_moment_and_words_of_ones_own_never_meet():
    said, at = Said(), timezone.make_aware(datetime(2026, 6, 17, 14, 30, 12))
    assert said.day(at.date()) == said.day(at) == "17 Jun 2026"
    assert said.moment(at) == said.moment(at.replace(second=50)) == "Wed 17 Jun 2026, 14:30"
    assert said.moment(at.replace(minute=31)) == "Wed 17 Jun 2026, 14:31"


def test_what_is_said_within_a_sentence_is_escaped_once():
    said = Said()
    place = said.once("place", lambda: "l’épaule & le bras")
    line = said.once("line", lambda: f"Lesion 2 — {place}")
    page = engines["django"].from_string("{{ line }}").render({"line": line})
    assert page == "Lesion 2 — l’épaule &amp; le bras"


def test_a_finished_row_is_escaped_once_and_its_other_values_are_kept():
    said = Said()
    row = said.escaped({"line": "l’épaule & le bras", "late": True, "count": 3, "when": None, "more": ""})
    page = engines["django"].from_string(
        "{{ row.line }} {{ row.late }} {{ row.count }} {{ row.when }}|{{ row.more }}|"
    )
    assert page.render({"row": row}) == "l’épaule &amp; le bras True 3 None||"
    assert said.escaped({"line": "l’épaule & le bras"})["line"] is row["line"]
    assert "&amp;amp;" not in page.render({"row": said.escaped(row)})


@pytest.mark.django_db
def test_the_head_of_a_row_says_who_it_is_and_leads_to_the_record():
    patient = build.patient()
    with translation.override("en"):
        head = who(patient, Said())
    assert (head["name"], head["number"]) == (str(patient), patient.number)
    assert head["record"].endswith(f"/patients/{patient.pk}/") and str(patient.born.year) in head["born"]

"""Names of patients and of members stand in an element with translate="no": a browser that translates leaves them alone.

WHATWG HTML, "The translate attribute". A name in a sentence passes `tests/test_language.py`, whose brackets hold the
whole sentence. Titles of pages and names in attributes cannot carry the mark.
"""

from collections.abc import Iterator

import pytest
from django.urls import reverse

from clinic.models import Member, Patient
from tests import build
from tests.page import Element, read
from tests.test_access import ROLES, TABLE
from tests.test_language import NO_PAGES, SHOWN, SILENT
from tests.world import build_world

pytestmark = pytest.mark.django_db

# Pages on which a name still stands in a sentence that is made whole in a view, a form or a row of a list, by what is
# in that sentence. May only shrink.
LEFT = {
    "clinic:amend_member": "Change",
    "clinic:patient": "Rule set",
    "lesions:decisions": "for dermatologist",
    "lesions:pictures": "; sent",
    "lesions:put_right": ", born",
    "lesions:set_aside": ", born",
    "scheduling:recall": "Rule set",
    "scheduling:today": "is with",
}


def bare(element: Element) -> Iterator[str]:
    """The texts that a browser would translate."""
    for child in element.children:
        if isinstance(child, str):
            yield child
        elif child.tag not in SILENT | {"title"} and child.get("translate") != "no":
            yield from bare(child)


def named(page: str, names: set[str]) -> set[str]:
    texts = (" ".join(text.split()) for text in bare(read(page)))
    return {text for text in texts if any(name in text for name in names)}


def every_name() -> set[str]:
    return {*Member.objects.values_list("name", flat=True), *map(str, Patient.objects.all())}


def test_names_of_people_are_left_untranslated(client):
    world = build_world()
    found: dict[str, set[str]] = {}
    for role in ROLES:
        client.force_login(build.member(role), backend="clinic.project.backends.ClinicBackend")
        names = every_name()
        for name, (method, about, answers) in TABLE.items():
            if name in NO_PAGES or answers[ROLES.index(role)] not in SHOWN:
                continue
            answer = getattr(client, method)(reverse(name, args=world.get(about, ())))
            if answer.headers.get("Content-Type", "").startswith("text/html"):
                found.setdefault(name, set()).update(named(answer.content.decode(), names))
    past = {
        name: sorted(text for text in texts if LEFT.get(name, "\0") not in text)
        for name, texts in found.items()
    }
    over = {name: texts for name, texts in past.items() if texts}
    assert not over, "\n".join(f"{name}: {texts}" for name, texts in over.items())
    gone = [name for name, words in LEFT.items() if not any(words in text for text in found[name])]
    assert gone == [], "take these out of LEFT"


def test_a_bare_name_is_found():
    page = '<p>Signed by Ann Other on Monday</p><p>by <b translate="no">Ann Other</b></p><title>Ann Other</title>'
    assert named(page, {"Ann Other"}) == {"Signed by Ann Other on Monday"}

"""Whoever goes on to the next page of a list reads every row of it: no list ends silently."""

import pytest
from django.urls import reverse

from clinic.pages import paging
from scheduling.views import today
from tests.lists import LISTS
from tests.page import read
from tests.scheduling import scene
from tests.test_queries import clinic, readers  # noqa: F401 clinic is a fixture

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clinic")]
PAGED = {
    "clinic:patients": "nurse",
    "clinic:staff": "administrator",
    "clinic:trail": "manager",
    "lesions:decisions": "dermatologist",
    "lesions:pictures": "nurse",
    "scheduling:today": "nurse",
    "scheduling:diary": "nurse",
    "clinic:staff_trail": "manager",
    "scheduling:missed": "manager",
    "scheduling:past_miss_rows": "manager",
    "scheduling:place": "manager",
    "scheduling:problems": "manager",
}


def all_pages(client, address):
    """The words of a page and of everything to which its “Next page” leads, each address once."""
    found, to_read = {}, [address]
    while to_read and len(found) < 40:
        here = to_read.pop()
        if here not in found:
            found[here] = read(client.get(here))
            links = found[here].find_all("link", "Next page")
            to_read += [address.partition("?")[0] + link.get("href") for link in links]
    return found


@pytest.mark.parametrize("name", PAGED)
def test_every_row_stands_on_some_page(name, monkeypatch):
    for module, size in ((paging, "PAGE"), (today, "SHOWN")):
        monkeypatch.setattr(module, size, 2)
    where, add = LISTS[name]()
    words = add() + add() + add()
    args, query = where()
    client = readers(name)[PAGED[name]]
    with scene.later(hours=5):
        pages = all_pages(client, reverse(name, args=args, query=query))
    text = " ".join(page.text for page in pages.values())
    assert len(pages) > 1
    assert [word for word in words if word not in text] == []

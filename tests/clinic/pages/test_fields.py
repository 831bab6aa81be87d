"""Fields of our own offer what Django's own field of the kind offers (Django, django.forms.Select)."""

import re

import pytest
from django import forms
from django.utils.translation import gettext_lazy

from clinic.pages.fields import PlainSelect

CHOICES = [("", "anybody"), (1, "Ann & <Bo>"), ("b", gettext_lazy("Urgent")), ("c", 'said "no"')]


def offered(select, value):
    """Each line that can be chosen, with its words and whether it is, and what is said of the whole field."""
    page = select(choices=CHOICES, attrs={"translate": "no"}).render(
        "who", value, {"id": "id_who", "required": True}
    )
    head = dict(re.findall(r'(\w+)="([^"]*)"', re.match(r"<select([^>]*)>", page)[1]))
    lines = re.findall(r'<option\s+value="([^"]*)"\s*(selected)?\s*>\s*([^<]*?)\s*</option>', page)
    return head, lines, "required" in page


@pytest.mark.parametrize("value", [None, "", 1, "1", "b", "nobody"])
def test_a_plain_list_offers_what_djangos_offers(value):
    head, lines, required = offered(PlainSelect, value)
    assert (head, lines, required) == offered(forms.Select, value)
    assert len(lines) == len(CHOICES) and head["translate"] == "no" and required

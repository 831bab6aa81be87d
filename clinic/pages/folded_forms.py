"""Forms that lie folded on a page, empty and the same for everybody: written once a day in each language."""

from collections.abc import Callable
from datetime import date
from functools import lru_cache

from django import forms
from django.utils.safestring import SafeString
from django.utils.translation import get_language

from clinic import clock


def written(make: Callable[[], forms.BaseForm]) -> SafeString:
    """Write an empty form; `make` is a function of a module, by which the text is kept."""
    # By the day as well: a field that offers today must not offer yesterday after midnight.
    return _written(make, get_language() or "", clock.today())


@lru_cache(maxsize=32)
def _written(make: Callable[[], forms.BaseForm], language: str, day: date) -> SafeString:
    return make().render()

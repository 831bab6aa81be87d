"""Show pages of lists whose order is kept: to sort thousands of rows for each page costs more than the page."""

from collections.abc import Callable
from typing import Any

from django.core.paginator import Page
from django.db.models import QuerySet
from django.http import HttpRequest

from clinic.pages.duty_rows import kept_answer
from clinic.pages.paging import page_of_rows
from clinic.tally.kept_answers import KeptAnswer, columns_of


def order_of(rows: Callable[[], QuerySet[Any]]) -> KeptAnswer:
    """Keep the keys of a list in its order."""
    return KeptAnswer(rows, lambda asked: columns_of(asked.select_related(None).values_list("pk"))[0])


def page_of(answer: str, rows: Callable[[], QuerySet[Any]], request: HttpRequest, **of: Any) -> "Page[Any]":
    """Give one page of a list with its rows read; `of`: its name and the masthead's number, as for any page of rows."""
    # Where the masthead counted none, no question is even written.
    page = page_of_rows(kept_answer(answer, request) if of["count"] else (), request, **of)
    keys = list(page.object_list)
    # One that left the list since is not among them.
    found = rows().order_by().in_bulk(keys) if keys else {}
    page.object_list = [found[key] for key in keys if key in found]
    return page

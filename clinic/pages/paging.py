"""Cut the lists of a page in the database: several stand on one page, each with a page of its own."""

from collections.abc import Sequence
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import QuerySet
from django.http import HttpRequest

from clinic.pages.responses import PAGE


class Section(Paginator):  # type: ignore[type-arg]  # not subscriptable when it runs
    """One list of a page; `name` is the word of the address that says which page of it is shown."""

    def __init__(
        self, rows: "QuerySet[Any] | Sequence[Any]", name: str, count: int | None, size: int
    ) -> None:
        super().__init__(rows, size)
        self.name = name
        if count is not None:
            # Django keeps its own count in this very place (`cached_property`); set before, it is never asked.
            vars(self)["count"] = count


def page_of_rows(
    rows: "QuerySet[Any] | Sequence[Any]",
    request: HttpRequest,
    name: str = "page",
    count: int | None = None,
    size: int | None = None,
) -> "Page[Any]":
    """Give one page of a list; `count` where it is known already, so that it is asked once."""
    section = Section(rows, name, count, size or PAGE)
    if not section.count:
        # Django would write a question for rows that it knows are none.
        section.object_list = ()
    return section.get_page(request.GET.get(name))

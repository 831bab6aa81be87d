"""Make a page of what a list owes: fifty rows stand on it, so that a template only writes their words down."""

from collections.abc import Iterable
from functools import partial
from typing import Any, Final

from django.core.paginator import Page
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from clinic.addresses import address_of
from clinic.duties import ledger
from clinic.duties.kinds import OwningList, of_list
from clinic.models import Duty
from clinic.pages.duty_rows import DutyRow, duty_rows, owed_by
from clinic.pages.kept_order import order_of, page_of
from clinic.pages.said import Said, who
from clinic.people import finding


def page_of_list(owner: OwningList, request: HttpRequest) -> "Page[Any]":
    """Give one page of what this list owes; the rows to show are in `object_list`."""
    page = page_of(_kept(owner), _open_duties, request, name="duties", count=owed_by(owner, request))
    duties = list(page.object_list)
    shared = finding.shared_names([row.patient for row in duties if row.patient])
    page.object_list = _written(duty_rows(duties, request, shared))
    return page


def _kept(owner: OwningList) -> str:
    return f"duties_of_{owner.value}"


def _open_duties() -> QuerySet[Duty]:
    return ledger.open_duties().select_related(None).select_related("patient", "owner").only(*_SHOWN)


# A row shows little of a record, and nobody's password.
_SHOWN: Final = (
    *("kind", "subject", "urgent", "opened_at", "opened_from", "due_on", "because", "note"),
    *(f"patient__{name}" for name in ("given_name", "family_name", "born", "number")),
    *("owner__name", "owner__username", "owner__is_active"),
)
# Registered by the app whose pages these are.
KEPT: Final = {
    _kept(owner): order_of(partial(ledger.on_list, owner)) for owner in OwningList if of_list(owner)
}


def _written(rows: Iterable[DutyRow]) -> list[dict[str, Any]]:
    said = Said()
    return [_row(row, said) for row in rows]


def _row(row: DutyRow, said: Said) -> dict[str, Any]:
    duty = row.duty
    name = str(duty.patient) if duty.patient else said.once("nobody", lambda: _("nobody on file"))
    words = _whose(duty, said) | {
        "shares_name": row.shares_name,
        "urgent": duty.urgent,
        "what": said.once(("kind", duty.kind), lambda: capfirst(row.kind.words)),
        "about": row.about,
        "since": _since(duty, said),
        "stands_in": row.stands_in,
        "because": row.because,
        "note": duty.note,
        "late": row.late,
        "by": _by(row, said),
        "doors": [*_done_at(row, name, said), _look(row, name, said)],
    }
    return said.escaped(words)


def _whose(duty: Duty, said: Said) -> dict[str, Any]:
    if duty.patient is None:
        return {}
    day = duty.patient.born
    born = said.once(("born", day), lambda: _("born %(day)s") % {"day": said.day(day)})
    return who(duty.patient, said) | {"born": born}


def _since(duty: Duty, said: Said) -> str:
    day = said.day(duty.opened_at)
    if duty.owner:
        return _("since %(day)s; for %(name)s") % {"day": day, "name": duty.owner}
    return said.once(("since", day), lambda: _("since %(day)s") % {"day": day})


def _by(row: DutyRow, said: Said) -> str:
    day = said.day(row.duty.due_on)
    if row.late:
        return said.once(("past", day), lambda: _("past its day: %(day)s") % {"day": day})
    return said.once(("by", day), lambda: _("by %(day)s") % {"day": day})


def _done_at(row: DutyRow, name: str, said: Said) -> list[tuple[str, str, str]]:
    """Give address, word and whole words of the button that leads to where the duty is done; nothing without one."""
    if not row.done_at:
        return []
    word = said.once(("done", row.duty.kind), lambda: row.done_words)
    return [(row.done_at, word, _("%(act)s: %(name)s") % {"act": word, "name": name})]


def _look(row: DutyRow, name: str, said: Said) -> tuple[str, str, str]:
    # Where another button does it, or somebody else may, the duty's own page is only looked at.
    does = row.may_end and not row.done_at
    word = said.once(("word", does), lambda: _("Do") if does else _("Look"))
    act = said.once(("act", row.duty.kind), lambda: row.kind.words)
    label = _("%(word)s: %(act)s, %(name)s") % {"word": word, "act": act, "name": name}
    return address_of("clinic:duty", row.duty.pk), word, label

"""Read what the rows of Today show besides their lines, each kind of thing asked once for a page."""

from collections.abc import Iterable, Mapping
from typing import Any, Final

from clinic import clock
from clinic.access import Act, may
from clinic.models import ContactRoute, Duty, Member, RouteKind
from clinic.pages import duty_rows
from clinic.pages.said import Said
from clinic.people import leave
from lesions.models import RefusedUpload
from scheduling.desk import claims, what_next
from scheduling.models import Appointment, Call, Recall
from scheduling.planning.ladder import Ladder
from scheduling.planning.wording import OWN, source_words
from scheduling.recalls import wording
from scheduling.today.shown_lines import ShownLine


class PageFacts(Said):
    """What the rows of one page show, each kind of thing asked once."""

    def __init__(self, lines: list[ShownLine], member: Member, ladders: Mapping[str, Ladder]) -> None:
        super().__init__()
        self.may_call, self.ladders = may(member, Act.CONTACT), ladders
        self.idle_since = claims.idle_since()
        self.things = _things(lines)
        recalls = [row for row in self.things.values() if isinstance(row, Recall)]
        duties = [row for row in self.things.values() if isinstance(row, Duty)]
        self.about = duty_rows.words_of([*(row.subject for row in recalls), *(row.subject for row in duties)])
        # A duty given to somebody who is away would else wait for the day of their return.
        self.gone = leave.stand_ins((row.owner for row in duties if row.owner), clock.today())
        self.phones = _phones(line.patient_id for line in lines if line.patient_id)
        self._read_notes(recalls)

    def _read_notes(self, recalls: list[Recall]) -> None:
        """Ask for what few recalls have; each says itself whether there is any."""
        own = [row.pk for row in recalls if row.rule.startswith(OWN)]
        # Why a dermatologist set another day stands on the line; the reasons of the rules do not.
        reasons = Recall.objects.filter(pk__in=own).values_list("pk", "reasons") if own else ()
        self.set_by = {key: source_words(given[0]) for key, given in reasons}
        after_an_end = [row for row in recalls if vars(row)["follows_an_end"]]
        self.why_next = wording.why_the_next(after_an_end) if after_an_end else {}
        asked = [row.patient_id for row in recalls if vars(row)["was_asked"]]
        self.asked = what_next.said_about(asked) if asked else {}


def _things(lines: list[ShownLine]) -> dict[str, Any]:
    """Read what stands first on each line, by the name that the line has for it."""
    keys: dict[str, list[int]] = {}
    for line in lines:
        kind, _sep, key = line.first.partition(":")
        keys.setdefault(kind, []).append(int(key))
    return {
        f"{kind}:{row.pk}": row
        for kind, rows in _KINDS.items()
        if kind in keys
        for row in rows.filter(pk__in=keys[kind])
    }


def _phones(people: Iterable[int]) -> dict[int, list[str]]:
    found: dict[int, list[str]] = {}
    live = ContactRoute.objects.working(clock.today()).filter(patient__in=list(people), kind=RouteKind.PHONE)
    for patient, number in live.values_list("patient_id", "value"):
        found.setdefault(patient, []).append(number)
    return found


_KINDS: Final[dict[str, Any]] = {
    "recall": Recall.objects.annotate(
        was_asked=what_next.was_asked(), follows_an_end=wording.follows_an_end()
    ).only(
        *(
            "patient",
            "purpose",
            "subject",
            "number",
            "urgency",
            "rule",
            "anchor",
            "reopened",
            "proposed_ground",
        )
    ),
    "duty": Duty.objects.select_related("owner").only(
        *("patient", "kind", "subject", "note", "opened_from"),
        *(f"owner__{name}" for name in ("name", "username", "is_active")),
    ),
    "appointment": Appointment.objects.select_related("resource").only(
        *("starts_at", "revision", "resource__name", "resource__use")
    ),
    "call": Call.objects.select_related("by").only("begun_at", "by__name", "by__username"),
    "upload": RefusedUpload.objects.select_related("lesion").only("lesion__label"),
}

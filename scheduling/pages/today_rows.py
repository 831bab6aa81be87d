"""Make the rows of Today: one line a person, what is wanted first, and the one button."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

from django.shortcuts import resolve_url
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from clinic import clock
from clinic.access import Act, may
from clinic.duties.kinds import KINDS
from clinic.models import ContactRoute, Duty, Member, RouteKind
from clinic.pages import duty_rows
from clinic.people import finding, leave
from clinic.wording import Words, write_day
from lesions.models import RefusedUpload
from scheduling.desk import claims, what_next
from scheduling.models import Appointment, Call, DeskLine, Recall, Section
from scheduling.planning import ladder
from scheduling.planning.wording import OWN, source_words
from scheduling.recalls import wording

CONDUCT: Final[dict[int, Words]] = {
    Section.OUTCOME: gettext_lazy("enter before calling anybody"),
    Section.TELL: gettext_lazy("by who was named for it"),
    Section.PHONE: gettext_lazy("whose window or ladder asks for it today; urgent first, then by last day"),
    Section.WRITE: gettext_lazy("letters and messages"),
    Section.REBOOK: gettext_lazy("appointments that no longer fit"),
    Section.CONFIRM: gettext_lazy("booked for the next working days"),
    Section.PUT_RIGHT: gettext_lazy("no way to reach them, a picture without its place, a call to file"),
    Section.LATER: gettext_lazy("nothing is asked for today"),
}
_FORTNIGHT = timedelta(days=14)


@dataclass(frozen=True)
class Row:
    """`button`: its words, the address, and whether it claims the person first; `at`: the key that presses it."""

    line: DeskLine
    what: str
    notes: tuple[str, ...]
    attempts: str
    owner: str
    mine: bool
    late: bool
    button: tuple[Words, str]
    claims: bool
    ended: Appointment | None
    shares_name: bool
    phones: str

    @property
    def more(self) -> int:
        return self.line.duties - 1


def rows_of(lines: list[DeskLine], member: Member, today: date) -> dict[int, Row]:
    """Write the rows of one page, by the key of the line."""
    facts = _PageFacts(lines)
    return {line.pk: _row(line, facts, member, today) for line in lines}


def weeks(days: Iterable[tuple[date, int]], today: date) -> list[tuple[date | None, int]]:
    """Sum up who comes later: this fortnight (no day), then by the Monday of the week."""
    found: dict[date | None, int] = {}
    for day, count in days:
        week = None if day < today + _FORTNIGHT else day - timedelta(days=day.weekday())
        found[week] = found.get(week, 0) + count
    return list(found.items())


class _PageFacts:
    """What the rows of one page show, each kind of thing asked once."""

    def __init__(self, lines: list[DeskLine]) -> None:
        keys: dict[str, list[int]] = {}
        for line in lines:
            kind, _sep, key = line.first.partition(":")
            keys.setdefault(kind, []).append(int(key))
        self.things: dict[str, Any] = {}
        for kind, rows in _KINDS.items():
            found = rows.filter(pk__in=keys.get(kind, ())) if kind in keys else ()
            self.things |= {f"{kind}:{row.pk}": row for row in found}
        recalls = [row for row in self.things.values() if isinstance(row, Recall)]
        self.places, self.why_next = wording.subjects(recalls), wording.why_the_next(recalls)
        people = [line.patient_id for line in lines if line.patient_id]
        self.asked = what_next.said_about(people)
        duties = [row for row in self.things.values() if isinstance(row, Duty)]
        self.about = duty_rows.words_of(row.subject for row in duties)
        # A duty given to somebody who is away would else wait for the day of their return.
        self.gone = leave.stand_ins((row.owner for row in duties if row.owner), clock.today())
        self.ladders = ladder.in_force()
        self.shared = finding.shared_names([line.patient for line in lines if line.patient])
        self.phones: dict[int, list[str]] = {}
        live = ContactRoute.objects.working(clock.today()).filter(patient__in=people, kind=RouteKind.PHONE)
        for patient, number in live.values_list("patient_id", "value"):
            self.phones.setdefault(patient, []).append(number)


_KINDS: Final[dict[str, Any]] = {
    "recall": Recall.objects.all(),
    "duty": Duty.objects.select_related("owner"),
    "appointment": Appointment.objects.select_related("resource"),
    "call": Call.objects.select_related("by"),
    "upload": RefusedUpload.objects.select_related("lesion"),
}


def _row(line: DeskLine, facts: _PageFacts, member: Member, today: date) -> Row:
    thing = facts.things[line.first]
    holder = _holder(line)
    mine = holder is not None and holder.pk == member.pk
    button, claims_first = _button(line, thing, member, mine, holder)
    return Row(
        line=line,
        what=_what(line, thing, facts),
        notes=tuple(_notes(line, thing, facts)),
        attempts=_attempts(thing, line, facts),
        owner=str(holder or ""),
        mine=mine,
        late=line.ends_on < today,
        button=button,
        claims=claims_first,
        ended=thing if isinstance(thing, Appointment) and line.section == Section.OUTCOME else None,
        shares_name=line.patient_id in facts.shared,
        phones=" · ".join(facts.phones.get(line.patient_id or 0, ())),
    )


def _holder(line: DeskLine) -> Member | None:
    claim = getattr(line.patient, "claim", None)
    return claim.by if claim is not None and claim.by and claim.touched_at > claims.idle_since() else None


def _what(line: DeskLine, thing: Any, facts: _PageFacts) -> str:
    if isinstance(thing, Recall):
        return wording.what_for(thing, facts.places)
    if isinstance(thing, Appointment):
        return capfirst(wording.appointment_words(thing))
    if isinstance(thing, Call):
        at = timezone.localtime(thing.begun_at)
        said = {"day": write_day(at.date()), "time": f"{at:%H:%M}", "who": thing.by}
        return _("Call begun %(day)s, %(time)s, by %(who)s: what came of it?") % said
    if isinstance(thing, RefusedUpload):
        return _("A file that could not be taken: lesion %(label)s") % {"label": thing.lesion.label}
    about = facts.about.get(thing.subject, "")
    words = capfirst(str(KINDS[thing.kind].words))
    return f"{words}: {about}" if about else words


def _notes(line: DeskLine, thing: Any, facts: _PageFacts) -> list[str]:
    if isinstance(thing, Duty):
        return _notes_of_duty(line, thing, facts)
    if not isinstance(thing, Recall):
        return []
    notes = [wording.answer_of(one) for one in facts.asked.get((thing.patient_id, thing.subject), [])[-1:]]
    # An own interval is a dermatologist's word; every other reason is the rule's, and stands on the recall's page.
    if thing.rule.startswith(OWN):
        notes.append(source_words(thing.reasons[0]))
    if thing.pk in facts.why_next:
        notes.append(facts.why_next[thing.pk])
    if thing.reopened:
        again = ngettext("re-opened %(count)s time", "re-opened %(count)s times", thing.reopened)
        notes.append(again % {"count": thing.reopened})
    if thing.proposed_ground:
        notes.append(_("closing is proposed"))
    return notes


def _notes_of_duty(line: DeskLine, duty: Duty, facts: _PageFacts) -> list[str]:
    notes = [duty.note] if duty.note and line.patient_id is None else []
    if duty.owner is not None:
        notes.append(_("for %(who)s") % {"who": duty.owner})
        notes += [facts.gone[duty.owner.pk]] if duty.owner.pk in facts.gone else []
    return notes


def _attempts(thing: Any, line: DeskLine, facts: _PageFacts) -> str:
    if not isinstance(thing, Recall):
        return ""
    return _("%(made)s of %(all)s") % {"made": line.tried, "all": facts.ladders[thing.urgency].attempts}


def _button(
    line: DeskLine, thing: Any, member: Member, mine: bool, holder: Member | None
) -> tuple[tuple[Words, str], bool]:
    """Give the one button of the row; True where it claims the person first."""
    if isinstance(thing, Appointment) and line.section == Section.OUTCOME:
        return (_("Came"), resolve_url("scheduling:came", thing.pk)), False
    if isinstance(thing, RefusedUpload):
        return (_("Look"), resolve_url("lesions:pictures")), False
    # These are no calls: nobody needs to be claimed for a letter.
    if isinstance(thing, Duty) and line.section in _AT_ITS_OWN_PAGE:
        return _duty_door(thing), False
    call = resolve_url("scheduling:call", line.patient_id)
    if line.section == Section.LATER or not may(member, Act.CONTACT):
        return (_("Look"), call), False
    if mine:
        return (_("Go on"), call), False
    if holder:
        return (_("Look"), call), False  # whose it is stands beside it
    return (_("Call"), resolve_url("scheduling:claim", line.patient_id)), True


_AT_ITS_OWN_PAGE = (Section.TELL, Section.WRITE, Section.REBOOK, Section.PUT_RIGHT)


def _duty_door(duty: Duty) -> tuple[Words, str]:
    if duty.kind in duty_rows.DONE_AT:
        words, address = duty_rows.DONE_AT[duty.kind]
        return words, address(duty)
    if duty.kind == "rebook":
        return _("Rebook"), resolve_url("scheduling:move", duty.subject.partition(":")[2])
    words = {"tell": _("Tell"), "file_call": _("File it")}.get(duty.kind, _("Do"))
    return words, resolve_url("clinic:duty", duty.pk)

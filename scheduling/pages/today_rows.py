"""Make the rows of Today: one line a person, what is wanted first, and the one button."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

from django.shortcuts import resolve_url
from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from clinic.addresses import address_of
from clinic.duties.kinds import KINDS
from clinic.models import Duty, Member, Patient
from clinic.pages import duty_rows
from clinic.wording import Words, write_day
from lesions.models import RefusedUpload
from scheduling.models import Appointment, Call, PartOfDay, Recall, Section, Urgency
from scheduling.pages.today_facts import PageFacts
from scheduling.planning.ladder import Ladder
from scheduling.recalls import wording
from scheduling.today.shown_lines import ShownLine

CONDUCT: Final[dict[int, Words]] = {
    Section.OUTCOME: gettext_lazy("enter before calling anybody"),
    Section.TELL: gettext_lazy("by who was named for it"),
    Section.PHONE: gettext_lazy(
        "whose window or ladder asks for it today; urgent first, whose part of the day it is, then by last day"
    ),
    Section.WRITE: gettext_lazy("letters and messages"),
    Section.REBOOK: gettext_lazy("appointments that no longer fit"),
    Section.CONFIRM: gettext_lazy("booked for the next working days"),
    Section.PUT_RIGHT: gettext_lazy("no way to reach them, a picture without its place, a call to file"),
    Section.LATER: gettext_lazy("nothing is asked for today"),
}
_FORTNIGHT = timedelta(days=14)


@dataclass(frozen=True)
class Row:
    """One line, in words: a hundred stand on a page, so that nothing is asked or reckoned while it is written.

    `when`: the last day, or the day on which it comes; `button`: its words and the address, `solid` where it is the
    one that is filled; `claims`: whether it claims the person first; `missed`: where it is said that they did not
    come, with the revision that was seen.
    """

    urgent: bool
    what: str
    more: str
    notes: str
    attempts: str
    owner: str
    solid: str
    late: bool
    when: str
    button: Words
    address: str
    claims: bool
    name: str = ""
    record: str = ""
    born: str = ""
    number: str = ""
    shares_name: bool = False
    language: str = ""
    phones: str = ""
    missed: str = ""
    revision: int = 0


def rows_of(
    lines: list[ShownLine], member: Member, today: date, ladders: Mapping[str, Ladder]
) -> dict[int, dict[str, Any]]:
    """Write the rows of one page, by the key of the line; a template reads a dict in half the time."""
    facts = PageFacts(lines, member, ladders)
    return {line.pk: facts.escaped(vars(_row(line, facts, member, today))) for line in lines}


def weeks(days: Iterable[tuple[date, int]], today: date) -> list[tuple[date | None, int]]:
    """Sum up who comes later: this fortnight (no day), then by the Monday of the week."""
    found: dict[date | None, int] = {}
    for day, count in days:
        week = None if day < today + _FORTNIGHT else day - timedelta(days=day.weekday())
        found[week] = found.get(week, 0) + count
    return list(found.items())


def _row(line: ShownLine, facts: PageFacts, member: Member, today: date) -> Row:
    thing, holder = facts.things[line.first], _holder(line, facts)
    mine = bool(holder) and line.held_by == member.pk
    (words, address), claims_first = _button(line, thing, facts, mine, holder)
    return Row(
        urgent=line.urgency == Urgency.A,
        what=_what(line, thing, facts),
        more=facts.more(line.duties - 1),
        notes=" · ".join((*_in_part_of_day(line, facts), *_notes(line, thing, facts))),
        attempts=_attempts(thing, line, facts),
        owner=holder,
        solid="solid" if mine else "",
        late=line.ends_on < today,
        when=_when(line, facts, today),
        button=words,
        address=address,
        claims=claims_first,
        **_did_not_come(line, thing),
        **(_who(line, facts) if line.patient_id else {}),
    )


def _did_not_come(line: ShownLine, thing: Any) -> dict[str, Any]:
    """Give where it is said that somebody did not come, where an appointment has no outcome yet."""
    if not isinstance(thing, Appointment) or line.section != Section.OUTCOME:
        return {}
    return {"missed": address_of("scheduling:appointment_missed", thing.pk), "revision": thing.revision}


def _who(line: ShownLine, facts: PageFacts) -> dict[str, Any]:
    return {
        "name": Patient.in_full(line.given_name, line.family_name),
        "record": address_of("clinic:patient", line.patient_id or 0),
        "born": facts.day(line.born),
        "number": line.number,
        "shares_name": line.shares_name,
        "language": line.language,
        "phones": " · ".join(facts.phones.get(line.patient_id or 0, ())),
    }


def _in_part_of_day(line: ShownLine, facts: PageFacts) -> list[str]:
    """Say where the ladder asks for another part of the day than the last call was made in."""
    if line.part == PartOfDay.ANY:
        return []
    return [facts.once(line.part, lambda: PartOfDay(line.part).label)]


def _when(line: ShownLine, facts: PageFacts, today: date) -> str:
    if line.section == Section.LATER:
        day = line.comes_on
        return facts.once(("on", day), lambda: _("on %(day)s") % {"day": facts.day(day)})
    day = line.ends_on
    if day < today:
        return facts.once(("ended", day), lambda: _("ended %(day)s") % {"day": facts.day(day)})
    return facts.once(("until", day), lambda: _("until %(day)s") % {"day": facts.day(day)})


def _holder(line: ShownLine, facts: PageFacts) -> str:
    """Name whoever works on this person now."""
    idle = line.held_since is None or line.held_since <= facts.idle_since
    return "" if idle or not line.held_by else line.holder or line.holder_signs_in_as


def _what(line: ShownLine, thing: Any, facts: PageFacts) -> str:
    if isinstance(thing, Recall):
        key = thing.purpose, thing.subject, thing.number
        return facts.once(key, lambda: wording.what_for(thing, facts.about))
    if isinstance(thing, Appointment):
        return capfirst(wording.appointment_words(thing))
    if isinstance(thing, Call):
        at = timezone.localtime(thing.begun_at)
        said = {"day": write_day(at.date()), "time": f"{at:%H:%M}", "who": thing.by}
        return _("Call begun %(day)s, %(time)s, by %(who)s: what came of it?") % said
    if isinstance(thing, RefusedUpload):
        return _("A file that could not be taken: lesion %(label)s") % {"label": thing.lesion.label}
    about = facts.about.get(thing.subject, "")
    words = facts.once(thing.kind, lambda: capfirst(str(KINDS[thing.kind].words)))
    return f"{words}: {about}" if about else words


def _notes(line: ShownLine, thing: Any, facts: PageFacts) -> list[str]:
    if isinstance(thing, Duty):
        return _notes_of_duty(line, thing, facts)
    if not isinstance(thing, Recall):
        return []
    notes = [wording.answer_of(one) for one in facts.asked.get((thing.patient_id, thing.subject), [])[-1:]]
    # An own interval is a dermatologist's word; every other reason is the rule's, and stands on the recall's page.
    if thing.pk in facts.set_by:
        notes.append(facts.set_by[thing.pk])
    if thing.pk in facts.why_next:
        notes.append(facts.why_next[thing.pk])
    if thing.reopened:
        again = ngettext("re-opened %(count)s time", "re-opened %(count)s times", thing.reopened)
        notes.append(again % {"count": thing.reopened})
    if thing.proposed_ground:
        notes.append(_("closing is proposed"))
    return notes


def _notes_of_duty(line: ShownLine, duty: Duty, facts: PageFacts) -> list[str]:
    notes = [duty.note] if duty.note and line.patient_id is None else []
    if duty.owner is not None:
        notes.append(_("for %(who)s") % {"who": duty.owner})
        notes += [facts.gone[duty.owner.pk]] if duty.owner.pk in facts.gone else []
    return notes


def _attempts(thing: Any, line: ShownLine, facts: PageFacts) -> str:
    if not isinstance(thing, Recall):
        return ""
    said = {"made": line.tried, "all": facts.ladders[thing.urgency].attempts}
    return facts.once(tuple(said.values()), lambda: _("%(made)s of %(all)s attempts") % said)


_CAME, _LOOK = gettext_lazy("Came"), gettext_lazy("Look")
_GO_ON, _CALL = gettext_lazy("Go on"), gettext_lazy("Call")


def _button(
    line: ShownLine, thing: Any, facts: PageFacts, mine: bool, holder: str
) -> tuple[tuple[Words, str], bool]:
    """Give the one button of the row; True where it claims the person first."""
    if isinstance(thing, Appointment) and line.section == Section.OUTCOME:
        return (facts.once("came", lambda: _CAME), address_of("scheduling:came", thing.pk)), False
    if isinstance(thing, RefusedUpload):
        return (_LOOK, resolve_url("lesions:pictures")), False
    # These are no calls: nobody needs to be claimed for a letter.
    if isinstance(thing, Duty) and line.section in _AT_ITS_OWN_PAGE:
        return _duty_door(thing), False
    key = line.patient_id or 0  # what is owed for nobody on file has a page of its own
    if mine and line.section != Section.LATER and facts.may_call:
        return (_GO_ON, address_of("scheduling:call", key)), False
    # Whose it is stands beside it.
    if holder or line.section == Section.LATER or not facts.may_call:
        return (facts.once("look", lambda: _LOOK), address_of("scheduling:call", key)), False
    return (facts.once("call", lambda: _CALL), address_of("scheduling:claim", key)), True


_AT_ITS_OWN_PAGE = (Section.TELL, Section.WRITE, Section.REBOOK, Section.PUT_RIGHT)


def _duty_door(duty: Duty) -> tuple[Words, str]:
    if duty.kind in duty_rows.DONE_AT:
        words, address = duty_rows.DONE_AT[duty.kind]
        return words, address(duty)
    if duty.kind == "rebook":
        return _("Rebook"), resolve_url("scheduling:move", duty.subject.partition(":")[2])
    words = {"tell": _("Tell"), "file_call": _("File it")}.get(duty.kind, _("Do"))
    return words, address_of("clinic:duty", duty.pk)

"""Say who works on whom: claimed by opening, of one person at a time, and handed back after an idle half hour."""

from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import F, Q
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, require
from clinic.models import Member, Patient, StaleRow
from clinic.models.base import NOTHING_SAVED
from clinic.trail import audit
from scheduling.desk import parts_of_day
from scheduling.models import Claim, DeskLine, Section

IDLE_MINUTES = 30  # clinic setting, no source


class ClaimRefused(ValueError):
    """Raised where somebody cannot be claimed so; the text is the sentence for the page."""


class ClaimedByOther(StaleRow):
    """Raised where somebody else works on the patient; `row` says who, since when, and the word of taking over."""

    def __init__(self, row: Claim) -> None:
        super().__init__(row)
        self.claim = row

    def say(self) -> str:
        said = _("%(who)s is with %(name)s now.") % {"who": self.claim.patient, "name": self.claim.by}
        if self.claim.word:
            said = f"{said} {_('Taken over: %(word)s') % {'word': self.claim.word}}"
        return f"{said} {NOTHING_SAVED}"


def idle_since() -> datetime:
    return clock.now() - timedelta(minutes=IDLE_MINUTES)


def holder_of(patient: Patient) -> Claim | None:
    """Find whose the patient is now; an idle claim holds nobody off."""
    held = Claim.objects.filter(patient=patient, by__isnull=False, touched_at__gt=idle_since())
    return held.select_related("by", "patient").first()


@transaction.atomic
def claim(*, patient: Patient, by: Member) -> Claim:
    """Claim a patient: of two people one gets it. Raises ClaimedByOther."""
    require(by, Act.CONTACT)
    now = clock.now()
    free = Claim.objects.filter(Q(by__isnull=True) | Q(touched_at__lte=idle_since()), patient=patient)
    fields = {"by": by, "since": now, "touched_at": now, "word": "", "changed_at": now}
    # One statement asks and writes: the row count is the lock.
    got = free.update(**fields, revision=F("revision") + 1)
    row = Claim.objects.select_related("by", "patient").filter(patient=patient).first()
    if row is None:
        # Of two who make the first row at once, the unique key gives it to one.
        row, new = Claim.objects.get_or_create(patient=patient, defaults=fields)
        got = int(new)
    if got:
        audit.record("work.claim", by=by, subject=row, patient=patient)
    elif row.by_id != by.pk:
        raise ClaimedByOther(row)
    else:
        Claim.objects.filter(pk=row.pk, by=by).update(touched_at=now)
    return row


@transaction.atomic
def take_over(*, patient: Patient, by: Member, word: str) -> Claim:
    """Take a patient over from somebody else, with a word that the other one reads."""
    require(by, Act.CONTACT)
    if not word.strip():
        raise ClaimRefused(_("Say why you take it over: the other one reads it."))
    now = clock.now()
    row, _made = Claim.objects.get_or_create(patient=patient, defaults={"changed_at": now})
    # No revision is asked for: whoever takes over means whoever has the patient by now.
    was = row.by
    fields = {"by": by, "since": now, "touched_at": now, "word": word.strip()[:200], "changed_at": now}
    Claim.objects.filter(pk=row.pk).update(**fields, revision=F("revision") + 1)
    row.refresh_from_db()
    audit.record(
        "work.take_over", by=by, subject=row, patient=patient, was=str(was) if was else "", word=row.word
    )
    return row


def hold(patient: Patient, by: Member) -> None:
    """Refuse an act on a patient who is with somebody else; in the transaction of the act. Raises ClaimedByOther."""
    held = holder_of(patient)
    if held is None:
        return
    if held.by_id != by.pk:
        raise ClaimedByOther(held)
    Claim.objects.filter(pk=held.pk).update(touched_at=clock.now())


@transaction.atomic
def hand_back(*, patient: Patient, by: Member | None) -> bool:
    """Hand a patient back, quiet where nobody had it; `by=None` is the program, after half an hour."""
    held = Claim.objects.filter(patient=patient, by__isnull=False)
    held = held.filter(by=by) if by else held.filter(touched_at__lte=idle_since())
    row = held.first()
    free = {"by": None, "since": None, "touched_at": None, "word": "", "changed_at": clock.now()}
    if row is None or not held.filter(pk=row.pk).update(**free, revision=F("revision") + 1):
        return False
    audit.record("work.hand_back", by=by, subject=row, patient=patient)
    return True


def next_to_phone(by: Member, after: int | None = None) -> Patient | None:
    """Claim the next of whom nobody has claimed, in the order of the list; `after` is not taken again."""
    held = Claim.objects.filter(by__isnull=False, touched_at__gt=idle_since()).exclude(by=by)
    lines = DeskLine.objects.filter(section=Section.PHONE, patient__isnull=False)
    lines = lines.exclude(patient__in=held.values("patient")).exclude(patient=after)
    # More than the people who can claim at the same moment: one of these is still free.
    for line in lines.order_by(*parts_of_day.in_turn()).select_related("patient")[:20]:
        try:
            claim(patient=line.patient, by=by)  # type: ignore[arg-type]  # only lines with a patient
        except ClaimedByOther:
            continue
        return line.patient
    return None


def idle() -> list[int]:
    """List the patients whose claims nobody worked on for half an hour."""
    rows = Claim.objects.filter(by__isnull=False, touched_at__lte=idle_since())
    return list(rows.values_list("patient_id", flat=True))


def release(patient_id: int) -> bool:
    """Hand back one claim that nobody worked on; quiet if that has changed meanwhile."""
    patient = Patient.objects.filter(pk=patient_id).first()
    return patient is not None and hand_back(patient=patient, by=None)

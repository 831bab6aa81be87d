"""Keep the register of lesions: where each lies, how it is watched, and which signs make it urgent."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django.db import transaction
from django.db.models import Exists, F, Max, OuterRef, Q, QuerySet
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, may, require
from clinic.duties import ledger
from clinic.models import Member, Patient, PatientStatus, Proposal, StaleRow, Visit
from clinic.trail import audit
from clinic.wording import SPOKEN
from lesions.models import (
    Examination,
    Lesion,
    Monitoring,
    Review,
    Side,
    Sign,
    SignOff,
    UrgentSign,
    View,
)
from lesions.register import bodymap, endings, wording
from lesions.register.endings import LesionRefused

# Told apart from None, which takes the monitoring away.
_KEEP: Any = object()
_ENDED = endings.ENDED


class OnlyProposed(LesionRefused):
    """Raised where a change would end something owed, and this member may only propose it."""


@transaction.atomic
def add(
    *,
    patient: Patient,
    by: Member,
    site: str,
    side: str,
    view: str,
    x: float,
    y: float,
    monitoring: str | None = None,
    note: str = "",
    since: date | None = None,
) -> Lesion:
    """Register a lesion where words and chart agree; raises LesionRefused."""
    _check_place(site, side, view, x, y)
    since = since or clock.today()
    if not patient.born <= since <= clock.today():
        raise LesionRefused(_("A lesion is first recorded between the patient's birth and today."))
    locked = Patient.objects.select_for_update().get(pk=patient.pk)  # two at once would get the same label
    last = Lesion.objects.filter(patient=locked).aggregate(Max("label"))["label__max"] or 0
    lesion = Lesion.objects.create(
        patient=patient,
        label=last + 1,
        site=site,
        side=side,
        view=view,
        x=x,
        y=y,
        monitoring=_checked_monitoring(monitoring),
        since=since,
        note=note,
        changed_at=clock.now(),
    )
    details = {"site": site, "side": side, "label": lesion.label}
    audit.record("lesion.add", by=by, subject=lesion, patient=patient, **details)
    return lesion


@transaction.atomic
def amend(
    *,
    lesion: Lesion,
    by: Member,
    revision: int,
    state: str | None = None,
    monitoring: str | None = _KEEP,
    note: str = _KEEP,
) -> Lesion:
    """Amend a lesion: what is named changes, the rest stays. Raises StaleRow, LesionRefused, or OnlyProposed."""
    fields = endings.moved(lesion, state, None if monitoring is _KEEP else (monitoring or ""))
    if note is not _KEEP and note != lesion.note:
        fields["note"] = note
    if endings.needs_two(fields) or (endings.ends_a_duty(lesion, fields) and not may(by, Act.END_DUTIES)):
        raise OnlyProposed(_("This ends something that is owed: say why, and another person confirms it."))
    return endings.write(lesion, by, revision, fields)


@transaction.atomic
def amend_or_propose(
    *, lesion: Lesion, by: Member, revision: int, reason: str = "", **fields: Any
) -> Lesion | Proposal:
    """Amend what this member may change; what ends a duty stands in Decisions until another has confirmed it."""
    try:
        return amend(lesion=lesion, by=by, revision=revision, **fields)
    except OnlyProposed:
        # A proposal made on an old page might propose what has happened already.
        if lesion.revision != revision:
            raise StaleRow(lesion) from None
        return endings.propose(lesion, by, reason, fields)


@transaction.atomic
def note_sign(
    *, lesion: Lesion, by: Member, sign: str, noted_on: date | None = None, words: str = ""
) -> UrgentSign:
    """Note a sign: urgent work from now on, and a waiting review becomes urgent too. A sign counts once a day."""
    noted_on = noted_on or clock.today()
    if sign not in Sign.values:
        raise LesionRefused(_("This is not one of the urgent signs."))
    if noted_on > clock.today() or noted_on < lesion.patient.born:
        raise LesionRefused(_("A sign is noted between the patient's birth and today."))
    lock(lesion.pk)  # a review that opens at this moment must see the sign
    row, new = UrgentSign.objects.get_or_create(
        lesion=lesion,
        sign=sign,
        noted_on=noted_on,
        answered_by=None,
        handed_over=None,
        defaults={"patient_id": lesion.patient_id, "by": by, "words": words},
    )
    if new:
        waiting = Review.objects.filter(lesion=lesion, state="waiting", urgent=False)
        # An urgent lesion is never left among the unflagged ones.
        waiting.update(urgent=True, flagged=True, revision=F("revision") + 1, changed_at=clock.now())
        details = {"sign": sign, "on": str(noted_on), "words": words}
        audit.record("lesion.sign", by=by, subject=lesion, patient=lesion.patient, **details)
        ask_about_ended_record(row, by)
    return row


@transaction.atomic
def examine_in_person(
    *, lesion: Lesion, by: Member, on: date | None = None, outcome: str = ""
) -> Examination:
    """Record an examination in person; the signs that are on record now are linked to it, and answered."""
    require(by, Act.EXAMINE)
    on = on or clock.today()
    if on > clock.today() or on < lesion.patient.born:
        raise LesionRefused(_("An examination lies between the patient's birth and today."))
    lock(lesion.pk)
    row = answer_signs(lesion=lesion, by=by, on=on, outcome=outcome)
    audit.record("lesion.examine", by=by, subject=lesion, patient=lesion.patient, on=str(on))
    return row


def answer_signs(
    *,
    lesion: Lesion,
    by: Member,
    on: date,
    outcome: str = "",
    visit: Visit | None = None,
    signoff: SignOff | None = None,
) -> Examination:
    """Record an examination and link the signs that it answers; in the caller's transaction, with the lesion locked."""
    now = clock.now()
    row = Examination.objects.create(
        patient_id=lesion.patient_id,
        lesion=lesion,
        visit=visit,
        signoff=signoff,
        examined_on=on,
        recorded_at=now,
        by=by,
        outcome=outcome,
    )
    # Signs noted after the examination stay open: nobody has looked at them yet.
    open_signs(lesion).filter(noted_on__lte=on).update(answered_by=row)
    # An examination entered late must not set the last one back.
    later = Q(examined_in_person_on__isnull=True) | Q(examined_in_person_on__lt=on)
    found = Lesion.objects.filter(later, pk=lesion.pk)
    found.update(examined_in_person_on=on, revision=F("revision") + 1, changed_at=now)
    lesion.refresh_from_db(fields=["examined_in_person_on", "revision", "changed_at"])
    _lower(lesion)
    return row


def ask_about_ended_record(sign: UrgentSign, by: Member) -> None:
    """Ask a dermatologist at once where the record has ended, because nothing is planned for it."""
    patient = sign.patient
    if patient.status != PatientStatus.ACTIVE:
        ledger.open_duty(
            "decide_what_follows",
            patient=patient,
            opened_from=sign,
            by=by,
            subject=f"lesion:{sign.lesion_id}" if sign.lesion_id else "patient",
            urgent=True,
            note=sign.words,
        )


def answer_concerns(*, visit: Visit) -> Examination:
    """Answer concerns: the skin was examined that a caller was worried about, where no lesion of it is on record."""
    row = Examination.objects.create(
        patient=visit.patient,
        visit=visit,
        examined_on=visit.attended_on,
        recorded_at=clock.now(),
        by=visit.by,
        outcome=visit.note,
    )
    open_rows = UrgentSign.objects.filter(patient=visit.patient, lesion=None, answered_by=None)
    open_rows.filter(noted_on__lte=visit.attended_on).update(answered_by=row)
    return row


def lock(lesion_id: int) -> Lesion:
    """Lock a lesion until the transaction ends. Whoever also changes its reviews or patient locks it first."""
    return Lesion.objects.select_for_update(of=("self",)).select_related("patient").get(pk=lesion_id)


def open_signs(lesion: Lesion) -> QuerySet[UrgentSign]:
    """Find the signs that no examination in person has answered."""
    return examinations_wanted().filter(lesion=lesion)


def still_open(rows: Iterable[UrgentSign]) -> list[UrgentSign]:
    """Find the same among rows that were fetched with the lesion."""
    return [sign for sign in rows if (sign.answered_by_id, sign.handed_over_id) == (None, None)]


def examinations_wanted() -> QuerySet[UrgentSign]:
    """Find every sign and concern that waits for an examination in person, whatever became of the record."""
    rows = UrgentSign.objects.filter(answered_by__isnull=True, handed_over__isnull=True)
    return rows.select_related("patient", "lesion__patient", "by").order_by("noted_on", "pk")


def without_picture() -> QuerySet[UrgentSign]:
    """Find those signs and concerns that no review of a picture shows in Decisions."""
    seen = Review.objects.filter(state="waiting", lesion=OuterRef("lesion"))
    return examinations_wanted().filter(~Exists(seen))


def watched(patient: Patient) -> QuerySet[Lesion]:
    return patient.lesions.exclude(state__in=_ENDED)


def place_words(lesion: Lesion) -> str:
    """Write the site with its side in capitals, as it must be read aloud: LEFT upper arm; abdomen, midline."""
    return wording.place(lesion.site, lesion.side)


def _lower(lesion: Lesion) -> None:
    if not open_signs(lesion).exists():
        waiting = Review.objects.filter(lesion=lesion, state="waiting", urgent=True)
        waiting.update(urgent=False, revision=F("revision") + 1, changed_at=clock.now())


def _checked_monitoring(monitoring: str | None) -> str | None:
    if monitoring not in (None, "", *Monitoring.values):
        raise LesionRefused(_("Monitoring is short, long or none."))
    return monitoring or None


def _check_place(site: str, side: str, view: str, x: float, y: float) -> None:
    """Check that words and chart agree on the side: a swapped side is the commonest wrong-site error."""
    if view not in View.values or side not in Side.values or site not in bodymap.CODES:
        raise LesionRefused(_("Say which site and which side, and mark the lesion on the chart."))
    try:
        bodymap.check_place(site, bodymap.as_side(side), bodymap.as_view(view), x, y)
    except bodymap.WrongSide as error:
        raise LesionRefused(error.in_words(SPOKEN)) from error

"""End one or several series of checks, by a dermatologist who says which; the others go on."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db import transaction

from clinic import clock
from clinic.access import Act, require
from clinic.models import Member, Patient
from clinic.trail import audit
from scheduling.models import Recall, SeriesEnd
from scheduling.recalls.closing import RecallRefused

Key = tuple[str, str]


@dataclass(frozen=True)
class Series:
    """One series of checks that a recall stands for, as its reason says it."""

    rule: str
    of: str
    words: str

    @property
    def key(self) -> str:
        return f"{self.rule}|{self.of}"


def series_of(recall: Recall) -> list[Series]:
    """Find every series that asks for this recall, the governing one first."""
    found = [Series(reason["rule"], reason["of"], reason["text"]) for reason in recall.reasons]
    return list({one.key: one for one in found}.values())


@transaction.atomic
def end_series(
    *, patient: Patient, by: Member, purpose: str, subject: str, series: Iterable[Key], note: str
) -> list[SeriesEnd]:
    """End each series for good; the plan then asks for what the others want. Raises RecallRefused without a ground."""
    require(by, Act.CLOSE_RECALLS)
    chosen = list(dict.fromkeys(series))
    if not chosen:
        raise RecallRefused("Say which checks this discharge ends.")
    if not note.strip():
        raise RecallRefused("Say in words why these checks end.")
    return [_end(patient, by, purpose, subject, key, note.strip()) for key in chosen]


def _end(patient: Patient, by: Member, purpose: str, subject: str, key: Key, note: str) -> SeriesEnd:
    rule, of = key
    row = SeriesEnd.objects.create(
        patient=patient,
        purpose=purpose,
        subject=subject,
        rule=rule,
        of=of,
        ended_on=clock.today(),
        ground_note=note,
        by=by,
        recorded_at=clock.now(),
    )
    audit.record("series.discharge", by=by, subject=row, patient=patient, rule=rule, of=of, note=note)
    return row

"""Keep published checklists that a dermatologist fills in, of a picture or in a visit; the program fills in nothing."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, require
from clinic.models import Member, Patient, Visit
from clinic.trail import audit
from lesions.measuring import figures
from lesions.models import Assessment, Image, ImageKind, Lesion
from scheduling.checklists.definitions import SHEETS, BadEntry, Sheet
from scheduling.models import Checklist

OF_THIS_VISIT = timedelta(days=7)
VISITS_OFFERED = 8


class ChecklistRefused(ValueError):
    """Raised where a checklist cannot be kept; the text is the sentence for the page."""


@dataclass(frozen=True)
class Suggestion:
    """What the program measured, shown beside an item and never filled in."""

    figure: figures.Figure
    assessment: Assessment

    @property
    def in_doubt(self) -> bool:
        return bool((self.assessment.result or {}).get("doubt"))


@transaction.atomic
def fill(
    *,
    lesion: Lesion,
    by: Member,
    kind: str,
    entries: dict[str, Any],
    visit: Visit | None = None,
    image: Image | None = None,
) -> Checklist:
    """Keep a checklist; `entries`: item of the sheet → a choice, a list of choices, or millimetres as text.

    `image`: the picture that was in sight; `visit`: where the lesion was seen. One of the two at least.
    """
    require(by, Act.FILL_CHECKLIST)
    sheet = SHEETS.get(kind)
    if sheet is None:
        raise ChecklistRefused(_("There is no such checklist."))
    if visit is None and image is None:
        raise ChecklistRefused(_("A checklist is of a picture or a visit: say which."))
    if visit is not None and visit.patient_id != lesion.patient_id:
        raise ChecklistRefused(_("That visit belongs to another patient."))
    if image is not None and not pictures_of(lesion).filter(pk=image.pk).exists():
        raise ChecklistRefused(_("That picture is of another lesion, or was set aside."))
    # Only what the sheet asks: anything else in the request is dropped.
    kept = {item.name: entries.get(item.name) for item in sheet.items}
    try:
        score = sheet.judge(kept)
    except BadEntry as error:
        raise ChecklistRefused(str(error)) from error
    row = Checklist.objects.create(
        lesion=lesion,
        visit=visit,
        image=image,
        kind=kind,
        entries=kept,
        score=score.value,
        threshold_met=score.threshold_met,
        reading=score.reading,
        by=by,
        filled_on=clock.today(),
        filled_at=clock.now(),
    )
    said = {"kind": kind, "score": str(score.value), "visit": row.visit_id, "picture": row.image_id}
    audit.record("checklist.fill", by=by, subject=row, patient=lesion.patient, **said)
    return row


def pictures_of(lesion: Lesion) -> QuerySet[Image]:
    """Find the pictures on which a checklist can be filled in, the newest first."""
    return lesion.images.exclude(kind=ImageKind.OVERVIEW).filter(set_aside=False).order_by("-taken_on", "-pk")


def visits_of(patient: Patient) -> list[Visit]:
    """List the patient's last visits, the newest first."""
    return list(patient.visits.all()[:VISITS_OFFERED])


def likely_visit(visits: list[Visit]) -> Visit | None:
    """Suggest the newest visit, if it is of the last week: what is filled in now was most likely seen then."""
    recent = [visit for visit in visits if clock.today() - visit.attended_on <= OF_THIS_VISIT]
    return recent[0] if recent else None


def suggestions(picture: Image | None, sheet: Sheet) -> dict[str, Suggestion]:
    """Find for each item what was measured on the picture in sight, by the outline that counts."""
    wanted = {item.name: item.measure for item in sheet.items if item.measure}
    if picture is None or not wanted:
        return {}
    last = figures.shown(picture.assessments.select_related("image", "drawn_by"))
    if last is None or not last.result:
        return {}
    found = {name: figures.figure(last.result, measure) for name, measure in wanted.items()}
    return {name: Suggestion(each, last) for name, each in found.items() if each and each.value is not None}


def filled(lesion: Lesion) -> QuerySet[Checklist]:
    return lesion.checklists.select_related("by", "visit", "image")

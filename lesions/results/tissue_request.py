"""Say which biopsy or excision of a lesion is asked for: the decision in force, and whether it was done already."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from django.db.models import QuerySet

from clinic.models import Member
from lesions.models import Decision, Lesion, LesionState, Procedure, ProcedureKind, SignOff
from lesions.review import owed, reviews

# Which procedures do what was decided: a lesion that was cut out whole needs no biopsy any more.
FULFILS: Final[Mapping[str, tuple[str, ...]]] = {
    Decision.BIOPSY: (ProcedureKind.BIOPSY, ProcedureKind.EXCISION),
    Decision.EXCISE: (ProcedureKind.EXCISION,),
}


@dataclass(frozen=True)
class Asked:
    """`signed` asks for tissue and stands; without it, `gone` is the last that did, and `instead` what stands now.

    `done`: the procedure that did it. `unseen`: whoever reads a second time is not shown the first decision.
    """

    signed: SignOff | None = None
    done: Procedure | None = None
    gone: SignOff | None = None
    instead: SignOff | None = None
    unseen: bool = False


def asked_of(lesion: Lesion, reader: Member) -> Asked:
    """Find what is asked for, as this reader may see it; a lesion entered in error asks for nothing."""
    rows = list(_about_the_lesion(lesion))
    stands = next((row for row in rows if not hasattr(row, "revoked")), None)
    gone = next((row for row in rows if row.decision in FULFILS and row != stands), None)
    waits = lesion.reviews.filter(state="waiting").select_related("assessment").first()
    seen = set(reviews.decisions_before(waits, reader).filter(lesion=lesion).values_list("pk", flat=True))
    if any(row.pk not in seen for row in (stands, gone) if row):
        return Asked(unseen=True)
    if stands is None or stands.decision not in FULFILS or lesion.state == LesionState.ERROR:
        return Asked(gone=gone, instead=stands)
    return Asked(signed=stands, done=_done(stands))


def _about_the_lesion(lesion: Lesion) -> QuerySet[SignOff]:
    rows = SignOff.objects.filter(lesion=lesion).exclude(decision__in=owed.OF_THE_PICTURE).order_by("-pk")
    near = ("by", "revoked", "review__assessment__image")
    return rows.select_related(*near).prefetch_related("addenda__by")


def _done(signed: SignOff) -> Procedure | None:
    cut = Procedure.objects.filter(lesion=signed.lesion_id, kind__in=FULFILS[signed.decision])
    return cut.filter(on__gte=signed.signed_on).select_related("by").order_by("on", "pk").first()


def asks(lesion: Lesion) -> bool:
    """Say whether the decision in force asks for tissue, done or not."""
    return stands_among(list(_about_the_lesion(lesion)))


def stands_among(decisions: list[SignOff]) -> bool:
    """Say whether the newest of these decisions that stands asks for tissue; for a page that has read them already."""
    standing = (
        row for row in decisions if not hasattr(row, "revoked") and row.decision not in owed.OF_THE_PICTURE
    )
    newest = max(standing, key=lambda row: row.pk, default=None)
    return newest is not None and newest.decision in FULFILS

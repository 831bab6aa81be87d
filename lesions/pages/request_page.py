"""Gather what the sheet that asks for a biopsy or an excision says; what nobody recorded stays None and is said so."""

from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Case, QuerySet, When

from lesions.measuring import figures
from lesions.measuring.figures import Figure
from lesions.models import Assessment, Comparison, Diagnosis, Image, ImageKind, Lesion, SignOff
from lesions.register import register
from lesions.review import owed, wording

# Asymmetry, border and colour in one figure each; the diameter has a line of its own: one sheet holds no more.
_SEEN: Final = ("asymmetry_axes", "border_abrupt", "colours")
# Of one person on one sheet; the rest is counted and stands in the record (clinic setting, no source).
MOST_REPORTS: Final = 4
MOST_SIGNS: Final = 4
# Up to how many characters of a line, and with how many lines, words stand in the usual type; up to how many
# characters in each smaller one (measured: tests/browser/test_tissue_request.py). Room for who added them, and when.
_ROOMY: Final = (7, 80)
_SMALLER: Final = (("long", 1400), ("longer", 2400), ("longest", None))
_HEAD_OF_ADDED: Final = 60


@dataclass(frozen=True)
class Seen:
    """What was measured on the picture that was decided on; `size` has a value only where the scale is known."""

    image: Image
    doubts: list[str]
    size: Figure | None
    figures: list[Figure]
    change: str


def sheet(lesion: Lesion, signed: SignOff) -> dict[str, Any]:
    """Give what the sheet shows beside the head that every page of a lesion has."""
    image = _decided_on(lesion, signed)
    reports = list(_reports(lesion)[: MOST_REPORTS + 1])
    signs = lesion.urgent_signs.order_by("-noted_on", "-pk")
    return {
        "signed": signed,
        "reference": f"{lesion.patient.number}-{lesion.label}",
        "urgent": _is_urgent(lesion, signed),
        "type": _type([signed.note, *(" " * _HEAD_OF_ADDED + more.text for more in signed.addenda.all())]),
        "seen": _seen(image) if image else None,
        "overview": _usable(lesion).filter(kind=ImageKind.OVERVIEW).last(),
        "signs": list(signs[:MOST_SIGNS]),
        "reports": reports[:MOST_REPORTS],
        "more_reports": len(reports) > MOST_REPORTS,
        "marks": [{"view": lesion.view, "x": lesion.x, "y": lesion.y, "number": lesion.label}],
    }


def _type(texts: list[str]) -> str:
    """Name the type in which these words leave the rest of the sheet its room; empty: the usual one."""
    most, wide = _ROOMY
    lines = [line for text in texts for line in text.splitlines()]
    if sum(1 + len(line) // wide for line in lines) <= most:
        return ""
    length = sum(map(len, texts))
    return next(name for name, holds in _SMALLER if holds is None or length <= holds)


def _usable(lesion: Lesion) -> QuerySet[Image]:
    return lesion.images.exclude(pk__in=owed.unusable_pictures().values("pk"))


def _decided_on(lesion: Lesion, signed: SignOff) -> Image | None:
    """Find the picture that the signer decided on, or the newest by that day; one moved away since is not shown."""
    near = _usable(lesion).exclude(kind=ImageKind.OVERVIEW)
    if signed.review:
        return near.filter(pk=signed.review.assessment.image_id).first()
    return near.filter(taken_on__lte=signed.signed_on).last()


def _seen(image: Image) -> Seen:
    last = figures.shown(Assessment.objects.filter(image=image))
    result = last.result if last else None
    size = figures.figure(result, "feret")
    found = (figures.figure(result, name) for name in _SEEN)
    return Seen(
        image,
        wording.doubts_of(result),
        size if size and size.value is not None else None,
        [row for row in found if row and row.value is not None],
        figures.change_words(_compared(last)) if last and last.result else "",
    )


def _compared(last: Assessment) -> Comparison | None:
    """Find the comparison with the picture before, as the list of the patient's lesions shows it."""
    pairs = Comparison.objects.filter(later=last, earlier__image__lesion=last.image.lesion_id)
    pairs = pairs.filter(earlier__image__set_aside=False)
    return pairs.order_by("earlier__image__taken_on", "earlier__image", "earlier").last()


def _reports(lesion: Lesion) -> QuerySet[Diagnosis]:
    """List what laboratories reported of this person, of this lesion first."""
    rows = Diagnosis.objects.filter(patient=lesion.patient_id).select_related("lesion")
    other = Case(When(lesion=lesion.pk, then=0), default=1)
    return rows.order_by(other, "-reported_on", "-pk")


def _is_urgent(lesion: Lesion, signed: SignOff) -> bool:
    """Say whether a sign led to the signature or is open now; the plan counts by the same."""
    led = lesion.urgent_signs.filter(answered_by__signoff=signed)
    urgent = bool(signed.review and signed.review.urgent)
    return urgent or led.exists() or register.open_signs(lesion).exists()

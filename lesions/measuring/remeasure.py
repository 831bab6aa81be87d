"""Measure every picture anew by the present version, lesion by lesion; what was broken off goes on where it stopped."""

from collections.abc import Iterator
from dataclasses import dataclass
from statistics import median

from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet

from clinic.trail import audit
from lesions.analysis.version import VERSION
from lesions.measuring import measure
from lesions.models import UNFINISHED, Assessment, Image, ImageKind, JobState, LesionState
from lesions.pictures import outlines


@dataclass(frozen=True)
class Moved:
    """What became of one measure between the version before and this one; changes are relative to the old value."""

    name: str
    pictures: int
    median: float | None
    largest: float | None
    lost: int
    gained: int


def left() -> QuerySet[Image]:
    """Find pictures without finished figures at this version, in the order in which they are compared."""
    rows = Assessment.objects.filter(image=OuterRef("pk"))
    settled = rows.filter(version=VERSION).exclude(state__in=UNFINISHED)
    by_hand = rows.filter(drawn_by__isnull=False, state=JobState.DONE)
    no_automatic = ~Exists(settled.filter(drawn_by__isnull=True))
    no_drawn = Exists(by_hand) & ~Exists(settled.filter(drawn_by__isnull=False))
    pictures = Image.objects.exclude(kind=ImageKind.OVERVIEW).exclude(lesion__state=LesionState.ERROR)
    return pictures.filter(no_automatic | no_drawn).order_by("lesion", "taken_on", "pk")


def remeasure_all(image_id: int) -> list[Assessment]:
    """Queue what this picture lacks and measure it here and now; what a worker has taken is left to it."""
    rows = _queued(Image.objects.select_related("lesion__patient").get(pk=image_id))
    for row in rows:
        measure.measure_picture(row.pk)
        row.refresh_from_db()
    return rows


@transaction.atomic
def _queued(image: Image) -> list[Assessment]:
    """Queue what a picture lacks: the automatic outline found anew, a person's last one kept point for point."""
    known = list(image.assessments.select_related("drawn_by").order_by("pk"))
    now = [row for row in known if row.version == VERSION]
    rows = [row for row in now if row.state in UNFINISHED]
    # Also beside a person's outline: the automatic one is what versions are compared by.
    if all(row.drawn_by_id for row in now):
        rows.append(outlines.ask(image=image, ring=None, ringing=False))
    drawn = outlines.in_use(row for row in known if row.drawn_by_id)
    # A person's outline is no measure of the old version: it was seen, so it is kept point for point.
    if drawn and drawn.outline and not any(row.drawn_by_id for row in now):
        ring = [(x, y) for x, y in drawn.outline["points"]]
        rows.append(outlines.ask(image=image, ring=ring, drawn_by=drawn.drawn_by, ringing=False))
    for row in rows:
        if row not in now:
            details = {"version": VERSION, "why": "rescore"}
            audit.record("assessment.queue", by=None, subject=row, patient=image.lesion.patient, **details)
    return rows


def moved() -> list[Moved]:
    """Compare every measure that a version before and this one both tried, on the same picture and outline."""
    found: dict[str, list[tuple[float | None, float | None]]] = {}
    for before, after in _pairs():
        for name in before.keys() & after.keys():
            found.setdefault(name, []).append((before[name], after[name]))
    return [_summed(name, found[name]) for name in sorted(found)]


def _pairs() -> Iterator[tuple[dict[str, float | None], dict[str, float | None]]]:
    """Find of each picture and outline the last figures of another version, and the last of this one."""
    now = Assessment.objects.filter(image=OuterRef("image"), version=VERSION, state=JobState.DONE)
    rows = Assessment.objects.filter(Q(state=JobState.DONE) & Exists(now)).order_by("image", "pk")
    fields = rows.values_list("image", "drawn_by", "version", "result__measures")
    last: dict[tuple[int | None, bool], dict[str, float | None]] = {}
    image = None
    # In order and in portions: all figures of all pictures of ten years do not fit into memory.
    for picture, drawn_by, version, measures in fields.iterator(chunk_size=500):
        if picture != image:
            yield from _both(last)
            last, image = {}, picture
        last[drawn_by, version == VERSION] = {row["name"]: row["value"] for row in measures}
    yield from _both(last)


def _both(
    last: dict[tuple[int | None, bool], dict[str, float | None]],
) -> Iterator[tuple[dict[str, float | None], dict[str, float | None]]]:
    drawers = {drawer for drawer, _ in last}
    yield from (
        (last[drawer, False], last[drawer, True])
        for drawer in drawers
        if (drawer, False) in last and (drawer, True) in last
    )


def _summed(name: str, pairs: list[tuple[float | None, float | None]]) -> Moved:
    known = [(old, new) for old, new in pairs if old is not None and new is not None]
    changes = [(new - old) / abs(old) for old, new in known if old]
    return Moved(
        name=name,
        pictures=len(known),
        median=median(changes) if changes else None,
        largest=max(changes, key=abs) if changes else None,
        lost=sum(old is not None and new is None for old, new in pairs),
        gained=sum(old is None and new is not None for old, new in pairs),
    )

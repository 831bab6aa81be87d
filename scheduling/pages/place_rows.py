"""Say of each person whom the count has in a place why they stand there, since when, and whose it is."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils import timezone
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from clinic import clock
from clinic.duties import ledger
from clinic.duties.kinds import KINDS, OwningList
from clinic.models import Patient
from clinic.pages import duty_rows
from clinic.wording import write_day
from lesions.models import Assessment, JobState, Review, ReviewState
from lesions.register import subjects
from scheduling.models import Appointment, AppointmentState, Claim, PlanProblem, Recall, RecallState
from scheduling.planning.wording import problem_words
from scheduling.recalls import missed, missed_reasons, wording

Keys = list[int]


@dataclass(frozen=True)
class Why:
    """The first thing by which somebody stands in a place; `owner`: a list or a role, or a member's name."""

    words: str
    since: date | None
    owner: str = ""
    is_member: bool = False


@dataclass(frozen=True)
class PlaceRow:
    patient: Patient
    why: Why


def place_rows(name: str, patients: Iterable[Patient]) -> list[PlaceRow]:
    """Give the rows of one page; few questions for however many."""
    shown = list(patients)
    keys = [one.pk for one in shown]
    found = _ended(shown) if name == "ended" else _FOUND[name](keys) if name in _FOUND else {}
    nothing = Why("", None)
    return [PlaceRow(one, found.get(one.pk, nothing)) for one in shown]


def _first(rows: Iterable[tuple[int, Why]]) -> dict[int, Why]:
    """Keep the first of each patient."""
    found: dict[int, Why] = {}
    for key, why in rows:
        found.setdefault(key, why)
    return found


def _ended(patients: Iterable[Patient]) -> dict[int, Why]:
    said = _("%(status)s: %(ground)s")
    return {
        one.pk: Why(said % {"status": one.get_status_display(), "ground": one.status_ground}, one.status_on)
        for one in patients
    }


def _problems(keys: Keys) -> dict[int, Why]:
    rows = PlanProblem.objects.filter(patient__in=keys, gone_on=None).order_by("since", "pk")
    found = _first(
        (row.patient_id, Why(problem_words(row), row.since, _list(OwningList.PROBLEMS))) for row in rows
    )
    following = Why(_("Facts are newer than the plan, which follows."), None, _("the program"))
    return dict.fromkeys(keys, following) | found


def _overdue(keys: Keys) -> dict[int, Why]:
    today = clock.today()
    late = missed_reasons.late(today).filter(patient__in=keys)
    rows = missed.rows_of(today, dict(missed_reasons.in_order(today, late)))
    places, said = wording.subjects([row.recall for row in rows]), _("%(what)s: %(why)s")
    return _first(
        (
            row.patient.pk,
            Why(
                said % {"what": wording.what_for(row.recall, places), "why": row.why},
                row.recall.latest,
                row.owner,
                row.is_member,
            ),
        )
        for row in rows
    )


def _without_outcome(keys: Keys) -> dict[int, Why]:
    rows = _booked(keys).filter(starts_at__lt=clock.now()).order_by("starts_at", "pk")
    return _first(
        (row.patient_id, Why(wording.appointment_words(row), timezone.localdate(row.starts_at), _("desk")))
        for row in rows
    )


def _to_come(keys: Keys) -> dict[int, Why]:
    rows = _booked(keys).filter(starts_at__gte=clock.now()).order_by("starts_at", "pk")
    return _first((row.patient_id, Why(wording.appointment_words(row), None, _("desk"))) for row in rows)


def _booked(keys: Keys) -> Any:
    return Appointment.objects.filter(patient__in=keys, state=AppointmentState.BOOKED).select_related(
        "resource", "patient"
    )


def _clinician(keys: Keys) -> dict[int, Why]:
    reviews = Review.objects.filter(lesion__patient__in=keys, state=ReviewState.WAITING)
    queued = Assessment.objects.filter(
        image__lesion__patient__in=keys, state__in=(JobState.QUEUED, JobState.RUNNING)
    )
    proposed = Recall.objects.filter(patient__in=keys).exclude(proposed_ground="")
    return {
        **_first(
            (
                row.image.lesion.patient_id,
                _about(_("to be measured: %(about)s"), row.image.lesion, row.queued_at),
            )
            for row in queued.select_related("image__lesion").order_by("queued_at", "pk")
        ),
        **_first(
            (row.patient_id, Why(_("closing was proposed"), None, _list(OwningList.DECISIONS)))
            for row in proposed.order_by("pk")
        ),
        **_duties(keys, OwningList.RESULTS),
        **_duties(keys, OwningList.DECISIONS),
        **_first(
            (row.lesion.patient_id, _about(_("to be decided: %(about)s"), row.lesion, row.opened_at))
            for row in reviews.select_related("lesion").order_by("opened_at", "pk")
        ),
    }


def _about(said: str, lesion: Any, at: Any) -> Why:
    words = said % {"about": subjects.lesion_words(lesion)}
    return Why(capfirst(words), timezone.localdate(at), _list(OwningList.DECISIONS))


def _duties(keys: Keys, owner: OwningList) -> dict[int, Why]:
    """Give the first duty of a list: urgent first, then by its day."""
    rows = list(ledger.on_list(owner).filter(patient__in=keys))
    about = duty_rows.words_of(row.subject for row in rows)
    said = _("%(kind)s: %(about)s")
    found: list[tuple[int, Why]] = []
    for row in rows:
        kind, words = KINDS[row.kind].words, about.get(row.subject, "")
        text = said % {"kind": kind, "about": words} if words else str(kind)
        since = timezone.localdate(row.opened_at)
        whose = str(row.owner or _list(owner))
        found.append((row.patient_id or 0, Why(capfirst(text), since, whose, row.owner is not None)))
    return _first(found)


def _list(owner: OwningList) -> str:
    return str(OwningList(owner).label)


def _results(keys: Keys) -> dict[int, Why]:
    return _duties(keys, OwningList.RESULTS)


def _recalls(state: str) -> Callable[[Keys], dict[int, Why]]:
    def find(keys: Keys) -> dict[int, Why]:
        rows = list(Recall.objects.filter(patient__in=keys, state=state).order_by("urgency", "latest", "pk"))
        places = wording.subjects(rows)
        claimed = dict(
            Claim.objects.filter(patient__in=keys, by__isnull=False).values_list("patient", "by__name")
        )
        return _first(
            (
                row.patient_id,
                Why(
                    _("%(what)s by %(day)s")
                    % {"what": wording.what_for(row, places), "day": write_day(row.latest)},
                    row.earliest if state == RecallState.DUE else row.opened_on,
                    claimed.get(row.patient_id)
                    or (_("desk") if state == RecallState.DUE else _("the program")),
                    bool(claimed.get(row.patient_id)),
                ),
            )
            for row in rows
        )

    return find


_FOUND: dict[str, Callable[[Keys], dict[int, Why]]] = {
    "problem": _problems,
    "overdue": _overdue,
    "no_outcome": _without_outcome,
    "clinician": _clinician,
    "result": _results,
    "open": _recalls(RecallState.DUE),
    "appointment": _to_come,
    "planned": _recalls(RecallState.PLANNED),
}

"""Add the sections of this app to the patient page, and its places to the masthead."""

from collections.abc import Callable
from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest
from django.urls import reverse
from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext

from clinic.access import Act, may
from clinic.duties.kinds import OwningList
from clinic.models import Duty, Patient
from clinic.pages import duty_list, duty_rows
from clinic.pages.kept_order import order_of
from clinic.pages.masthead import Place, add_notice, add_place
from clinic.pages.patient_page import SUBJECTS, Button, Panel, add_button, add_panel
from clinic.tally import kept_answers, tally_question
from clinic.tally.kept_answers import KeptAnswer
from clinic.wording import Words
from lesions.looking import order, readers
from lesions.measuring import figures, ugly_duckling
from lesions.models import Diagnosis, Image, LesionState, Procedure
from lesions.register import subjects, wording
from lesions.results import tissue_request
from lesions.review import waiting
from lesions.review import wording as review_words

# What is said of a diagnosis or a procedure on the patient page while it is owed.
_STEPS = ("read", "tell", "report")


def lesions(patient: Patient, request: HttpRequest) -> dict[str, Any]:
    """List a patient's lesions with what changed, and mark them on the drawn body."""
    lines = figures.ledger(patient.lesions.exclude(state=LesionState.ERROR).order_by("label"))
    duty_rows.know(patient, {f"lesion:{line.lesion.pk}": _at(line) for line in lines})
    # What is gone from the skin would be looked for on it; the list below still names it.
    on_chart = [line for line in lines if line.lesion.state not in (LesionState.REMOVED, LesionState.GONE)]
    return {
        "patient": patient,
        "lines": lines,
        "watched": len(on_chart),
        "marks": [_mark(line) for line in on_chart],
        "apart": ugly_duckling.note([line.apart for line in lines if line.apart is not None]),
    }


def _at(line: figures.LesionLine) -> str:
    return wording.lesion_at(line.lesion.label, line.place)


def _mark(line: figures.LesionLine) -> dict[str, Any]:
    row = line.lesion
    return {
        "view": row.view,
        "x": row.x,
        "y": row.y,
        "number": row.label,
        "label": _at(line),
        "url": reverse("lesions:lesion", args=[row.pk]),
    }


def results(patient: Patient, request: HttpRequest) -> dict[str, Any]:
    """List procedures and results with what is owed of each, and those recorded in error."""
    open_of = {duty.subject: duty for duty in duty_rows.open_of(patient) if duty.kind in _STEPS}
    found = [
        list(rows.filter(patient=patient).select_related("lesion", "struck_by"))
        for rows in (Diagnosis.everything, Procedure.everything)
    ]
    for rows in found:
        duty_rows.know(patient, {subjects.key_of(row): subjects.words_of(row) for row in rows})
    diagnoses, cut = ([row for row in rows if row.struck_at is None] for rows in found)
    return {
        "patient": patient,
        "diagnoses": [(row, open_of.get(f"diagnosis:{row.pk}")) for row in diagnoses],
        "procedures": [(row, open_of.get(f"procedure:{row.pk}")) for row in cut],
        # Still shown, struck through: what was once on record may have been acted on.
        "struck": [(row, subjects.words_of(row)) for rows in found for row in rows if row.struck_at],
        "may_propose": may(request.user, Act.PROPOSE_ENDING),
        "may_record": may(request.user, Act.RECORD_RESULTS),
        "may_cut": may(request.user, Act.RECORD_PROCEDURES),
    }


def _new_report(duty: Duty) -> str:
    """Give the address of the form for a report, with the tissue or the lesion that it is about filled in."""
    kind, _sep, key = duty.subject.partition(":")
    about = f"?{kind}={key}" if kind in ("procedure", "lesion") else ""
    return reverse("lesions:new_diagnosis", args=[duty.patient_id]) + about


def _amend(duty: Duty) -> str:
    return reverse("lesions:amend_diagnosis", args=[int(duty.subject.partition(":")[2])])


def _put_right(duty: Duty) -> str:
    """Give the address where a wrong picture is put right, by the signature that called it wrong."""
    return reverse("lesions:put_right", args=[duty.opened_from.partition(":")[2]])


def _outside_answer(duty: Duty) -> str:
    return reverse("lesions:answer_outside", args=[duty.opened_from.partition(":")[2]])


def _pictures_of_the_lesion(duty: Duty) -> str:
    return reverse("lesions:lesion", args=[duty.subject.partition(":")[2]]) + "#pictures"


SUBJECTS.append(subjects.of_patient)


def _request_on_paper(duty: Duty, request: HttpRequest) -> tuple[Words, str] | None:
    """Give the sheet that goes with a specimen, for who may see it; tissue that nobody asked for has none."""
    kind, _sep, key = duty.subject.partition(":")
    if kind != "procedure" or not may(request.user, Act.SEE_PICTURES):
        return None
    cut = Procedure.objects.select_related("lesion").filter(pk=key).first()
    if cut is None or cut.lesion is None or not tissue_request.asks(cut.lesion):
        return None
    return _("Request on paper"), reverse("lesions:tissue_request", args=[cut.lesion_id])


def _count(owner: OwningList) -> Callable[[HttpRequest], int]:
    return lambda request: duty_rows.left_on(owner, request)


def nobody_reads(request: HttpRequest) -> list[str]:
    """Say on every page that decisions wait and nobody who signs them is here; the count is the masthead's own."""
    if duty_rows.count_of("readers", request):
        return []
    left = duty_rows.count_of("flagged", request)
    words = ngettext(
        "Nobody is here today who signs decisions; one lesion waits.",
        "Nobody is here today who signs decisions; %(n)s lesions wait.",
        left,
    )
    return [words % {"n": left}] if left else []


duty_rows.SUBJECT_WORDS.append(subjects.in_words)
tally_question.COUNTED["readers"] = readers.readers
tally_question.COUNTED["unflagged"] = waiting.unflagged
kept_answers.ANSWERS |= (
    order.KEPT
    | duty_list.KEPT
    | {
        "filed": KeptAnswer(Image.objects.all, QuerySet.count),
        "told": KeptAnswer(lambda: Diagnosis.objects.filter(told_on__isnull=False), QuerySet.count),
        **{name: order_of(rows) for name, rows in waiting.HELD[OwningList.PICTURES].items()},
    }
)
duty_rows.BECAUSE["agree"] = review_words.say_because
for owner, rows in waiting.HELD.items():
    tally_question.HELD[owner] |= rows
duty_rows.DONE_AT["report"] = (_("Record result"), _new_report)
duty_rows.DONE_AT["complete"] = (_("Complete"), _amend)
duty_rows.DONE_AT["put_picture_right"] = (_("Put it right"), _put_right)
duty_rows.DONE_AT["hear_outside"] = (_("Enter what they said"), _outside_answer)
duty_rows.DONE_AT["repeat_picture"] = (_("Add the picture"), _pictures_of_the_lesion)
duty_rows.PAPERS["send_specimen"] = _request_on_paper
add_panel(Panel("lesions", "middle", 10, Act.SEE_PICTURES, "lesions/_lesions.html", lesions))
add_panel(Panel("results", "middle", 20, Act.SEE_PICTURES, "lesions/_results.html", results))
add_place(Place(_("Pictures"), "lesions:pictures", 30, Act.SEE_WORKLIST, _count(OwningList.PICTURES)))
add_place(Place(_("Decisions"), "lesions:decisions", 40, Act.SEE_DECISIONS, _count(OwningList.DECISIONS)))
add_place(Place(_("Results"), "lesions:results", 50, Act.SEE_WORKLIST, _count(OwningList.RESULTS)))
add_notice("nobody_reads", nobody_reads)
add_button(Button(_("Add lesion"), "lesions:new_lesion", 40, Act.ADD_PICTURES))
add_button(Button(_("Record procedure"), "lesions:new_procedure", 60, Act.RECORD_PROCEDURES))
add_button(Button(_("Record result"), "lesions:new_diagnosis", 70, Act.RECORD_RESULTS))

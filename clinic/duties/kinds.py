"""The table of duties as data: what opens each, what alone ends it, which act may end it, which list owns it.

Recalls, reviews, signs, appointments and problems of a plan are duties with a table of their own (`kept_in`); every
other duty is a row of `clinic.Duty`. Source: how this clinic works (a clinic setting, no source).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _

from clinic.access import Act
from clinic.wording import Words


class OwningList(TextChoices):
    """The list that owns a duty; another page may show the duty and then names this list."""

    TODAY = "today", _("Today")
    DECISIONS = "decisions", _("Decisions")
    RESULTS = "results", _("Results")
    PICTURES = "pictures", _("Pictures")
    PROBLEMS = "problems", _("Problems")


@dataclass(frozen=True)
class Kind:
    """`may_end` is the act that records the proper end; a ground in its place is a dermatologist's."""

    words: Words
    opened_by: Words
    ended_by: Words
    may_end: Act
    list: OwningList
    kept_in: str = "clinic.duty"


_TODAY, _DECISIONS, _RESULTS = OwningList.TODAY, OwningList.DECISIONS, OwningList.RESULTS
_DUTIES, _SIGN, _RECALL = Act.DO_DUTIES, Act.SIGN_OFF, "scheduling.recall"

KINDS: Final[Mapping[str, Kind]] = {
    "examine": Kind(
        _("examine in person"),
        _("a noted sign, or a caller's concern"),
        _("an examination in person with its outcome, linked to that sign"),
        Act.EXAMINE,
        _DECISIONS,
        "lesions.urgentsign",
    ),
    "decide": Kind(
        _("decide on the pictures"),
        _("a picture that is flagged or could not be judged by its numbers"),
        _("a signature"),
        _SIGN,
        _DECISIONS,
        "lesions.review",
    ),
    "answer": Kind(
        _("confirm or refuse what was proposed"),
        _("a proposal to end something"),
        _("confirmed, or refused with a word"),
        Act.ANSWER_PROPOSALS,
        _DECISIONS,
        "clinic.proposal",
    ),
    "decide_what_follows": Kind(
        _("decide what follows"),
        _(
            "attempts used up, a second missed visit, not brought, “declined”, a sign on an ended record, "
            "a refused referral"
        ),
        _("a dermatologist's word on what follows"),
        _SIGN,
        _DECISIONS,
    ),
    "try_on": Kind(
        _("go on trying to reach the patient"),
        _("a dermatologist's word that the desk goes on trying until a day"),
        _("booked, reached, or not reached until then"),
        Act.CONTACT,
        _TODAY,
    ),
    "write_letter": Kind(
        _("write the letter"),
        _("a dermatologist's word that a letter goes out"),
        _("sent, and to whom"),
        _DUTIES,
        _TODAY,
    ),
    "ask_referrer": Kind(
        _("ask who referred the patient"),
        _("a dermatologist's word that the referrer is asked"),
        _("the answer, or that none can be had"),
        _DUTIES,
        _TODAY,
    ),
    "agree": Kind(
        _("picture and report: do they agree?"),
        _("a benign report of a lesion that was flagged for change or limits, or had an urgent sign"),
        _("a dermatologist's answer, or a signature on that lesion"),
        _SIGN,
        _DECISIONS,
    ),
    "hear_outside": Kind(
        _("hear from the reader outside"),
        _("a reader outside the clinic who was asked"),
        _("their answer, or that none will come, or a decision on that lesion"),
        _SIGN,
        _DECISIONS,
    ),
    "do_as_decided": Kind(
        _("do as decided"),
        _("a signed biopsy or excision"),
        _("a procedure of that lesion, or a later decision"),
        Act.RECORD_PROCEDURES,
        _RESULTS,
        _RECALL,
    ),
    "send_referral": Kind(
        _("send the referral"), _("the decision “refer”"), _("sent, and to whom"), _DUTIES, _RESULTS
    ),
    "accept_referral": Kind(
        _("accepted or refused elsewhere"),
        _("a referral that was sent"),
        _("their answer"),
        _DUTIES,
        _RESULTS,
    ),
    "answer_referral": Kind(
        _("letter from the referral"), _("a referral that was accepted"), _("their letter"), _DUTIES, _RESULTS
    ),
    "read_letter": Kind(
        _("read the letter"),
        _("a letter from elsewhere"),
        _("read by a dermatologist"),
        Act.READ_RESULTS,
        _RESULTS,
    ),
    "repeat_picture": Kind(
        _("repeat the picture"),
        _("a picture that nobody could judge, or one of another lesion"),
        _("a usable picture of that lesion, or a later decision"),
        Act.ADD_PICTURES,
        _TODAY,
    ),
    "put_picture_right": Kind(
        _("put the picture right"),
        _("the decision “wrong lesion or patient”"),
        _("moved to its lesion, or set aside by a dermatologist with a reason"),
        Act.ADD_PICTURES,
        OwningList.PICTURES,
    ),
    "file_upload": Kind(
        _("deal with the refused file"),
        _("a file that could not be taken"),
        _("settled"),
        Act.ADD_PICTURES,
        OwningList.PICTURES,
        "lesions.refusedupload",
    ),
    "recall": Kind(
        _("what the plan asks for: checks, pictures, assessments, visits"),
        _("the plan"),
        _("done, with by whom"),
        Act.RECORD_VISIT,
        _TODAY,
        _RECALL,
    ),
    "send_specimen": Kind(_("send the specimen"), _("tissue was taken"), _("sent"), _DUTIES, _RESULTS),
    "confirm_specimen": Kind(
        _("confirm that the specimen arrived"),
        _("a specimen that was sent"),
        _("received by the laboratory"),
        _DUTIES,
        _RESULTS,
    ),
    "report": Kind(
        _("obtain the report"),
        _("tissue taken here, or “already removed” elsewhere"),
        _("a report that matches patient, site and specimen"),
        Act.RECORD_RESULTS,
        _RESULTS,
    ),
    "match_report": Kind(
        _("match the report"),
        _("a report that fits no patient, site or specimen"),
        _("filed to its specimen, or returned to the laboratory"),
        _DUTIES,
        _RESULTS,
    ),
    "read": Kind(
        _("read the report"), _("a report, or an amended one"), _("read"), Act.READ_RESULTS, _RESULTS
    ),
    "margins": Kind(
        _("margins: your decision"),
        _("an invasive melanoma that was read"),
        _("done elsewhere, planned, or not wanted, with a word"),
        _SIGN,
        _DECISIONS,
    ),
    "node": Kind(
        _("sentinel lymph node: your decision"),
        _("an invasive melanoma that was read"),
        _("done elsewhere, planned, or not wanted, with a word"),
        _SIGN,
        _DECISIONS,
    ),
    "meeting": Kind(
        _("meeting about the patient: your decision"),
        _("an invasive melanoma that was read"),
        _("done elsewhere, planned, or not wanted, with a word"),
        _SIGN,
        _DECISIONS,
    ),
    "tell": Kind(
        _("tell the patient"),
        _("a result that was read"),
        _("told: by whom, to whom, how and what was said; or “cannot be told”, to whom else"),
        Act.TELL_PATIENT,
        _RESULTS,
    ),
    "complete": Kind(
        _("complete the diagnosis"),
        _("lymph nodes, thickness, ulceration or the day of excision wanting"),
        _("an amended diagnosis, or “will not be known”"),
        Act.RECORD_RESULTS,
        _RESULTS,
    ),
    "what_follows": Kind(
        _("a question of the plan"),
        _("a series that ends with a question, an answer no rule has, a contradiction"),
        _("an answer, an own interval or day, a discharge, the fact mended"),
        Act.OVERRIDE,
        OwningList.PROBLEMS,
        "scheduling.planproblem",
    ),
    "same_person": Kind(
        _("perhaps one person"),
        _("two records of the same day of birth and a like name, or of the same telephone"),
        _("“two people”, or merged: proposed by one member and confirmed by another"),
        Act.SAY_SAME_PERSON,
        OwningList.PROBLEMS,
        "clinic.likelypair",
    ),
    "outcome": Kind(
        _("say how the appointment ended"),
        _("an appointment in the past"),
        _("came, with what was done, or missed"),
        Act.BOOK,
        _TODAY,
        "scheduling.appointment",
    ),
    "rebook": Kind(
        _("rebook"),
        _(
            "an appointment late for its duty, after it, on a closed day, without its session or its clinician"
        ),
        _("moved, cancelled with by whom, or confirmed by a dermatologist"),
        Act.BOOK,
        _TODAY,
    ),
    "find_a_way": Kind(
        _("find a way to reach the patient"),
        _("no route that works, or a returned letter"),
        _("a route that works"),
        Act.REGISTER_PATIENTS,
        _TODAY,
    ),
    "file_call": Kind(
        _("file the call"),
        _("a caller nobody could find"),
        _("filed under a patient, or “no patient of ours” by a second person"),
        Act.NOTE_SIGNS,
        _TODAY,
    ),
    "hand_over": Kind(
        _("hand over"),
        _("care that is ending while something is open"),
        _("each open duty closed with its ground or accepted elsewhere"),
        Act.END_CARE,
        _DECISIONS,
    ),
}
# Derived and not typed: a duty whose table changes leaves the ledger by the same line that moves it.
LEDGER: Final = tuple(code for code, kind in KINDS.items() if kind.kept_in == "clinic.duty")


def of_list(owner: OwningList) -> list[str]:
    """Give the codes of the duties in the ledger that this list owns."""
    return [code for code in LEDGER if KINDS[code].list is owner]

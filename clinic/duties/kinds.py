"""The table of duties as data: what opens each, what alone ends it, which act may end it, which list owns it.

Recalls, reviews, signs, appointments and problems of a plan are duties with a table of their own (`kept_in`); every
other duty is a row of `clinic.Duty`. Source: how this clinic works (a clinic setting, no source).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Final

from clinic.access import Act


class OwningList(Enum):
    """The list that owns a duty; another page may show the duty and then names this list."""

    TODAY = "Today"
    DECISIONS = "Decisions"
    RESULTS = "Results"
    PICTURES = "Pictures"
    PROBLEMS = "Problems"


@dataclass(frozen=True)
class Kind:
    """`may_end` is the act that records the proper end; a ground in its place is a dermatologist's."""

    words: str
    opened_by: str
    ended_by: str
    may_end: Act
    list: OwningList
    kept_in: str = "clinic.duty"


_TODAY, _DECISIONS, _RESULTS = OwningList.TODAY, OwningList.DECISIONS, OwningList.RESULTS
_DUTIES, _SIGN, _RECALL = Act.DO_DUTIES, Act.SIGN_OFF, "scheduling.recall"

KINDS: Final[Mapping[str, Kind]] = {
    "examine": Kind(
        "examine in person",
        "a noted sign, or a caller's concern",
        "an examination in person with its outcome, linked to that sign",
        Act.EXAMINE,
        _DECISIONS,
        "lesions.urgentsign",
    ),
    "decide": Kind(
        "decide on the pictures",
        "a picture that is flagged or could not be judged by its numbers",
        "a signature",
        _SIGN,
        _DECISIONS,
        "lesions.review",
    ),
    "answer": Kind(
        "confirm or refuse what was proposed",
        "a proposal to end something",
        "confirmed, or refused with a word",
        Act.ANSWER_PROPOSALS,
        _DECISIONS,
        "clinic.proposal",
    ),
    "decide_what_follows": Kind(
        "decide what follows",
        "attempts used up, a second missed visit, “declined”, a sign on an ended record, a refused referral",
        "a dermatologist's word on what follows",
        _SIGN,
        _DECISIONS,
    ),
    "try_on": Kind(
        "go on trying to reach the patient",
        "a dermatologist's word that the desk goes on trying until a day",
        "booked, reached, or not reached until then",
        Act.CONTACT,
        _TODAY,
    ),
    "write_letter": Kind(
        "write the letter",
        "a dermatologist's word that a letter goes out",
        "sent, and to whom",
        _DUTIES,
        _TODAY,
    ),
    "ask_referrer": Kind(
        "ask who referred the patient",
        "a dermatologist's word that the referrer is asked",
        "the answer, or that none can be had",
        _DUTIES,
        _TODAY,
    ),
    "agree": Kind(
        "picture and report: do they agree?",
        "a benign report of a lesion that was flagged for change or limits, or had an urgent sign",
        "a dermatologist's answer, or a signature on that lesion",
        _SIGN,
        _DECISIONS,
    ),
    "do_as_decided": Kind(
        "do as decided",
        "a signed biopsy or excision",
        "a procedure of that lesion, or a later decision",
        Act.RECORD_PROCEDURES,
        _RESULTS,
        _RECALL,
    ),
    "send_referral": Kind(
        "send the referral", "the decision “refer”", "sent, and to whom", _DUTIES, _RESULTS
    ),
    "accept_referral": Kind(
        "accepted or refused elsewhere", "a referral that was sent", "their answer", _DUTIES, _RESULTS
    ),
    "answer_referral": Kind(
        "letter from the referral", "a referral that was accepted", "their letter", _DUTIES, _RESULTS
    ),
    "read_letter": Kind(
        "read the letter", "a letter from elsewhere", "read by a dermatologist", Act.READ_RESULTS, _RESULTS
    ),
    "repeat_picture": Kind(
        "repeat the picture",
        "a picture that nobody could judge, or one of another lesion",
        "a usable picture of that lesion, or a later decision",
        Act.ADD_PICTURES,
        _TODAY,
    ),
    "put_picture_right": Kind(
        "put the picture right",
        "the decision “wrong lesion or patient”",
        "moved to its lesion, or set aside by a dermatologist with a reason",
        Act.ADD_PICTURES,
        OwningList.PICTURES,
    ),
    "file_upload": Kind(
        "deal with the refused file",
        "a file that could not be taken",
        "settled",
        Act.ADD_PICTURES,
        OwningList.PICTURES,
        "lesions.refusedupload",
    ),
    "recall": Kind(
        "what the plan asks for: checks, pictures, assessments, visits",
        "the plan",
        "done, with by whom",
        Act.RECORD_VISIT,
        _TODAY,
        _RECALL,
    ),
    "send_specimen": Kind("send the specimen", "tissue was taken", "sent", _DUTIES, _RESULTS),
    "confirm_specimen": Kind(
        "confirm that the specimen arrived",
        "a specimen that was sent",
        "received by the laboratory",
        _DUTIES,
        _RESULTS,
    ),
    "report": Kind(
        "obtain the report",
        "tissue taken here, or “already removed” elsewhere",
        "a report that matches patient, site and specimen",
        Act.RECORD_RESULTS,
        _RESULTS,
    ),
    "match_report": Kind(
        "match the report",
        "a report that fits no patient, site or specimen",
        "filed to its specimen, or returned to the laboratory",
        _DUTIES,
        _RESULTS,
    ),
    "read": Kind("read the report", "a report, or an amended one", "read", Act.READ_RESULTS, _RESULTS),
    "margins": Kind(
        "margins: your decision",
        "an invasive melanoma that was read",
        "done elsewhere, planned, or not wanted, with a word",
        _SIGN,
        _DECISIONS,
    ),
    "node": Kind(
        "sentinel lymph node: your decision",
        "an invasive melanoma that was read",
        "done elsewhere, planned, or not wanted, with a word",
        _SIGN,
        _DECISIONS,
    ),
    "meeting": Kind(
        "meeting about the patient: your decision",
        "an invasive melanoma that was read",
        "done elsewhere, planned, or not wanted, with a word",
        _SIGN,
        _DECISIONS,
    ),
    "tell": Kind(
        "tell the patient",
        "a result that was read",
        "told: by whom, to whom, how and what was said; or “cannot be told”, to whom else",
        Act.TELL_PATIENT,
        _RESULTS,
    ),
    "complete": Kind(
        "complete the diagnosis",
        "lymph nodes, thickness, ulceration or the day of excision wanting",
        "an amended diagnosis, or “will not be known”",
        Act.RECORD_RESULTS,
        _RESULTS,
    ),
    "what_follows": Kind(
        "a question of the plan",
        "a series that ends with a question, an answer no rule has, a contradiction",
        "an answer, an own interval or day, a discharge, the fact mended",
        Act.OVERRIDE,
        OwningList.PROBLEMS,
        "scheduling.planproblem",
    ),
    "outcome": Kind(
        "say how the appointment ended",
        "an appointment in the past",
        "came, with what was done, or missed",
        Act.BOOK,
        _TODAY,
        "scheduling.appointment",
    ),
    "rebook": Kind(
        "rebook",
        "an appointment late for its duty, after it, or on a closed day",
        "moved, cancelled with by whom, or confirmed by a dermatologist",
        Act.BOOK,
        _TODAY,
    ),
    "find_a_way": Kind(
        "find a way to reach the patient",
        "no route that works, or a returned letter",
        "a route that works",
        Act.REGISTER_PATIENTS,
        _TODAY,
    ),
    "file_call": Kind(
        "file the call",
        "a caller nobody could find",
        "filed under a patient, or “no patient of ours” by a second person",
        Act.NOTE_SIGNS,
        _TODAY,
    ),
    "hand_over": Kind(
        "hand over",
        "care that is ending while something is open",
        "each open duty closed with its ground or accepted elsewhere",
        Act.END_CARE,
        _DECISIONS,
    ),
}
LEDGER: Final = tuple(code for code, kind in KINDS.items() if kind.kept_in == "clinic.duty")


def of_list(owner: OwningList) -> list[str]:
    """Give the codes of the duties in the ledger that this list owns."""
    return [code for code in LEDGER if KINDS[code].list is owner]

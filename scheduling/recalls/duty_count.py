"""Count what is owed, kind by kind in plain SQL, beside what the lists hold: a difference is an alarm with names.

It shares no code with the ledger of duties, the lists, the plans or the core (docs/domain.md, "What is owed"): codes
and names of tables stand here once more, by hand. Facts open some duties, the stored plan opens others; that nothing
was deleted or ended without a word is held against the audit trail.
"""

from dataclasses import dataclass
from typing import Any, Final

from django.db import connection
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True)
class KindCount:
    """`owed` by the facts, `held` by the owning list; `lost` names the patients of what no list holds."""

    code: str
    words: Any
    owed: int
    held: int
    lost: tuple[int, ...]


_TEXT: Final = "CAST({} AS TEXT)"
_OPEN_RECALL: Final = "r.state IN ('planned', 'due', 'booked')"


def _of(label: str, key: str) -> str:
    """Write in SQL how a duty names the row that opened it: 'lesions.signoff:7'."""
    return f"'{label}:' || {_TEXT.format(key)}"


def _duty_of(kind: str, label: str) -> str:
    """Write the condition that a duty of this kind was opened from the fact, and is open or ended with a word."""
    return f"EXISTS (SELECT 1 FROM clinic_duty d WHERE d.kind = '{kind}' AND d.opened_from = {_of(label, 'f.id')})"


def _about_lesion(kind: str) -> str:
    """Write the condition that there is a duty of this kind about the lesion, whichever signature opened it."""
    return f"""EXISTS (SELECT 1 FROM clinic_duty d WHERE d.kind = '{kind}'
        AND d.subject = 'lesion:' || CAST(f.lesion_id AS TEXT))"""


def _stands(signature: str) -> str:
    return f"NOT EXISTS (SELECT 1 FROM lesions_revokedsignoff k WHERE k.signoff_id = {signature}.id)"


def _signed(decision: str) -> str:
    return f"""SELECT s.id, l.patient_id, l.id AS lesion_id, l.state
        FROM lesions_signoff s JOIN lesions_lesion l ON l.id = s.lesion_id
        WHERE s.decision = '{decision}' AND {_stands("s")}"""


def _step(outcome: str, kind: str) -> str:
    return f"""SELECT s.id, d.patient_id FROM clinic_step s JOIN clinic_duty d ON d.id = s.duty_id
        WHERE s.outcome = '{outcome}' AND d.kind = '{kind}' AND d.patient_id IS NOT NULL
        AND NOT EXISTS (SELECT 1 FROM clinic_struckstep x WHERE x.step_id = s.id)"""


# Of each lesion the newest picture whose measuring has come to an end, whatever came of it.
_NEWEST_MEASURED = """SELECT l.id, l.patient_id, i.id AS image_id, i.taken_on FROM lesions_lesion l
    JOIN lesions_image i ON i.lesion_id = l.id
    WHERE EXISTS (SELECT 1 FROM lesions_assessment a WHERE a.image_id = i.id AND a.state IN ('done', 'failed'))
    AND NOT EXISTS (SELECT 1 FROM lesions_image n WHERE n.lesion_id = l.id
        AND (n.taken_on > i.taken_on OR (n.taken_on = i.taken_on AND n.id > i.id))
        AND EXISTS (SELECT 1 FROM lesions_assessment b WHERE b.image_id = n.id AND b.state IN ('done', 'failed')))"""
# Decided but not done: no later signature on the lesion, no procedure of it since, no end of the lesion by two people.
_TO_DO = f"""SELECT s.id, l.patient_id FROM lesions_signoff s JOIN lesions_lesion l ON l.id = s.lesion_id
    JOIN clinic_patient p ON p.id = l.patient_id JOIN scheduling_plan q ON q.patient_id = p.id
    WHERE s.decision IN ('biopsy', 'excise') AND p.status = 'active' AND l.state <> 'entered_in_error'
    AND q.facts_revision = p.facts_revision
    AND {_stands("s")}
    AND NOT EXISTS (SELECT 1 FROM lesions_signoff t WHERE t.lesion_id = l.id AND t.id > s.id AND {_stands("t")}
        AND t.decision NOT IN ('inadequate', 'wrong_subject', 'second_reading'))
    AND NOT EXISTS (SELECT 1 FROM lesions_procedure c WHERE c.lesion_id = l.id AND c."on" >= s.signed_on)
    AND NOT EXISTS (SELECT 1 FROM scheduling_recall r WHERE r.patient_id = p.id
        AND r."of" = 'decision:' || CAST(s.id AS TEXT) AND r.closed_by_id IS NOT NULL)"""

# code → (words, what the facts open as rows of id and patient_id, when a list holds it or it has ended; both on `f`)
FACTS: Final[dict[str, tuple[Any, str, str]]] = {
    "examine": (
        _("a noted sign, to be examined in person"),
        """SELECT u.id, u.patient_id, u.lesion_id, u.answered_by_id FROM lesions_urgentsign u""",
        """(f.answered_by_id IS NULL OR EXISTS (SELECT 1 FROM lesions_examination e WHERE e.id = f.answered_by_id
            AND e.patient_id = f.patient_id
            AND (e.lesion_id = f.lesion_id OR (e.lesion_id IS NULL AND f.lesion_id IS NULL))))""",
    ),
    "decide": (
        _("a measured picture, to be decided on"),
        _NEWEST_MEASURED,
        f"""EXISTS (SELECT 1 FROM lesions_review v JOIN lesions_assessment a ON a.id = v.assessment_id
            JOIN lesions_image i ON i.id = a.image_id
            WHERE v.lesion_id = f.id AND (i.id = f.image_id OR i.taken_on >= f.taken_on)
            AND (v.state IN ('waiting', 'handed_over')
                OR EXISTS (SELECT 1 FROM lesions_signoff s WHERE s.review_id = v.id AND {_stands("s")})))""",
    ),
    "do_as_decided": (
        _("a signed biopsy or excision, to be done"),
        _TO_DO,
        f"""EXISTS (SELECT 1 FROM scheduling_recall r WHERE r.patient_id = f.patient_id AND {_OPEN_RECALL}
            AND r.purpose = 'lesion_examination')""",
    ),
    "hand_over": (
        _("care that is ending, to be handed over"),
        """SELECT e.id, e.patient_id FROM clinic_careend e JOIN clinic_patient p ON p.id = e.patient_id
            WHERE p.status = 'ending'
            AND NOT EXISTS (SELECT 1 FROM clinic_careend n WHERE n.patient_id = p.id AND n.id > e.id)""",
        _duty_of("hand_over", "clinic.careend"),
    ),
    "send_referral": (
        _("a signed referral, to be sent"),
        _signed("refer"),
        _duty_of("send_referral", "lesions.signoff"),
    ),
    "put_picture_right": (
        _("a picture of another lesion, to be put right"),
        _signed("wrong_subject"),
        _duty_of("put_picture_right", "lesions.signoff"),
    ),
    "repeat_picture": (
        _("a picture nobody could judge, to be taken again"),
        _signed("inadequate"),
        f"""(f.state IN ('removed', 'gone', 'entered_in_error') OR EXISTS (SELECT 1 FROM clinic_duty d
            WHERE d.kind = 'repeat_picture' AND d.subject = {_of("lesion", "f.lesion_id")}))""",
    ),
    "already_removed": (
        _("a lesion removed elsewhere, whose report is wanted"),
        _signed("already_removed"),
        f"({_about_lesion('report')} OR EXISTS (SELECT 1 FROM lesions_procedure c WHERE c.lesion_id = f.lesion_id))",
    ),
    "report": (
        _("tissue taken, whose report is wanted"),
        """SELECT c.id, c.patient_id FROM lesions_procedure c WHERE c.kind IN ('biopsy', 'excision')""",
        _duty_of("report", "lesions.procedure"),
    ),
    "tell": (
        _("a result, to be told"),
        "SELECT d.id, d.patient_id FROM lesions_diagnosis d",
        _duty_of("tell", "lesions.diagnosis"),
    ),
    "what_after_invasive": (
        _("an invasive melanoma, whose margins, node and meeting are asked"),
        "SELECT d.id, d.patient_id FROM lesions_diagnosis d WHERE d.code = 'melanoma'",
        """EXISTS (SELECT 1 FROM clinic_duty d WHERE d.kind = 'margins' AND d.patient_id = f.patient_id
            AND d.subject = 'diagnosis:' || CAST(f.id AS TEXT))""",
    ),
    "accept_referral": (
        _("a referral that was sent"),
        _step("sent", "send_referral"),
        _duty_of("accept_referral", "clinic.step"),
    ),
    "answer_referral": (
        _("a referral that was accepted"),
        _step("accepted", "accept_referral"),
        _duty_of("answer_referral", "clinic.step"),
    ),
    "refused_referral": (
        _("a referral that was refused"),
        _step("refused", "accept_referral"),
        _duty_of("decide_what_follows", "clinic.step"),
    ),
    "read_letter": (
        _("a letter from elsewhere, to be read"),
        _step("answered", "answer_referral"),
        _duty_of("read_letter", "clinic.step"),
    ),
    "confirm_specimen": (
        _("a specimen that was sent"),
        _step("sent", "send_specimen"),
        _duty_of("confirm_specimen", "clinic.step"),
    ),
    "booked": (
        _("a recall that is called booked"),
        """SELECT r.id, r.patient_id FROM scheduling_recall r JOIN clinic_patient p ON p.id = r.patient_id
            JOIN scheduling_plan q ON q.patient_id = p.id
            WHERE r.state = 'booked' AND q.facts_revision = p.facts_revision""",
        """EXISTS (SELECT 1 FROM scheduling_appointment_recalls j JOIN scheduling_appointment a
            ON a.id = j.appointment_id WHERE j.recall_id = f.id AND a.state = 'booked')""",
    ),
}

_DUE: Final = {
    "sqlite": """SELECT q.id, q.patient_id, json_extract(j.value, '$.purpose') AS purpose,
        json_extract(j.value, '$.subject') AS subject
        FROM scheduling_plan q, json_each(q.result, '$.due') j""",
    "postgresql": """SELECT q.id, q.patient_id, j.value ->> 'purpose' AS purpose, j.value ->> 'subject' AS subject
        FROM scheduling_plan q, jsonb_array_elements(q.result -> 'due') j(value)""",
}
_CURRENT: Final = """EXISTS (SELECT 1 FROM clinic_patient p WHERE p.id = g.patient_id
    AND p.merged_into_id IS NULL AND EXISTS (SELECT 1 FROM scheduling_plan x
        WHERE x.patient_id = p.id AND x.facts_revision = p.facts_revision))"""
_IN_RECALLS: Final = f"""EXISTS (SELECT 1 FROM scheduling_recall r WHERE r.patient_id = f.patient_id
    AND r.purpose = f.purpose AND r.subject = f.subject AND {_OPEN_RECALL})"""

# What ends leaves a word in the trail: (words, table, condition of the ended rows, how the trail names them).
ENDED: Final[dict[str, tuple[Any, str, str, str]]] = {
    "duty": (_("a duty that ended"), "clinic_duty", "x.ended_at IS NOT NULL", "clinic.duty"),
    "recall": (
        _("a recall that ended"),
        "scheduling_recall",
        "x.state IN ('completed', 'closed')",
        "scheduling.recall",
    ),
    "proposal": (
        _("a proposal that was answered"),
        "clinic_proposal",
        "x.answered_at IS NOT NULL",
        "clinic.proposal",
    ),
    "appointment": (
        _("an appointment that ended"),
        "scheduling_appointment",
        "x.state <> 'booked'",
        "scheduling.appointment",
    ),
    "told": (_("a result that was told"), "lesions_diagnosis", "x.told_on IS NOT NULL", "lesions.diagnosis"),
}
_ACTIONS_OF_AN_END: Final = {
    "duty": "('duty.end', 'duty.withdraw')",
    "recall": "('recall.complete', 'recall.close', 'recall.supersede')",
    "proposal": "('proposal.confirm', 'proposal.refuse')",
    "appointment": "('appointment.attend', 'appointment.miss', 'appointment.cancel', 'appointment.take_back')",
    "told": "('diagnosis.tell')",
}

# What was recorded is still there: action of the trail → (words, label of what it names, its table).
RECORDED: Final[dict[str, tuple[Any, str, str]]] = {
    "risk.assess": (_("a risk assessment"), "clinic.riskassessment", "clinic_riskassessment"),
    "visit.record": (_("a visit"), "clinic.visit", "clinic_visit"),
    "duty.open": (_("a duty"), "clinic.duty", "clinic_duty"),
    "proposal.make": (_("a proposal"), "clinic.proposal", "clinic_proposal"),
    "lesion.add": (_("a lesion"), "lesions.lesion", "lesions_lesion"),
    "image.add": (_("a picture"), "lesions.image", "lesions_image"),
    "review.open": (_("a lesion put before a dermatologist"), "lesions.review", "lesions_review"),
    "signoff.record": (_("a signed decision"), "lesions.signoff", "lesions_signoff"),
    "procedure.record": (_("a procedure"), "lesions.procedure", "lesions_procedure"),
    "diagnosis.record": (_("a diagnosis"), "lesions.diagnosis", "lesions_diagnosis"),
    "recall.open": (_("a recall"), "scheduling.recall", "scheduling_recall"),
    "appointment.book": (_("an appointment"), "scheduling.appointment", "scheduling_appointment"),
    "contact.attempt": (_("a contact attempt"), "scheduling.contactattempt", "scheduling_contactattempt"),
    "override.set": (_("a clinician's own interval"), "scheduling.override", "scheduling_override"),
    "series.discharge": (_("a discharge"), "scheduling.seriesend", "scheduling_seriesend"),
}
# Signs are recorded under their lesion: there are as many rows as records.
_SIGNS: Final = """SELECT g.patient_id FROM (SELECT a.patient_id, a.subject, COUNT(*) AS said
        FROM clinic_auditrecord a WHERE a.action = 'lesion.sign' GROUP BY a.patient_id, a.subject) g
    WHERE g.said > (SELECT COUNT(*) FROM lesions_urgentsign u
        WHERE 'lesions.lesion:' || CAST(u.lesion_id AS TEXT) = g.subject)"""


def count_duties() -> list[KindCount]:
    """Count every kind: what is owed, what the lists hold, and who is lost between the two."""
    return [
        *(_by_facts(code, *row) for code, row in FACTS.items()),
        _by_plan(),
        *(_without_a_word(code, *row) for code, row in ENDED.items()),
        _signs(),
        *(_deleted(action, *row) for action, row in RECORDED.items()),
    ]


def lost_now() -> list[KindCount]:
    """Find only the kinds of which something is lost."""
    return [row for row in count_duties() if row.lost]


def _by_facts(code: str, words: Any, facts: str, held: str) -> KindCount:
    return _compared(code, words, facts, held)


def _by_plan() -> KindCount:
    facts = f"SELECT * FROM ({_DUE[connection.vendor]}) g WHERE {_CURRENT}"
    return _compared("recall", _("what the plan asks for"), facts, _IN_RECALLS)


def _compared(code: str, words: Any, facts: str, held: str) -> KindCount:
    rows = _rows(
        f"SELECT f.patient_id, CASE WHEN {held} THEN 1 ELSE 0 END FROM ({facts}) f ORDER BY f.patient_id"
    )
    lost = [patient for patient, is_held in rows if not is_held]
    return KindCount(code, words, len(rows), len(rows) - len(lost), tuple(dict.fromkeys(lost)))


def _without_a_word(code: str, words: Any, table: str, ended: str, label: str) -> KindCount:
    """Find ended rows of which the audit trail does not say how they ended."""
    facts = f"SELECT x.id, x.patient_id FROM {table} x WHERE {ended} AND x.patient_id IS NOT NULL"
    known = f"""EXISTS (SELECT 1 FROM clinic_auditrecord a WHERE a.subject = {_of(label, "f.id")}
        AND a.action IN {_ACTIONS_OF_AN_END[code]})"""
    how = format_lazy("{}: {}", words, _("the trail says how"))
    return _compared(f"ended_{code}", how, facts, known)


def _deleted(action: str, words: Any, label: str, table: str) -> KindCount:
    """Find audit records whose row is gone."""
    facts = f"""SELECT a.patient_id, CAST(SUBSTR(a.subject, {len(label) + 2}) AS INTEGER) AS id
        FROM clinic_auditrecord a WHERE a.action = '{action}' AND a.patient_id IS NOT NULL"""
    there = f"EXISTS (SELECT 1 FROM {table} t WHERE t.id = f.id)"
    still = format_lazy("{}: {}", _("recorded, and still on file"), words)
    return _compared(f"deleted_{table}", still, facts, there)


def _signs() -> KindCount:
    said = _rows("SELECT COUNT(*) FROM clinic_auditrecord WHERE action = 'lesion.sign'")[0][0]
    lost = [row[0] for row in _rows(_SIGNS)]
    words = _("recorded, and still on file: a noted sign")
    return KindCount("deleted_lesions_urgentsign", words, said, said - len(lost), tuple(lost))


def _rows(sql: str) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(sql)
        return list(cursor.fetchall())

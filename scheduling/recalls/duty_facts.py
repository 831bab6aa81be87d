"""State which facts open which duties, and when such a duty is held or has ended with a word: plain SQL, as data.

Codes and the names of tables stand here once more, by hand: this shares no code with what opens the duties.
"""

from typing import Any, Final

from django.utils.translation import gettext_lazy as _

TEXT: Final = "CAST({} AS TEXT)"
OPEN_RECALL: Final = "r.state IN ('planned', 'due', 'booked')"


def of_row(label: str, key: str) -> str:
    """Write in SQL how a duty names the row that opened it: 'lesions.signoff:7'."""
    return f"'{label}:' || {TEXT.format(key)}"


def _duty_of(kind: str, label: str) -> str:
    """Write the condition that a duty of this kind was opened from the fact, and is open or ended with a word."""
    return f"EXISTS (SELECT 1 FROM clinic_duty d WHERE d.kind = '{kind}' AND d.opened_from = {of_row(label, 'f.id')})"


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
    AND NOT EXISTS (SELECT 1 FROM lesions_procedure c WHERE c.lesion_id = l.id AND c.struck_at IS NULL
        AND c."on" >= s.signed_on)
    AND NOT EXISTS (SELECT 1 FROM scheduling_recall r WHERE r.patient_id = p.id
        AND r."of" = 'decision:' || CAST(s.id AS TEXT) AND r.closed_by_id IS NOT NULL)"""

_CLINICAL: Final[dict[str, tuple[Any, str, str]]] = {
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
        f"""EXISTS (SELECT 1 FROM scheduling_recall r WHERE r.patient_id = f.patient_id AND {OPEN_RECALL}
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
            WHERE d.kind = 'repeat_picture' AND d.subject = {of_row("lesion", "f.lesion_id")}))""",
    ),
    "already_removed": (
        _("a lesion removed elsewhere, whose report is wanted"),
        _signed("already_removed"),
        f"""({_about_lesion("report")} OR EXISTS (SELECT 1 FROM lesions_procedure c
            WHERE c.lesion_id = f.lesion_id AND c.struck_at IS NULL))""",
    ),
    "report": (
        _("tissue taken, whose report is wanted"),
        """SELECT c.id, c.patient_id FROM lesions_procedure c
            WHERE c.kind IN ('biopsy', 'excision') AND c.struck_at IS NULL""",
        _duty_of("report", "lesions.procedure"),
    ),
    "tell": (
        _("a result, to be told"),
        "SELECT d.id, d.patient_id FROM lesions_diagnosis d WHERE d.struck_at IS NULL",
        _duty_of("tell", "lesions.diagnosis"),
    ),
    "what_after_invasive": (
        _("an invasive melanoma, whose margins, node and meeting are asked"),
        "SELECT d.id, d.patient_id FROM lesions_diagnosis d WHERE d.code = 'melanoma' AND d.struck_at IS NULL",
        """EXISTS (SELECT 1 FROM clinic_duty d WHERE d.patient_id = f.patient_id
            AND d.subject = 'diagnosis:' || CAST(f.id AS TEXT)
            AND (d.kind = 'margins' OR (d.kind = 'read' AND (d.ended_at IS NULL OR d.ground <> ''))))""",
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

# ---- what the desk owes --------------------------------------------------------------------------

_NOT_STRUCK = "NOT EXISTS (SELECT 1 FROM scheduling_struckattempt k WHERE k.attempt_id = a.id)"
# Ended by its own entry, or by a ground that somebody gave for it alone: a hand-over has both.
_WITH_A_WORD = """((d.ground <> '' AND d.evidence = '') OR EXISTS (SELECT 1 FROM clinic_step s WHERE s.duty_id = d.id
    AND NOT EXISTS (SELECT 1 FROM clinic_struckstep x WHERE x.step_id = s.id)))"""
_BOOKED = """SELECT a.id, a.patient_id FROM scheduling_appointment a WHERE a.state = 'booked'
    AND EXISTS (SELECT 1 FROM clinic_patient p WHERE p.id = a.patient_id AND p.merged_into_id IS NULL"""
_ITS_RECALLS = f"""FROM scheduling_appointment_recalls j JOIN scheduling_recall r ON r.id = j.recall_id
    WHERE j.appointment_id = a.id AND {OPEN_RECALL}"""
# The day on which the appointment is, where the clinic is: `duty_count` puts in how this database says it.
_ITS_DAY = "LOCAL_DAY(a.starts_at)"
_REBOOK: Final = f"""EXISTS (SELECT 1 FROM clinic_duty d WHERE d.kind = 'rebook'
    AND d.opened_from = {of_row("scheduling.appointment", "f.id")}
    AND (d.ended_at IS NULL OR ({_WITH_A_WORD} AND NOT EXISTS (SELECT 1 FROM clinic_auditrecord m
        WHERE m.action = 'appointment.move' AND m.subject = d.opened_from AND m.at > d.ended_at))))"""


def _asked(about: str, more: str) -> str:
    """Write the condition that a dermatologist was asked because of an attempt or an appointment of this recall."""
    return f"""EXISTS (SELECT 1 FROM clinic_duty d WHERE d.kind = 'decide_what_follows' AND ({more})
        AND (d.opened_from IN (SELECT {of_row("scheduling.contactattempt", "y.id")}
                FROM scheduling_contactattempt y WHERE y.recall_id = {about})
            OR d.opened_from IN (SELECT {of_row("scheduling.appointment", "y.appointment_id")}
                FROM scheduling_appointment_recalls y WHERE y.recall_id = {about})))"""


def _since(column: str) -> str:
    return _asked("f.recall_id", f"d.ended_at IS NULL OR ({_WITH_A_WORD} AND d.ended_at >= f.{column})")


# Attempts that count and that no dermatologist has answered since.
_TRIED = f"""(SELECT COUNT(*) FROM scheduling_contactattempt a WHERE a.recall_id = r.id AND a.counts AND {_NOT_STRUCK}
    AND NOT {_asked("r.id", f"d.ended_at >= a.at AND {_WITH_A_WORD}")})"""

_OF_THE_DESK: Final[dict[str, tuple[Any, str, str]]] = {
    "rebook_late": (
        _("an appointment later than what it is for allows"),
        f"{_BOOKED}) AND EXISTS (SELECT 1 {_ITS_RECALLS} AND r.latest < {_ITS_DAY})",
        _REBOOK,
    ),
    "rebook_closed": (
        _("an appointment on a closed day"),
        f"{_BOOKED}) AND EXISTS (SELECT 1 FROM scheduling_closureday c WHERE c.day = {_ITS_DAY})",
        _REBOOK,
    ),
    "rebook_finished": (
        _("an appointment for what is done or closed"),
        f"""{_BOOKED})
            AND EXISTS (SELECT 1 FROM scheduling_appointment_recalls j WHERE j.appointment_id = a.id)
            AND NOT EXISTS (SELECT 1 {_ITS_RECALLS})""",
        _REBOOK,
    ),
    "rebook_ended": (
        _("an appointment of a record that has ended"),
        f"""{_BOOKED} AND p.status <> 'active' AND EXISTS (SELECT 1 FROM clinic_careend e
            WHERE e.patient_id = p.id AND e.at < a.starts_at))""",
        _REBOOK,
    ),
    "find_a_way": (
        _("somebody whom no number or address reaches"),
        """SELECT p.id, p.id AS patient_id FROM clinic_patient p
            WHERE p.status = 'active' AND p.merged_into_id IS NULL
            AND NOT EXISTS (SELECT 1 FROM clinic_contactroute c WHERE c.patient_id = p.id AND c.dead_since IS NULL)""",
        f"""EXISTS (SELECT 1 FROM clinic_duty d WHERE d.kind = 'find_a_way' AND d.patient_id = f.id
            AND (d.ended_at IS NULL OR ({_WITH_A_WORD} AND NOT EXISTS (SELECT 1 FROM clinic_auditrecord m
                WHERE m.action = 'patient.kill_route' AND m.patient_id = f.id AND m.at > d.ended_at))))""",
    ),
    "returned": (
        _("a letter that came back"),
        f"""SELECT a.id, r.patient_id, a.at FROM scheduling_contactattempt a
            JOIN scheduling_recall r ON r.id = a.recall_id JOIN clinic_patient p ON p.id = r.patient_id
            WHERE a.outcome = 'returned' AND p.status = 'active' AND {_NOT_STRUCK}
            AND NOT EXISTS (SELECT 1 FROM clinic_careend e WHERE e.patient_id = p.id AND e.at <= a.at)""",
        """EXISTS (SELECT 1 FROM clinic_duty d WHERE d.kind = 'find_a_way' AND d.patient_id = f.patient_id
            AND (d.ended_at IS NULL OR d.ended_at >= f.at))""",
    ),
    "declined": (
        _("“declined”, to be decided by a dermatologist"),
        f"""SELECT a.id, r.patient_id, r.id AS recall_id, a.at FROM scheduling_contactattempt a
            JOIN scheduling_recall r ON r.id = a.recall_id
            WHERE a.outcome = 'declined' AND {OPEN_RECALL} AND {_NOT_STRUCK}""",
        _since("at"),
    ),
    "attempts_used_up": (
        _("attempts used up, to be decided by a dermatologist"),
        f"""SELECT r.id, r.patient_id FROM scheduling_recall r WHERE {OPEN_RECALL}
            AND {_TRIED} >= CASE r.urgency WHEN 'C' THEN 2 ELSE 3 END""",
        _asked("f.id", "d.ended_at IS NULL"),
    ),
    "missed_again": (
        _("a second missed visit, to be decided by a dermatologist"),
        f"""SELECT a.id, r.patient_id, r.id AS recall_id, a.changed_at FROM scheduling_appointment a
            JOIN scheduling_appointment_recalls j ON j.appointment_id = a.id
            JOIN scheduling_recall r ON r.id = j.recall_id WHERE a.state = 'missed' AND {OPEN_RECALL}
            AND EXISTS (SELECT 1 FROM scheduling_appointment b JOIN scheduling_appointment_recalls k
                ON k.appointment_id = b.id WHERE k.recall_id = r.id AND b.state = 'missed' AND b.id <> a.id
                AND (b.changed_at < a.changed_at OR (b.changed_at = a.changed_at AND b.id < a.id)))""",
        _since("changed_at"),
    ),
    "told_in_error": (
        _("a result that was told and never was so"),
        "SELECT d.id, d.patient_id FROM lesions_diagnosis d WHERE d.struck_at IS NOT NULL AND d.told_on IS NOT NULL",
        _duty_of("decide_what_follows", "lesions.diagnosis"),
    ),
    "sign_on_ended": (
        _("a sign on a record that has ended"),
        """SELECT u.id, u.patient_id FROM lesions_urgentsign u JOIN clinic_patient p ON p.id = u.patient_id
            WHERE p.status NOT IN ('active', 'ending') AND u.answered_by_id IS NULL AND u.handed_over_id IS NULL""",
        _duty_of("decide_what_follows", "lesions.urgentsign"),
    ),
    "try_on": (
        _("the desk goes on trying"),
        _step("try_on", "decide_what_follows"),
        _duty_of("try_on", "clinic.step"),
    ),
    "write_letter": (
        _("a letter to be written"),
        _step("letter", "decide_what_follows"),
        _duty_of("write_letter", "clinic.step"),
    ),
    "ask_referrer": (
        _("a referrer to be asked"),
        _step("referrer", "decide_what_follows"),
        _duty_of("ask_referrer", "clinic.step"),
    ),
    "answer_of_referrer": (
        _("what a referrer said, to be decided on"),
        _step("answered", "ask_referrer"),
        _duty_of("decide_what_follows", "clinic.step"),
    ),
    "not_reached": (
        _("somebody who was not reached after all"),
        _step("not_reached", "try_on"),
        _duty_of("decide_what_follows", "clinic.step"),
    ),
    "read_filed": (
        _("a report that fitted nobody, filed and to be read"),
        _step("filed", "match_report"),
        _duty_of("read", "clinic.step"),
    ),
    "lost_before_sending": (
        _("tissue lost before it was sent"),
        _step("lost", "send_specimen"),
        _duty_of("decide_what_follows", "clinic.step"),
    ),
    "lost_on_the_way": (
        _("tissue lost on its way"),
        _step("lost", "confirm_specimen"),
        _duty_of("decide_what_follows", "clinic.step"),
    ),
    "no_report": (
        _("a report that can't be had"),
        _step("none", "report"),
        _duty_of("decide_what_follows", "clinic.step"),
    ),
}
# code → (words, what the facts open as rows of id and patient_id, when a list holds it or it has ended; both on `f`)
FACTS: Final[dict[str, tuple[Any, str, str]]] = {**_CLINICAL, **_OF_THE_DESK}

# Owed for nobody on file: code → (words, the rows that open it as id and who, when it is held; both on `f`).
NAMELESS: Final[dict[str, tuple[Any, str, str]]] = {
    "file_call": (
        _("a caller nobody could find"),
        "SELECT c.id, c.name || ', ' || c.number AS who FROM scheduling_unfiledcall c",
        f"""EXISTS (SELECT 1 FROM clinic_duty d WHERE d.kind = 'file_call'
            AND d.opened_from = {of_row("scheduling.unfiledcall", "f.id")}
            AND (d.ended_at IS NULL OR {_WITH_A_WORD}))""",
    ),
    "match_report": (
        _("a report that fits no specimen"),
        "SELECT u.id, u.laboratory || ', ' || u.reference || ', ' || u.name AS who FROM lesions_unmatchedreport u",
        f"""EXISTS (SELECT 1 FROM clinic_duty d WHERE d.kind = 'match_report'
            AND d.opened_from = {of_row("lesions.unmatchedreport", "f.id")}
            AND (d.ended_at IS NULL OR {_WITH_A_WORD}))""",
    ),
}

"""State which facts open what the desk owes, for patients and for people nobody could find: plain SQL, as data."""

from typing import Any, Final

from django.utils.translation import gettext_lazy as _

from scheduling.counting.duty_facts import OPEN_RECALL, duty_of, of_row, step_said

_NOT_STRUCK = "NOT EXISTS (SELECT 1 FROM scheduling_struckattempt k WHERE k.attempt_id = a.id)"
# Ended by its own entry, or by a ground that somebody gave for it alone: a hand-over has both.
_WITH_A_WORD = """((d.ground <> '' AND d.evidence = '') OR EXISTS (SELECT 1 FROM clinic_step s WHERE s.duty_id = d.id
    AND NOT EXISTS (SELECT 1 FROM clinic_struckstep x WHERE x.step_id = s.id)))"""
_BOOKED = """SELECT a.id, a.patient_id FROM scheduling_appointment a WHERE a.state = 'booked'
    AND EXISTS (SELECT 1 FROM clinic_patient p WHERE p.id = a.patient_id AND p.merged_into_id IS NULL"""
_ITS_RECALLS = f"""FROM scheduling_appointment_recalls j JOIN scheduling_recall r ON r.id = j.recall_id
    WHERE j.appointment_id = a.id AND {OPEN_RECALL}"""
# The day on which the appointment is, where the clinic is: `duty_count` puts in how this database says it, and what
# THE_MOMENT is.
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


# `duty_count` puts in how many attempts the ladder in force has by urgency.
# Attempts that count and that no dermatologist has answered since.
_TRIED = f"""(SELECT COUNT(*) FROM scheduling_contactattempt a WHERE a.recall_id = r.id AND a.counts AND {_NOT_STRUCK}
    AND NOT {_asked("r.id", f"d.ended_at >= a.at AND {_WITH_A_WORD}")})"""

_KINDS_OF_TODAY = "'try_on', 'write_letter', 'ask_referrer', 'repeat_picture', 'rebook', 'find_a_way'"

OF_THE_DESK: Final[dict[str, tuple[Any, str, str]]] = {
    "on_today": (
        _("what Today owes"),
        f"""SELECT r.id, r.patient_id FROM scheduling_recall r JOIN clinic_patient p ON p.id = r.patient_id
            WHERE r.state = 'due' AND p.merged_into_id IS NULL
            UNION ALL SELECT d.id, d.patient_id FROM clinic_duty d JOIN clinic_patient p ON p.id = d.patient_id
            WHERE d.ended_at IS NULL AND p.merged_into_id IS NULL AND d.kind IN ({_KINDS_OF_TODAY})""",
        # Of whom something changed since is worked out before the next page is shown.
        """EXISTS (SELECT 1 FROM scheduling_deskline l WHERE l.patient_id = f.patient_id)
            OR EXISTS (SELECT 1 FROM scheduling_touched t WHERE t.patient_id = f.patient_id)""",
    ),
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
    "rebook_away": (
        _("an appointment with somebody who is away"),
        f"""{_BOOKED}) AND EXISTS (SELECT 1 FROM clinic_leave v WHERE v.member_id = a.clinician_id
            AND v.withdrawn_by_id IS NULL AND {_ITS_DAY} BETWEEN v.first_day AND v.last_day)""",
        _REBOOK,
    ),
    "rebook_no_hours": (
        _("an appointment on a day on which its room has no session"),
        f"""{_BOOKED}) AND EXISTS (SELECT 1 FROM scheduling_resource o WHERE o.id = a.resource_id AND o.use = 'room')
            AND NOT EXISTS (SELECT 1 FROM scheduling_session h
                WHERE h.resource_id = a.resource_id AND h.day = {_ITS_DAY})""",
        _REBOOK,
    ),
    "rebook_finished": (
        _("an appointment for what is done or closed"),
        # Of one that has begun its outcome is owed, and its own row says so.
        f"""{_BOOKED}) AND a.starts_at > THE_MOMENT
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
            AND NOT EXISTS (SELECT 1 FROM clinic_contactroute c WHERE c.patient_id = p.id AND c.dead_since IS NULL
                AND (c.carer_id IS NULL OR EXISTS (SELECT 1 FROM clinic_carer k WHERE k.id = c.carer_id
                    AND k.authority <> 'nothing' AND THE_DAY >= k.valid_from
                    AND (k.valid_until IS NULL OR THE_DAY <= k.valid_until))))""",
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
        # One that was withdrawn with another attempt has looked into nothing.
        """EXISTS (SELECT 1 FROM clinic_duty d WHERE d.kind = 'find_a_way' AND d.patient_id = f.patient_id
            AND (d.ended_at IS NULL OR (d.ended_at >= f.at AND d.evidence NOT LIKE 'scheduling.struckattempt:%')))""",
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
            AND {_TRIED} >= ATTEMPTS(r.urgency)""",
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
    "not_brought": (
        _("somebody who was not brought, to be decided by a dermatologist"),
        f"""SELECT a.id, r.patient_id, r.id AS recall_id, a.changed_at FROM scheduling_appointment a
            JOIN scheduling_appointment_recalls j ON j.appointment_id = a.id
            JOIN scheduling_recall r ON r.id = j.recall_id
            WHERE a.state = 'missed' AND a.not_brought AND {OPEN_RECALL}""",
        _since("changed_at"),
    ),
    "told_in_error": (
        _("a result that was told and never was so"),
        "SELECT d.id, d.patient_id FROM lesions_diagnosis d WHERE d.struck_at IS NOT NULL AND d.told_on IS NOT NULL",
        duty_of("decide_what_follows", "lesions.diagnosis"),
    ),
    "sign_on_ended": (
        _("a sign on a record that has ended"),
        """SELECT u.id, u.patient_id FROM lesions_urgentsign u JOIN clinic_patient p ON p.id = u.patient_id
            WHERE p.status NOT IN ('active', 'ending') AND u.answered_by_id IS NULL AND u.handed_over_id IS NULL""",
        duty_of("decide_what_follows", "lesions.urgentsign"),
    ),
    "try_on": (
        _("the desk goes on trying"),
        step_said("try_on", "decide_what_follows"),
        duty_of("try_on", "clinic.step"),
    ),
    "write_letter": (
        _("a letter to be written"),
        step_said("letter", "decide_what_follows"),
        duty_of("write_letter", "clinic.step"),
    ),
    "ask_referrer": (
        _("a referrer to be asked"),
        step_said("referrer", "decide_what_follows"),
        duty_of("ask_referrer", "clinic.step"),
    ),
    "answer_of_referrer": (
        _("what a referrer said, to be decided on"),
        step_said("answered", "ask_referrer"),
        duty_of("decide_what_follows", "clinic.step"),
    ),
    "not_reached": (
        _("somebody who was not reached after all"),
        step_said("not_reached", "try_on"),
        duty_of("decide_what_follows", "clinic.step"),
    ),
    "read_filed": (
        _("a report that fitted nobody, filed and to be read"),
        step_said("filed", "match_report"),
        duty_of("read", "clinic.step"),
    ),
    "lost_before_sending": (
        _("tissue lost before it was sent"),
        step_said("lost", "send_specimen"),
        duty_of("decide_what_follows", "clinic.step"),
    ),
    "lost_on_the_way": (
        _("tissue lost on its way"),
        step_said("lost", "confirm_specimen"),
        duty_of("decide_what_follows", "clinic.step"),
    ),
    "no_report": (
        _("a report that can't be had"),
        step_said("none", "report"),
        duty_of("decide_what_follows", "clinic.step"),
    ),
}
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

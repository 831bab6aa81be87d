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


def duty_of(kind: str, label: str) -> str:
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


def step_said(outcome: str, kind: str) -> str:
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

# code → (words, what the facts open as rows of id and patient_id, when a list holds it or it has ended; both on `f`)
CLINICAL: Final[dict[str, tuple[Any, str, str]]] = {
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
        # Whoever signs a later picture has looked at the lesion: it answers for the earlier one too.
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
        duty_of("hand_over", "clinic.careend"),
    ),
    "send_referral": (
        _("a signed referral, to be sent"),
        _signed("refer"),
        duty_of("send_referral", "lesions.signoff"),
    ),
    "hear_outside": (
        _("a reader outside who was asked"),
        """SELECT o.id, l.patient_id FROM lesions_outsidereading o JOIN lesions_lesion l ON l.id = o.lesion_id""",
        duty_of("hear_outside", "lesions.outsidereading"),
    ),
    "put_picture_right": (
        _("a picture of another lesion, to be put right"),
        _signed("wrong_subject"),
        duty_of("put_picture_right", "lesions.signoff"),
    ),
    "repeat_picture": (
        _("a picture nobody could judge, to be taken again"),
        _signed("inadequate"),
        # What is no longer there cannot be photographed again.
        f"""(f.state IN ('removed', 'gone', 'entered_in_error') OR EXISTS (SELECT 1 FROM clinic_duty d
            WHERE d.kind = 'repeat_picture' AND d.subject = {of_row("lesion", "f.lesion_id")}))""",
    ),
    "already_removed": (
        _("a lesion removed elsewhere, whose report is wanted"),
        _signed("already_removed"),
        # Entered later as a procedure of ours, it owes its report by its own line below.
        f"""({_about_lesion("report")} OR EXISTS (SELECT 1 FROM lesions_procedure c
            WHERE c.lesion_id = f.lesion_id AND c.struck_at IS NULL))""",
    ),
    "report": (
        _("tissue taken, whose report is wanted"),
        """SELECT c.id, c.patient_id FROM lesions_procedure c
            WHERE c.kind IN ('biopsy', 'excision') AND c.struck_at IS NULL""",
        duty_of("report", "lesions.procedure"),
    ),
    "tell": (
        _("a result, to be told"),
        "SELECT d.id, d.patient_id FROM lesions_diagnosis d WHERE d.struck_at IS NULL",
        duty_of("tell", "lesions.diagnosis"),
    ),
    "what_after_invasive": (
        _("an invasive melanoma, whose margins, node and meeting are asked"),
        "SELECT d.id, d.patient_id FROM lesions_diagnosis d WHERE d.code = 'melanoma' AND d.struck_at IS NULL",
        # Asked when the report is read: until then “read” is what is owed.
        """EXISTS (SELECT 1 FROM clinic_duty d WHERE d.patient_id = f.patient_id
            AND d.subject = 'diagnosis:' || CAST(f.id AS TEXT)
            AND (d.kind = 'margins' OR (d.kind = 'read' AND (d.ended_at IS NULL OR d.ground <> ''))))""",
    ),
    "accept_referral": (
        _("a referral that was sent"),
        step_said("sent", "send_referral"),
        duty_of("accept_referral", "clinic.step"),
    ),
    "answer_referral": (
        _("a referral that was accepted"),
        step_said("accepted", "accept_referral"),
        duty_of("answer_referral", "clinic.step"),
    ),
    "refused_referral": (
        _("a referral that was refused"),
        step_said("refused", "accept_referral"),
        duty_of("decide_what_follows", "clinic.step"),
    ),
    "read_letter": (
        _("a letter from elsewhere, to be read"),
        step_said("answered", "answer_referral"),
        duty_of("read_letter", "clinic.step"),
    ),
    "confirm_specimen": (
        _("a specimen that was sent"),
        step_said("sent", "send_specimen"),
        duty_of("confirm_specimen", "clinic.step"),
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

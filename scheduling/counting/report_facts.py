"""State which facts open what is owed for tissue, reports and second looks, and the questions of the stored plan."""

from typing import Any, Final

from django.utils.translation import gettext_lazy as _

from scheduling.counting.duty_facts import duty_of, of_row, step_said

_OF_DIAGNOSIS: Final = f"d.subject = {of_row('diagnosis', 'f.id')}"
_WAITS: Final = """EXISTS (SELECT 1 FROM lesions_review v WHERE v.lesion_id = f.lesion_id
    AND v.state IN ('waiting', 'handed_over'))"""
_STANDS: Final = "NOT EXISTS (SELECT 1 FROM lesions_revokedsignoff k WHERE k.signoff_id = {}.id)"
# Flagged or noted before the report came: what is seen afterwards asks nothing of it.
_LOOKED_OTHERWISE: Final = """(EXISTS (SELECT 1 FROM lesions_flag g JOIN lesions_review v ON v.id = g.review_id
        WHERE v.lesion_id = d.lesion_id AND g."limit" IS NOT NULL AND v.opened_at <= w.at)
    OR EXISTS (SELECT 1 FROM lesions_urgentsign u WHERE u.lesion_id = d.lesion_id AND u.noted_on < LOCAL_DAY(w.at)))"""


def _wants(field: str, code: str = "melanoma", empty: str = "d.{} = ''") -> str:
    """Write the condition that a diagnosis lacks a field of which nobody said that it will not be known."""
    # `not_known` is a list in JSON, which the two databases ask in two ways; its text they both ask alike.
    lacks = empty.format(field)
    return f"(d.code = '{code}' AND {lacks} AND CAST(d.not_known AS TEXT) NOT LIKE '%\"{field}\"%')"


_INCOMPLETE: Final = " OR ".join(
    (
        _wants("n"),
        _wants("thickness"),
        _wants("ulceration", empty="d.{} IS NULL"),
        _wants("anchor", empty="d.{} IS NULL"),
        _wants("anchor", "melanoma_in_situ", "d.{} IS NULL"),
    )
)

OF_REPORTS: Final[dict[str, tuple[Any, str, str]]] = {
    "send_specimen": (
        _("tissue taken, to be sent"),
        """SELECT c.id, c.patient_id FROM lesions_procedure c
            WHERE c.kind IN ('biopsy', 'excision') AND c.struck_at IS NULL""",
        duty_of("send_specimen", "lesions.procedure"),
    ),
    "read_corrected": (
        _("a corrected report, to be read again"),
        """SELECT w.id, d.patient_id FROM lesions_diagnosisversion w JOIN lesions_diagnosis d ON d.id = w.diagnosis_id
            WHERE w.corrected AND d.struck_at IS NULL""",
        duty_of("read", "lesions.diagnosisversion"),
    ),
    "tell_what_was_read": (
        _("a report that was read, to be told"),
        step_said("read", "read"),
        duty_of("tell", "clinic.step"),
    ),
    "complete": (
        _("a diagnosis that is not complete"),
        f"SELECT d.id, d.patient_id FROM lesions_diagnosis d WHERE d.struck_at IS NULL AND ({_INCOMPLETE})",
        f"""EXISTS (SELECT 1 FROM clinic_duty d WHERE d.kind = 'complete' AND {_OF_DIAGNOSIS}
            AND (d.ended_at IS NULL OR d.ground <> ''))""",
    ),
    "agree": (
        _("a benign report of what looked otherwise"),
        f"""SELECT d.id, d.patient_id, d.lesion_id FROM lesions_diagnosis d
            JOIN lesions_diagnosisversion w ON w.diagnosis_id = d.id
            AND NOT EXISTS (SELECT 1 FROM lesions_diagnosisversion b WHERE b.diagnosis_id = d.id AND b.id < w.id)
            WHERE d.code = 'benign' AND d.struck_at IS NULL AND {_LOOKED_OTHERWISE}""",
        f"""EXISTS (SELECT 1 FROM clinic_duty d WHERE (d.kind = 'agree'
                AND d.subject = {of_row("lesion", "f.lesion_id")})
            OR (d.kind = 'read' AND d.ended_at IS NULL AND {_OF_DIAGNOSIS}))""",
    ),
    "they_disagree": (
        _("picture and report that do not agree"),
        step_said("disagree", "agree"),
        duty_of("decide_what_follows", "clinic.step"),
    ),
    "referrer_is_silent": (
        _("a referrer who does not answer"),
        step_said("no_answer", "ask_referrer"),
        duty_of("decide_what_follows", "clinic.step"),
    ),
    "second_reading": (
        _("a second reading that was asked for"),
        f"""SELECT s.id, l.patient_id, l.id AS lesion_id FROM lesions_signoff s
            JOIN lesions_lesion l ON l.id = s.lesion_id
            WHERE s.decision = 'second_reading' AND {_STANDS.format("s")}""",
        f"""({_WAITS} OR EXISTS (SELECT 1 FROM lesions_signoff t WHERE t.lesion_id = f.lesion_id AND t.id > f.id
            AND {_STANDS.format("t")}))""",
    ),
}

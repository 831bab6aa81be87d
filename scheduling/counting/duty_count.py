"""Count what is owed, kind by kind in plain SQL, beside what the lists hold: a difference is an alarm with names.

It shares no code with the ledger of duties, the lists, the plans or the core (docs/domain.md, "What is owed").
Facts open some duties (`duty_facts.py`, `report_facts.py`, `desk_facts.py`), the stored plan opens others; that
nothing was deleted or ended without a word is held against the audit trail.
"""

import re
import tomllib
from dataclasses import dataclass
from importlib.resources import files
from typing import Any, Final

from django.conf import settings
from django.db import connection
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from clinic import clock
from scheduling.counting.desk_facts import NAMELESS, OF_THE_DESK
from scheduling.counting.duty_facts import CLINICAL, OPEN_RECALL, of_row
from scheduling.counting.report_facts import OF_REPORTS

FACTS: Final = {**CLINICAL, **OF_REPORTS, **OF_THE_DESK}


@dataclass(frozen=True)
class KindCount:
    """`owed` by the facts, `held` by the owning list; `lost` names the patients of what no list holds.

    `strangers`: who is lost and has no record here, such as a caller nobody could find.
    """

    code: str
    words: Any
    owed: int
    held: int
    lost: tuple[int, ...]
    strangers: tuple[str, ...] = ()


# What a stored plan lists under a heading, by a field of each entry and its subject.
_OF_PLAN: Final = {
    "sqlite": """SELECT q.id, q.patient_id, json_extract(j.value, '$.{field}') AS {field},
        json_extract(j.value, '$.subject') AS subject
        FROM scheduling_plan q, json_each(q.result, '$.{heading}') j""",
    "postgresql": """SELECT q.id, q.patient_id, j.value ->> '{field}' AS {field}, j.value ->> 'subject' AS subject
        FROM scheduling_plan q, jsonb_array_elements(q.result -> '{heading}') j(value)""",
}
_CURRENT: Final = """EXISTS (SELECT 1 FROM clinic_patient p WHERE p.id = g.patient_id
    AND p.merged_into_id IS NULL AND EXISTS (SELECT 1 FROM scheduling_plan x
        WHERE x.patient_id = p.id AND x.facts_revision = p.facts_revision))"""
_IN_RECALLS: Final = f"""EXISTS (SELECT 1 FROM scheduling_recall r WHERE r.patient_id = f.patient_id
    AND r.purpose = f.purpose AND r.subject = f.subject AND {OPEN_RECALL})"""
# A lesion's question is asked where its picture waits for a decision, or is being measured: not twice.
_BEFORE_A_DERMATOLOGIST: Final = """(f.code IN ('what_follows', 'watched_without_plan') AND EXISTS (
    SELECT 1 FROM lesions_lesion l WHERE 'lesion:' || CAST(l.id AS TEXT) = f.subject
    AND (EXISTS (SELECT 1 FROM lesions_review v WHERE v.lesion_id = l.id AND v.state = 'waiting')
        OR EXISTS (SELECT 1 FROM lesions_assessment a JOIN lesions_image i ON i.id = a.image_id
            WHERE i.lesion_id = l.id AND a.state IN ('queued', 'running')))))"""
_IN_PROBLEMS: Final = f"""(EXISTS (SELECT 1 FROM scheduling_planproblem b WHERE b.patient_id = f.patient_id
    AND b.code = f.code AND b.subject = f.subject AND b.gone_on IS NULL) OR {_BEFORE_A_DERMATOLOGIST})"""

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
    "pair.find": (_("two records that may be of one person"), "clinic.likelypair", "clinic_likelypair"),
    "patient.photo_consent": (_("an answer to photographs"), "clinic.photoconsent", "clinic_photoconsent"),
    "lesion.add": (_("a lesion"), "lesions.lesion", "lesions_lesion"),
    "image.add": (_("a picture"), "lesions.image", "lesions_image"),
    "image.refuse": (_("a file that could not be taken"), "lesions.refusedupload", "lesions_refusedupload"),
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


_PLANNED: Final = _("what the plan asks for")
_ASKED: Final = _("a question of the plan")
_NOTED: Final = _("recorded, and still on file: a noted sign")


def words_of(code: str) -> Any:
    """What the counts of this code are of."""
    ended = {f"ended_{name}": _ended_words(row[0]) for name, row in ENDED.items()}
    recorded = {f"deleted_{row[2]}": _deleted_words(row[0]) for row in RECORDED.values()}
    owed = {name: row[0] for name, row in (FACTS | NAMELESS).items()}
    others = {"recall": _PLANNED, "what_follows": _ASKED, "deleted_lesions_urgentsign": _NOTED}
    return {**owed, **ended, **recorded, **others}[code]


def _ended_words(words: Any) -> Any:
    return format_lazy("{}: {}", words, _("the trail says how"))


def _deleted_words(words: Any) -> Any:
    return format_lazy("{}: {}", _("recorded, and still on file"), words)


def count_duties() -> list[KindCount]:
    """Count every kind: what is owed, what the lists hold, and who is lost between the two."""
    return [
        *(_compared(code, *row) for code, row in FACTS.items()),
        *(_nameless(code, *row) for code, row in NAMELESS.items()),
        _by_plan("recall", _PLANNED, ("due", "purpose"), _IN_RECALLS),
        _by_plan("what_follows", _ASKED, ("problems", "code"), _IN_PROBLEMS),
        *(_without_a_word(code, *row) for code, row in ENDED.items()),
        _signs(),
        *(_deleted(action, *row) for action, row in RECORDED.items()),
    ]


def lost_now() -> list[KindCount]:
    """Only the kinds of which something is lost."""
    return [row for row in count_duties() if row.lost or row.strangers]


def _nameless(code: str, words: Any, facts: str, held: str) -> KindCount:
    rows = _rows(f"SELECT f.who, CASE WHEN {held} THEN 1 ELSE 0 END FROM ({facts}) f ORDER BY f.id")
    lost = tuple(who for who, is_held in rows if not is_held)
    return KindCount(code, words, len(rows), len(rows) - len(lost), (), lost)


def _by_plan(code: str, words: Any, where: tuple[str, str], held: str) -> KindCount:
    heading, field = where
    listed = _OF_PLAN[connection.vendor].format(heading=heading, field=field)
    return _compared(code, words, f"SELECT * FROM ({listed}) g WHERE {_CURRENT}", held)


def _compared(code: str, words: Any, facts: str, held: str) -> KindCount:
    rows = _rows(
        f"SELECT f.patient_id, CASE WHEN {held} THEN 1 ELSE 0 END FROM ({facts}) f ORDER BY f.patient_id"
    )
    lost = [patient for patient, is_held in rows if not is_held]
    return KindCount(code, words, len(rows), len(rows) - len(lost), tuple(dict.fromkeys(lost)))


def _without_a_word(code: str, words: Any, table: str, ended: str, label: str) -> KindCount:
    """Find ended rows of which the audit trail does not say how they ended."""
    facts = f"SELECT x.id, x.patient_id FROM {table} x WHERE {ended} AND x.patient_id IS NOT NULL"
    known = f"""EXISTS (SELECT 1 FROM clinic_auditrecord a WHERE a.subject = {of_row(label, "f.id")}
        AND a.action IN {_ACTIONS_OF_AN_END[code]})"""
    return _compared(f"ended_{code}", _ended_words(words), facts, known)


def _deleted(action: str, words: Any, label: str, table: str) -> KindCount:
    """Find audit records whose row is gone."""
    facts = f"""SELECT a.patient_id, CAST(SUBSTR(a.subject, {len(label) + 2}) AS INTEGER) AS id
        FROM clinic_auditrecord a WHERE a.action = '{action}' AND a.patient_id IS NOT NULL"""
    there = f"EXISTS (SELECT 1 FROM {table} t WHERE t.id = f.id)"
    return _compared(f"deleted_{table}", _deleted_words(words), facts, there)


def _signs() -> KindCount:
    said = _rows("SELECT COUNT(*) FROM clinic_auditrecord WHERE action = 'lesion.sign'")[0][0]
    lost = [row[0] for row in _rows(_SIGNS)]
    return KindCount("deleted_lesions_urgentsign", _NOTED, said, said - len(lost), tuple(lost))


def _local_day(found: re.Match[str]) -> str:
    """The day of a moment where the clinic is, as this database says it."""
    moment, zone = found.group(1), settings.TIME_ZONE
    if connection.vendor == "sqlite":
        return f"django_datetime_cast_date({moment}, '{zone}', 'UTC')"
    return f"CAST({moment} AT TIME ZONE '{zone}' AS DATE)"


def _attempts(found: re.Match[str]) -> str:
    """How many attempts the ladder has, read from its text by ourselves."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT toml FROM clinic_policy WHERE kind = 'ladder' AND state = 'in_force'")
        row = cursor.fetchone()
    text = row[0] if row else files("scheduling.planning").joinpath("ladder.toml").read_text(encoding="utf-8")
    by_urgency = tomllib.loads(text)["urgency"]
    cases = " ".join(f"WHEN '{code}' THEN {len(by_urgency[code]['routes'])}" for code in "ABC")
    return f"CASE {found.group(1)} {cases} END"


def _rows(sql: str) -> list[tuple[Any, ...]]:
    sql = re.sub(r"ATTEMPTS\(([\w.]+)\)", _attempts, sql)
    # Written into the text: some conditions hold LIKE with a per cent sign, which parameters would take for theirs.
    sql = sql.replace("THE_MOMENT", f"'{connection.ops.adapt_datetimefield_value(clock.now())}'")
    sql = sql.replace("THE_DAY", f"'{connection.ops.adapt_datefield_value(clock.today())}'")
    with connection.cursor() as cursor:
        cursor.execute(re.sub(r"LOCAL_DAY\(([\w.]+)\)", _local_day, sql))
        return list(cursor.fetchall())

"""Count where everybody is, in plain SQL. It shares no code with the lists, the recalls or the core.

Every record not merged away stands in the first place that applies (docs/domain.md, "Where everybody is").
"""

import re
from calendar import monthrange
from dataclasses import asdict, dataclass
from datetime import date, datetime, time
from typing import Any

from django.db import connection, transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from clinic import clock
from clinic.trail import audit
from clinic.wording import Words
from scheduling.counting import duty_count, unchecked
from scheduling.models import FailsafeRun

# Clinic setting, no source.
MONTHS_WITHOUT_CHECK = 12

_NO_PLAN = """NOT EXISTS (SELECT 1 FROM scheduling_plan x WHERE x.patient_id = p.id
        AND x.facts_revision = p.facts_revision)"""
_OPEN = "r.patient_id = p.id AND r.state IN ('planned', 'due', 'booked')"


def _ended(kind: str, subject: str) -> str:
    """Write the condition that a duty of this kind about this ended with a word, and none is open again."""
    return f"""(EXISTS (SELECT 1 FROM clinic_duty t WHERE t.kind = '{kind}' AND t.subject = {subject}
            AND t.ended_at IS NOT NULL)
        AND NOT EXISTS (SELECT 1 FROM clinic_duty t WHERE t.kind IN ('{kind}', 'read') AND t.subject = {subject}
            AND t.ended_at IS NULL))"""


# Not told, and nobody has said that it cannot be.
_UNTOLD = "d.struck_at IS NULL AND d.told_on IS NULL AND NOT " + _ended(
    "tell", "'diagnosis:' || CAST(d.id AS TEXT)"
)
_REPORT_ENDED = _ended("report", "'procedure:' || CAST(s.id AS TEXT)")

# name → (words on the page, condition on clinic_patient p); the order is that of docs/domain.md.
PLACES: dict[str, tuple[Words, str]] = {
    "ended": (_("ended, with a ground"), "p.status <> 'active'"),
    "problem": (
        _("problem: a person must answer"),
        f"""({_NO_PLAN} OR EXISTS (SELECT 1 FROM scheduling_planproblem q
        WHERE q.patient_id = p.id AND q.gone_on IS NULL))""",
    ),
    "overdue": (
        _("overdue"),
        f"EXISTS (SELECT 1 FROM scheduling_recall r WHERE {_OPEN} AND r.latest < %(day)s)",
    ),
    "no_outcome": (
        _("past appointment without outcome"),
        """EXISTS (SELECT 1 FROM scheduling_appointment a
        WHERE a.patient_id = p.id AND a.state = 'booked' AND a.starts_at < %(moment)s)""",
    ),
    "clinician": (
        _("waiting for a clinician"),
        f"""(EXISTS (SELECT 1 FROM lesions_review v JOIN lesions_lesion l ON l.id = v.lesion_id
            WHERE l.patient_id = p.id AND v.state = 'waiting')
        OR EXISTS (SELECT 1 FROM lesions_assessment a JOIN lesions_image i ON i.id = a.image_id
            JOIN lesions_lesion l ON l.id = i.lesion_id WHERE l.patient_id = p.id AND a.state IN ('queued', 'running'))
        OR EXISTS (SELECT 1 FROM lesions_lesion l WHERE l.patient_id = p.id AND l.state = 'biopsy_decided')
        OR EXISTS (SELECT 1 FROM lesions_diagnosis d WHERE d.patient_id = p.id AND {_UNTOLD})
        OR EXISTS (SELECT 1 FROM scheduling_recall r WHERE r.patient_id = p.id
            AND r.state IN ('planned', 'due', 'booked') AND r.proposed_ground <> ''))""",
    ),
    "result": (
        _("waiting for a result"),
        f"""EXISTS (SELECT 1 FROM lesions_procedure s WHERE s.patient_id = p.id
        AND s.kind IN ('biopsy', 'excision') AND s.struck_at IS NULL
        AND NOT EXISTS (SELECT 1 FROM lesions_diagnosis d WHERE d.procedure_id = s.id AND d.struck_at IS NULL)
        AND NOT {_REPORT_ENDED})""",
    ),
    "open": (
        _("open recall, to be reached"),
        "EXISTS (SELECT 1 FROM scheduling_recall r WHERE r.patient_id = p.id AND r.state = 'due')",
    ),
    "appointment": (
        _("appointment to come"),
        """EXISTS (SELECT 1 FROM scheduling_appointment a
        WHERE a.patient_id = p.id AND a.state = 'booked' AND a.starts_at >= %(moment)s)""",
    ),
    "planned": (
        _("planned, not yet due"),
        "EXISTS (SELECT 1 FROM scheduling_recall r WHERE r.patient_id = p.id AND r.state = 'planned')",
    ),
}
NOWHERE = "nowhere"
WORDS = {name: words for name, (words, _sql) in PLACES.items()} | {
    NOWHERE: _("nowhere: no duty and no end on record")
}

_LIVE = "p.merged_into_id IS NULL AND p.status = 'active'"
# From facts alone, whatever the plan says.
ALARMS: dict[str, tuple[Words, str]] = {
    "no_check": (
        _("invasive melanoma and no completed full skin check for 12 months"),
        f"""{_LIVE} AND EXISTS (SELECT 1 FROM lesions_diagnosis d WHERE d.patient_id = p.id
            AND d.code = 'melanoma' AND d.struck_at IS NULL AND COALESCE(d.anchor, d.reported_on) < %(year_ago)s)
        AND NOT EXISTS (SELECT 1 FROM clinic_doneitem i JOIN clinic_visit v ON v.id = i.visit_id
            WHERE v.patient_id = p.id AND i.purpose = 'full_skin_check' AND v.attended_on >= %(year_ago)s)""",
    ),
    "not_told": (
        _("malignant result, and the patient has not been told"),
        f"""p.merged_into_id IS NULL AND EXISTS (SELECT 1 FROM lesions_diagnosis d
            WHERE d.patient_id = p.id AND {_UNTOLD} AND d.code IN
            ('melanoma', 'melanoma_in_situ', 'scc', 'scc_in_situ', 'bcc', 'other_malignant'))""",
    ),
}
# The third alarm, and those for whom a person or a rule ended the checks: counted, and no alarm.
_OTHERS: dict[str, Words] = {
    "no_open_check": _("melanoma, or a risk tier of high and above, and no open full skin check"),
    "checks_ended": _(
        "melanoma or a high risk tier: the full skin checks ended by the rule or by a discharge"
    ),
}
# What is found under a record that was merged away is under nobody's eyes. Numbers that both records had stay there.
_LEFT = (
    "clinic_visit", "clinic_riskassessment", "clinic_duty", "clinic_proposal", "clinic_careend", "clinic_carer",
    "lesions_lesion", "lesions_procedure", "lesions_diagnosis", "lesions_examination", "lesions_urgentsign",
    "scheduling_recall", "scheduling_appointment", "scheduling_override", "scheduling_seriesend", "scheduling_call",
)  # fmt: skip
_ORPHANS = f"""p.merged_into_id IS NOT NULL AND (
        EXISTS (SELECT 1 FROM clinic_patient k WHERE k.id = p.merged_into_id AND k.merged_into_id IS NOT NULL)
        OR EXISTS (SELECT 1 FROM clinic_contactroute c WHERE c.patient_id = p.id AND NOT EXISTS (
            SELECT 1 FROM clinic_contactroute d WHERE d.patient_id = p.merged_into_id
            AND d.kind = c.kind AND d.value = c.value))
        {" ".join(f"OR EXISTS (SELECT 1 FROM {table} x WHERE x.patient_id = p.id)" for table in _LEFT)})"""
# What may never be, and would hide behind another duty of the same patient. While facts are newer than the
# plan, a visit has just been recorded and the plan follows: that patient stands under "problem" meanwhile.
FAULTS: dict[str, tuple[Words, str]] = {
    "booked_for_nothing": (
        _("a recall is called booked and has no open appointment"),
        f"""p.merged_into_id IS NULL AND NOT {_NO_PLAN}
        AND EXISTS (SELECT 1 FROM scheduling_recall r WHERE r.patient_id = p.id AND r.state = 'booked'
            AND NOT EXISTS (SELECT 1 FROM scheduling_appointment_recalls j
                JOIN scheduling_appointment a ON a.id = j.appointment_id
                WHERE j.recall_id = r.id AND a.state = 'booked'))""",
    ),
    "left_on_merged": (_("something was left on a record that was merged into another"), _ORPHANS),
}


_SAID = {code: words for code, (words, _sql) in (ALARMS | FAULTS).items()} | _OTHERS
_NAMED = re.compile(r"%\((\w+)\)s")
_LOST = "lost_"  # before the code of a kind of duty that no list holds


@dataclass(frozen=True)
class Alarm:
    code: str
    patients: tuple[int, ...]
    strangers: tuple[str, ...] = ()  # whom a list lost and who has no record here

    @property
    def words(self) -> str:
        """What it says of them, in the reader's language: a kept count holds only the code."""
        kind = self.code.removeprefix(_LOST)
        if kind != self.code:
            said = {"kind": duty_count.words_of(kind), "who": "; ".join(self.strangers)}
            with_names = gettext("%(kind)s: held by no list (%(who)s)")
            return (with_names if self.strangers else gettext("%(kind)s: held by no list")) % said
        return str(_SAID[self.code])


@dataclass(frozen=True)
class Count:
    """One count: `counts` has every place in order, `alarms` and `faults` only those that name somebody.

    `checks_ended` is a line of its own: no open full skin check, for a reason that is on record.
    """

    moment: datetime
    records: int
    counts: dict[str, int]
    alarms: tuple[Alarm, ...]
    faults: tuple[Alarm, ...]
    checks_ended: Alarm

    @property
    def total(self) -> int:
        return sum(self.counts.values())

    @property
    def holds(self) -> bool:
        """Say whether nobody is lost: the places add up to the records, and everybody stands in one."""
        return self.total == self.records and not self.counts[NOWHERE] and not self.faults


def count_now() -> Count:
    """Count everybody as it is now."""
    return _count(clock.now(), clock.today())


@transaction.atomic
def count_everybody(day: date) -> FailsafeRun:
    """Make the count of a local day, kept under its date with the time it ran and what it counted."""
    # As of midnight, whenever the chore comes to run: this morning's appointments do not yet lack an outcome.
    local_midnight = timezone.make_aware(datetime.combine(day, time()))
    found = _count(local_midnight, day)
    lost = duty_count.lost_now()
    fields = {
        "ran_at": clock.now(),
        "records": found.records,
        "counts": found.counts,
        "alarms": [*(asdict(alarm) for alarm in (*found.alarms, *found.faults)), *map(_as_alarm, lost)],
        "checks_ended": list(found.checks_ended.patients),
        "holds": found.holds and not lost,
    }
    run, _made = FailsafeRun.objects.update_or_create(day=day, defaults=fields)
    audit.record("failsafe.count", by=None, subject=run, records=found.records, holds=run.holds)
    return run


def counts_made() -> QuerySet[FailsafeRun]:
    """List the counts up to this day, the last first."""
    return FailsafeRun.objects.filter(day__lte=clock.today())


def last_count() -> FailsafeRun | None:
    """Find the last count made by now; one dated after now comes from a clock that ran ahead, and is none."""
    return counts_made().filter(ran_at__lte=clock.now()).first()


@dataclass(frozen=True)
class MorningCount:
    """The count of a local day as it was made."""

    day: date
    count: Count


def last_of(counts: QuerySet[FailsafeRun]) -> MorningCount | None:
    run = counts.first()
    return MorningCount(run.day, as_kept(run)) if run else None


def as_kept(run: FailsafeRun) -> Count:
    """Give a kept count as it was made, its places in order; what a list had lost stands among the faults."""
    kept = [Alarm(row["code"], tuple(row["patients"]), tuple(row["strangers"])) for row in run.alarms]
    faults = tuple(row for row in kept if row.code in FAULTS or row.code.startswith(_LOST))
    alarms = tuple(row for row in kept if row not in faults)
    counts = {place: run.counts.get(place, 0) for place in WORDS}
    ended = Alarm("checks_ended", tuple(run.checks_ended))
    return Count(run.ran_at, run.records, counts, alarms, faults, ended)


def _as_alarm(row: duty_count.KindCount) -> dict[str, Any]:
    return asdict(Alarm(f"{_LOST}{row.code}", row.lost, row.strangers))


def patients_in(place: str) -> list[int]:
    """Find exactly those whom the count has in this place now."""
    sql, parameters = select_in(place)
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        return [key for (key,) in cursor.fetchall()]


def number_in(place: str) -> int:
    """Count them without asking for each key whether it is among the keys."""
    sql, parameters = select_in(place, "COUNT(*)")
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        return int(cursor.fetchone()[0])


def select_in(place: str, column: str = "p.id") -> tuple[str, list[Any]]:
    """Give the question for the keys of one place, so that a page of them can be cut in the database."""
    # The places before it too: the first that applies counts, or a patient would stand on two lists.
    names = list(WORDS)
    conditions = [f"NOT ({PLACES[name][1]})" for name in names[: names.index(place)]]
    conditions += [PLACES[place][1]] if place in PLACES else []
    sql = " AND ".join(["p.merged_into_id IS NULL", *conditions])
    parameters = _parameters(clock.now(), clock.today())
    # By position: it becomes part of a larger question, where Django takes no names.
    used = [parameters[name] for name in _NAMED.findall(sql)]
    return f"SELECT {column} FROM clinic_patient p WHERE {_NAMED.sub('%s', sql)}", used


def overdue_now() -> set[int]:
    """Find everybody active with an overdue duty, also those who count under an earlier place."""
    _words, condition = PLACES["overdue"]
    return set(_keys(f"{_LIVE} AND {condition}", clock.now(), clock.today()))


def _count(moment: datetime, day: date) -> Count:
    counts = dict.fromkeys((*PLACES, NOWHERE), 0)
    for _key, place in _where_everybody_is(moment, day):
        counts[place] += 1
    records = _rows("SELECT COUNT(*) FROM clinic_patient WHERE merged_into_id IS NULL", {})[0][0]
    without = unchecked.find()
    lost = Alarm("no_open_check", without.lost)
    alarms = (*_named(ALARMS, moment, day), *([lost] if lost.patients else []))
    ended = Alarm("checks_ended", without.ended)
    return Count(moment, records, counts, alarms, _named(FAULTS, moment, day), ended)


def _named(table: dict[str, tuple[Words, str]], moment: datetime, day: date) -> tuple[Alarm, ...]:
    found = [Alarm(code, tuple(_keys(sql, moment, day))) for code, (_words, sql) in table.items()]
    return tuple(alarm for alarm in found if alarm.patients)


def _where_everybody_is(moment: datetime, day: date) -> list[tuple[int, str]]:
    whens = " ".join(f"WHEN {condition} THEN '{name}'" for name, (_words, condition) in PLACES.items())
    sql = f"""SELECT p.id, CASE {whens} ELSE '{NOWHERE}' END
        FROM clinic_patient p WHERE p.merged_into_id IS NULL ORDER BY p.id"""
    return [(key, place) for key, place in _rows(sql, _parameters(moment, day))]


def _keys(condition: str, moment: datetime, day: date) -> list[int]:
    sql = f"SELECT p.id FROM clinic_patient p WHERE {condition} ORDER BY p.id"
    return [row[0] for row in _rows(sql, _parameters(moment, day))]


def _parameters(moment: datetime, day: date) -> dict[str, Any]:
    """Give days and moments as each database wants them."""
    ops = connection.ops
    return {
        "day": ops.adapt_datefield_value(day),
        "moment": ops.adapt_datetimefield_value(moment),
        "year_ago": ops.adapt_datefield_value(_months_before(day, MONTHS_WITHOUT_CHECK)),
    }


def _months_before(day: date, months: int) -> date:
    year, month = divmod(day.year * 12 + day.month - 1 - months, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def _rows(sql: str, parameters: dict[str, Any]) -> list[tuple[Any, ...]]:
    used = {name: value for name, value in parameters.items() if f"%({name})s" in sql}
    with connection.cursor() as cursor:
        cursor.execute(sql, used)
        return list(cursor.fetchall())

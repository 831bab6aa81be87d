"""Find a melanoma, or a tier of high and above, without an open full skin check (docs/domain.md, 11).

From the fact tables alone, by plain SQL and arithmetic of its own: the plan is not asked, the core is not called.
"""

import json
import re
import tomllib
from calendar import monthrange
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db import connection

_UNCHECKED = """p.merged_into_id IS NULL AND p.status = 'active'
    AND NOT EXISTS (SELECT 1 FROM scheduling_recall r WHERE r.patient_id = p.id
        AND r.purpose = 'full_skin_check' AND r.state IN ('planned', 'due', 'booked'))"""
# Why somebody must be seen: each melanoma by its own name, and the last assessment where its tier is high.
_CAUSES = f"""(
    SELECT p.id AS patient, 'diagnosis:' || CAST(d.id AS VARCHAR(20)) AS source, d.reported_on AS since
    FROM clinic_patient p JOIN lesions_diagnosis d ON d.patient_id = p.id
    WHERE d.code = 'melanoma' AND d.struck_at IS NULL AND {_UNCHECKED}
    UNION ALL
    SELECT p.id, 'patient', t.assessed_on
    FROM clinic_patient p JOIN clinic_riskassessment t ON t.patient_id = p.id
    WHERE t.tier IN ('high', 'very_high') AND {_UNCHECKED} AND NOT EXISTS (
        SELECT 1 FROM clinic_riskassessment n WHERE n.patient_id = p.id
        AND (n.assessed_on > t.assessed_on OR (n.assessed_on = t.assessed_on AND n.id > t.id))))"""
_DISCHARGED = """(EXISTS (SELECT 1 FROM scheduling_seriesend e WHERE e.patient_id = c.patient
        AND e.purpose = 'full_skin_check' AND e."of" = c.source AND e.ended_on >= c.since)
    OR EXISTS (SELECT 1 FROM scheduling_recall r WHERE r.patient_id = c.patient
        AND r.purpose = 'full_skin_check' AND r."of" = c.source AND r.state = 'closed'
        AND r.ground = 'discharge' AND r.closed_by_id IS NOT NULL AND r.ended_on >= c.since))"""
_FINISHED = f"""SELECT r.patient_id, r.policy_id, r.ended_on, r.reasons FROM scheduling_recall r
    WHERE r.purpose = 'full_skin_check' AND r.ended_on IS NOT NULL
    AND (r.state = 'completed' OR (r.state = 'closed' AND r.closed_by_id IS NOT NULL))
    AND r.patient_id IN (SELECT c.patient FROM {_CAUSES} c)"""
_LENGTH = re.compile(r"P(?:(\d+)Y)?(?:(\d+)M)?(?:(\d+)W)?(?:(\d+)D)?")

Cause = tuple[int, str]


@dataclass(frozen=True)
class Unchecked:
    """Who has no open check: `lost` where nobody ended the checks, `ended` where a rule's end or a discharge did."""

    lost: tuple[int, ...]
    ended: tuple[int, ...]


@dataclass(frozen=True)
class _Visit:
    """One finished visit of one rule's schedule."""

    policy: int
    rule: str
    number: int
    anchor: date
    ended_on: date


def find() -> Unchecked:
    """Find everybody active who has a cause and no open full skin check."""
    causes = _rows(f"SELECT c.patient, c.source, CASE WHEN {_DISCHARGED} THEN 1 ELSE 0 END FROM {_CAUSES} c")
    # Rule sets are read only if somebody is left to explain, as a rule on no morning at all.
    over = _at_their_stated_end() if any(not discharged for _, _, discharged in causes) else set()
    lost = {
        patient for patient, source, discharged in causes if not discharged and (patient, source) not in over
    }
    everybody = {patient for patient, _, _ in causes}
    return Unchecked(tuple(sorted(lost)), tuple(sorted(everybody - lost)))


def _at_their_stated_end() -> set[Cause]:
    visits: dict[Cause, list[_Visit]] = defaultdict(list)
    for patient, policy, ended_on, reasons in _rows(_FINISHED):
        for source, visit in _visits(policy, _day(ended_on), reasons):
            visits[patient, source].append(visit)
    rules = _rules({visit.policy for found in visits.values() for visit in found})
    return {cause for cause, found in visits.items() if any(_is_last(one, rules) for one in found)}


def _visits(policy: int, ended_on: date, reasons: Any) -> Iterator[tuple[str, _Visit]]:
    """List a visit once for every rule among its reasons."""
    for reason in json.loads(reasons) if isinstance(reasons, str) else reasons:
        if number := reason["params"].get("number"):
            anchor = date.fromisoformat(reason["anchor"])
            yield reason["of"], _Visit(policy, reason["rule"], number, anchor, ended_on)


def _rules(policies: set[int]) -> dict[tuple[int, str], dict[str, Any]]:
    """Read the rules as two people approved them, from their text."""
    found: dict[tuple[int, str], dict[str, Any]] = {}
    for key, text in _rows("SELECT id, toml FROM clinic_policy WHERE kind = 'rules'"):
        if key in policies:
            found |= {(key, rule["id"]): rule for rule in tomllib.loads(text)["rule"]}
    return found


def _is_last(visit: _Visit, rules: dict[tuple[int, str], dict[str, Any]]) -> bool:
    """Say whether the rule says "end" and this was its last visit, or one late enough to be the last as well."""
    rule = rules.get((visit.policy, visit.rule))
    if rule is None or rule["then"] != "end":
        return False
    last, months, days = _last_visit(rule["phases"])
    if rule["spacing"] == "anchored" and visit.number >= last:
        return True
    return visit.ended_on >= _months_after(visit.anchor, months) + timedelta(days=days)


def _last_visit(phases: list[dict[str, str]]) -> tuple[int, int, int]:
    """Count the visits, with the months and days after the anchor on which the last one opens."""
    number, months, days, early = 0, 0, 0, (0, 0)
    for phase in phases:
        step = _length(phase.get("target") or phase["every"].split("..")[0])
        # The hundredth is for fractions that binary numbers miss: two years hold eight quarters, never 7.9999.
        times = 1 if phase["for"] == "once" else int(_about(_length(phase["for"])) / _about(step) + 0.01)
        number += times
        months, days = months + times * step[0], days + times * step[1]
        early = _length(phase.get("early", "P0D"))
    return number, months - early[0], days - early[1]


def _length(text: str) -> tuple[int, int]:
    """Read months and days of an ISO 8601 duration."""
    found = _LENGTH.fullmatch(text)
    years, months, weeks, days = (int(part or 0) for part in found.groups()) if found else (0, 0, 0, 0)
    return years * 12 + months, weeks * 7 + days


def _about(length: tuple[int, int]) -> float:
    # The mean month of the Gregorian year (365.25 / 12): good enough to count how often an interval fits.
    return length[0] * 30.4375 + length[1]


def _months_after(day: date, months: int) -> date:
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def _day(value: Any) -> date:
    """Read a day from plain SQL: SQLite keeps days as text and gives them so."""
    return date.fromisoformat(value) if isinstance(value, str) else value


def _rows(sql: str) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(sql)
        return list(cursor.fetchall())

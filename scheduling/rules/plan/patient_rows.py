"""Plan the duties that no rule set plans: urgent signs and concerns, and what a full skin check left out."""

from __future__ import annotations

from collections.abc import Iterator

from scheduling.rules import dates
from scheduling.rules.facts.facts import Facts, UrgentSign
from scheduling.rules.plan.messages import params
from scheduling.rules.plan.plan import Due, Reason
from scheduling.rules.plan.series_finder import CHECK, unanswered

URGENT_RULE, REST_RULE = "urgent-sign", "rest-of-skin-check"
URGENT_SOURCE = (
    "Optimal care pathway for people with melanoma, 2nd ed., section 2.1 (elevated, firm, growing); "
    "latest day: 2 weeks, NICE NG12"
)
REST_SOURCE = "clinic setting, no source"
_URGENT_WITHIN = dates.Duration(days=14)
_REST_WITHIN = dates.Duration(days=28)


def urgent_rows(facts: Facts) -> Iterator[Due]:
    """Plan an examination in person for each lesion with an open urgent sign, and for open concerns."""
    closed = {row.of for row in facts.closed if row.rule == URGENT_RULE}
    for lesion in facts.lesions:
        if not lesion.urgent:
            continue
        signs = [sign for sign in unanswered(lesion) if f"sign:{sign.id}" not in closed]
        if signs:
            yield _urgent(f"lesion:{lesion.id}", signs, "urgent_sign", "sign")
    concerns = [one for one in facts.patient.concerns if one.answered_on is None]
    concerns = [one for one in concerns if f"concern:{one.id}" not in closed]
    if concerns:
        yield _urgent("patient", sorted(concerns, key=lambda one: (one.on, one.id)), "concern", "concern")


def _urgent(subject: str, signs: list[UrgentSign], code: str, kind: str) -> Due:
    first = signs[0]
    words = ",".join(dict.fromkeys(sign.sign for sign in signs))
    of, said = f"{kind}:{first.id}", params(day=str(first.on), signs=words)
    return Due(
        purpose="lesion_examination",
        subject=subject,
        rule=URGENT_RULE,
        of=of,
        anchor=first.on,
        number=1,
        earliest=first.on,
        target=first.on,
        latest=dates.add(first.on, _URGENT_WITHIN),
        urgency="A",
        reasons=(Reason(URGENT_RULE, of, code, said, URGENT_SOURCE, first.on),),
    )


def rest_of_skin(facts: Facts) -> Iterator[Due]:
    """Plan the rest of a skin check that left regions out; the check itself is completed."""
    if not any(item.not_seen for item in facts.done):
        return
    checks = [item for item in facts.done if item.purpose == CHECK]
    last = max(checks, key=lambda item: (item.on, not item.not_seen), default=None)
    rest = (item.on for item in facts.done if item.purpose == "rest_of_skin_check")
    closed = {row.anchor for row in facts.closed if row.rule == REST_RULE}
    if last is None or not last.not_seen or last.on in closed or any(day >= last.on for day in rest):
        return
    said = params(day=str(last.on), regions=",".join(last.not_seen))
    yield Due(
        purpose="rest_of_skin_check",
        subject="patient",
        rule=REST_RULE,
        of="patient",
        anchor=last.on,
        number=1,
        earliest=last.on,
        target=last.on,
        latest=dates.add(last.on, _REST_WITHIN),
        urgency="B",
        reasons=(Reason(REST_RULE, "patient", "rest_of_skin", said, REST_SOURCE, last.on),),
    )

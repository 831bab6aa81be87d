"""Every code that the core may answer with: the facts that call for it, and its whole sentence, read for its English.

Each table is the closed list: a code without its row here, and a row without its code, fails.
"""

import re
from datetime import date
from typing import get_args

import pytest

from scheduling.rules.facts import code_words as values
from scheduling.rules.facts import facts
from scheduling.rules.plan import messages
from tests.scheduling.rules.asking import DEFAULT, MELANOMA, plan, rule_set
from tests.scheduling.rules.build import sign
from tests.scheduling.rules.sets import joined, one_rule

TODAY = date(2024, 6, 1)
BY_STAGE = joined("cancer-council-australia")
RISK = {"tier": "very_high", "assessed_on": "2024-01-31"}
BCC = {"code": "bcc", "anchor": "2024-01-31"}
SCC = {"code": "scc", "anchor": "2024-01-31", "risk_class": {"scheme": "S3", "class": "low"}}
NAEVUS = {"code": "dysplastic_naevus", "anchor": "2024-01-31"}
STAGED = MELANOMA | {"invasive": True, "thickness": "0.5", "ulceration": False, "n": "N0", "m": "M0", "stage_basis": "pathological"}  # fmt: skip
LESION = {"id": "7", "monitoring": "short", "since": "2024-05-20"}
DECIDED = {"lesion": "7", "on": "2024-05-20"}
CUT = {"id": "4", "on": "2024-05-20"}
SEEN = {"on": "2024-03-01"}
OWN = {"id": "9", "interval": "P6M"}
OWN_DAY = {"id": "9", "date": "2024-07-01"}
PICTURE = {"purpose": "lesion_image", "subject": "lesion:7"}
SUTURES_OUT = {"id": "9", "purpose": "suture_removal", "subject": "procedure:4", "date": "2024-05-30"}
ONCE = '[{ every = "P1M", for = "once", early = "P5D", late = "P5D" }]'
SINGLE = rule_set(one_rule(id='"once"', phases=ONCE, then='"end"', notice=None))
OVER = rule_set(one_rule(id='"once"', phases=ONCE, then='"end"', notice=None), one_rule())
RENEWAL = {"purpose": "risk_assessment", "subject": "patient", "rule": "risk-renewal", "of": "patient", "anchor": "2024-01-31", "on": "2024-02-01", "ground": "discharge"}  # fmt: skip
ORDINARY = one_rule(then='"open"', notice=None, phases='[{ every = "P1Y", for = "open", early = "P60D", late = "P60D" }]')  # fmt: skip

# code: rule set, facts, the sentence that they give
HEADS = {
    "diagnosis": (
        DEFAULT,
        {"diagnoses": [BCC]},
        "Basal cell carcinoma excised 31 Jan 2024: visit 1, every year",
    ),
    "diagnosis_reported": (
        DEFAULT,
        {"diagnoses": [{"code": "bcc", "known_on": "2024-05-01"}]},
        "Basal cell carcinoma reported 1 May 2024: visit 1, every year (may apply: a fact is missing)",
    ),
    "risk": (
        DEFAULT,
        {"risk": RISK},
        "Risk tier very high since 31 Jan 2024: first full skin check, as none is on record within the tier's interval",
    ),
    "no_assessment": (DEFAULT, {"diagnoses": [BCC]}, "No risk assessment on record: now"),
    "lesion": (
        DEFAULT,
        {"lesions": [LESION]},
        "Short-term monitoring since 20 May 2024: once, after 2 months and 15 days to 4 months and 15 days",
    ),
    "look_again": (
        DEFAULT,
        {"lesions": [LESION], "decisions": [DECIDED | {"months": 1}]},
        "Decided 20 May 2024: look again in 1 month: once, after 1 month",
    ),
    "decision": (
        DEFAULT,
        {"lesions": [LESION], "decisions": [DECIDED | {"decision": "refer"}]},
        "Decided 20 May 2024: refer: once, after 2 weeks",
    ),
    "procedure": (DEFAULT, {"procedures": [CUT]}, "Excision of 20 May 2024: once, after 2 to 3 days"),
}
REASONS = {
    "visit": (
        DEFAULT,
        {"diagnoses": [MELANOMA]},
        "Melanoma excised 31 Jan 2024: visit 1 of 8, every 3 months for 2 years",
    ),
    "visit_without_end": (
        DEFAULT,
        {"diagnoses": [BCC]},
        "Basal cell carcinoma excised 31 Jan 2024: visit 1, every year",
    ),
    "once": (DEFAULT, {"lesions": [LESION]}, "No risk assessment on record: now"),
    "first_check": (
        DEFAULT,
        {"risk": RISK},
        "Risk tier very high since 31 Jan 2024: first full skin check, as none is on record within the tier's interval",
    ),
    "over": (
        OVER,
        {"diagnoses": [MELANOMA], "done": [SEEN]},
        "Melanoma excised 31 Jan 2024: its schedule is over",
    ),
    "replaced": (
        DEFAULT,
        {"diagnoses": [MELANOMA], "overrides": [OWN]},
        "Melanoma excised 31 Jan 2024: a clinician's own interval or day stands in its place",
    ),
    "urgent_sign": (
        DEFAULT,
        {
            "lesions": [
                LESION | {"urgent": [sign("raised", "2024-05-20"), sign("firm", "2024-05-21", id="2")]}
            ]
        },
        "Noted on 20 May 2024: raised, firm. No waiting for a later picture: examination in person.",
    ),
    "concern": (
        DEFAULT,
        {"concerns": [sign("bleeding", "2024-05-20")]},
        "Reported on 20 May 2024: bleeding. No lesion is named: examination in person.",
    ),
    "own_interval": (
        DEFAULT,
        {"overrides": [OWN]},
        "Dr A decided on 31 May 2024 every 6 months: a reason. It speaks for what was known on that day.",
    ),
    "own_interval_until": (
        DEFAULT,
        {"overrides": [OWN | {"until": "2026-01-01"}]},
        "Dr A decided on 31 May 2024 every 6 months until 1 Jan 2026: a reason. It speaks for what was known on that day.",
    ),
    "own_day": (
        DEFAULT,
        {"overrides": [OWN_DAY]},
        "Dr A decided on 31 May 2024 on 1 Jul 2024: a reason. It speaks for what was known on that day.",
    ),
    "rest_of_skin": (
        DEFAULT,
        {"done": [SEEN | {"not_seen": ["scalp", "genital"]}]},
        "Not seen on 1 Mar 2024: scalp, genital.",
    ),
}
PROBLEMS = {
    "no_rule": (
        DEFAULT,
        {
            "diagnoses": [
                {"code": "scc", "anchor": "2024-01-31", "risk_class": {"scheme": "BAD", "class": "very high"}}
            ]
        },
        "No rule of the set applies to squamous cell carcinoma of 31 Jan 2024 with risk class BAD very high.",
    ),
    "no_rule_sutures": (
        DEFAULT,
        {"procedures": [CUT | {"region": "genital"}]},
        "No rule of the set says when the sutures of the excision of 20 May 2024 come out at its site.",
    ),
    "no_rule_grade": (
        DEFAULT,
        {"diagnoses": [NAEVUS | {"grade": "severe"}]},
        "No published interval is known for a severely dysplastic naevus (dysplastic naevus of 31 Jan 2024); the checks of the tier go on. Re-excision: your decision (from memory, to be confirmed).",
    ),
    "no_rule_transplant": (
        DEFAULT,
        {"risk": RISK | {"transplant": True}},
        "No published interval is known for the skin checks after a transplant; the checks of the tier go on.",
    ),
    "no_rule_several_scc": (
        DEFAULT,
        {"diagnoses": [SCC, SCC | {"id": "2"}]},
        "No published interval is known after 2 squamous cell carcinomas; the checks of each and of the tier go on.",
    ),
    "missing_fact": (
        joined("s3-germany"),
        {"diagnoses": [SCC | {"risk_class": None}]},
        "Which rule applies to squamous cell carcinoma of 31 Jan 2024 is not certain: a fact is missing. Until then the strictest that may apply is kept.",
    ),
    "grade_missing": (
        DEFAULT,
        {"diagnoses": [NAEVUS]},
        "The grade of the dysplastic naevus (dysplastic naevus of 31 Jan 2024) is not recorded.",
    ),
    "no_anchor": (
        DEFAULT,
        {"diagnoses": [{"code": "bcc", "known_on": "2024-05-01"}]},
        "Basal cell carcinoma of 1 May 2024 has no day of definitive excision; until it has, it is followed from 1 May 2024.",
    ),
    "no_anchor_lesion": (
        DEFAULT,
        {"lesions": [{"id": "7", "monitoring": "long"}]},
        "Long-term monitoring has no day from which it is watched.",
    ),
    "contradiction": (
        DEFAULT,
        {"diagnoses": [STAGED | {"invasive": False}]},
        "The diagnosis is melanoma, yet not invasive.",
    ),
    "stage_contradiction": (
        BY_STAGE,
        {"diagnoses": [STAGED | {"stage": "IIA", "m": None, "thickness": "0.9"}]},
        "Stage IIA is stated, but T1b, N0, M not stated gives IA or IV.",
    ),
    "cannot_stage": (
        BY_STAGE,
        {"diagnoses": [STAGED | {"ulceration": None, "thickness": "1.5"}]},
        "The stage cannot be worked out: ulceration is unknown. It may be IB or IIA.",
    ),
    "cannot_stage_stated": (
        BY_STAGE,
        {"diagnoses": [STAGED | {"n": None, "stage": "IA"}]},
        "The stage cannot be worked out: the lymph nodes are not stated. Stage IA is stated and used.",
    ),
    "stage_at_least": (
        BY_STAGE,
        {"diagnoses": [STAGED | {"thickness": ">=2.5"}]},
        "Stage IIA or higher: the thickness is a minimum, so the stage is a minimum. It is planned as the strictest of IIA or IIB.",
    ),
    "tier_contradicts_diagnosis": (
        DEFAULT,
        {"risk": RISK | {"tier": "average"}, "diagnoses": [MELANOMA]},
        "The risk tier is average, and melanoma of 31 Jan 2024 is on record: assess the risk again.",
    ),
    "risk_assessment_missing": (
        joined("nccn"),
        {"diagnoses": [BCC]},
        "There is no risk assessment on record, and no rule that asks for one.",
    ),
    "no_interval": (
        DEFAULT,
        {"lesions": [LESION], "decisions": [DECIDED]},
        "The decision of 20 May 2024 to look again says no number of months.",
    ),
    "unknown_lesion": (
        DEFAULT,
        {"decisions": [DECIDED]},
        "A decision to look again names lesion 7, which is not on record.",
    ),
    "unknown_subject": (
        DEFAULT,
        {"done": [PICTURE | SEEN]},
        "What was done names lesion:7, which is not on record.",
    ),
    "decision_against_state": (
        DEFAULT,
        {"lesions": [LESION | {"state": "biopsy_taken"}], "decisions": [DECIDED | {"decision": "excise"}]},
        "Excise was decided on 20 May 2024 and is not done, yet the lesion stands as biopsy taken.",
    ),
    "state_without_decision": (
        DEFAULT,
        {"lesions": [LESION | {"state": "biopsy_decided"}]},
        "The lesion stands as “biopsy decided”, and no decision says so.",
    ),
    "watched_without_plan": (
        DEFAULT,
        {"lesions": [{"id": "7"}]},
        "The lesion is watched, with neither a monitoring interval nor a decision.",
    ),
    "future_day": (
        DEFAULT,
        {"done": [{"on": "2024-06-02"}]},
        "What was done is dated 2 Jun 2024, which is to come: it counts for nothing yet.",
    ),
    "future_day_counts": (
        DEFAULT,
        {"diagnoses": [BCC | {"anchor": "2024-06-02"}]},
        "The excision is dated 2 Jun 2024, which is to come: it counts from today.",
    ),
    "sutures_unknown": (
        DEFAULT,
        {"procedures": [CUT | {"kind": "biopsy"}]},
        "Whether the biopsy of 20 May 2024 left sutures to remove is not recorded.",
    ),
    "sutures_site_unknown": (
        DEFAULT,
        {"procedures": [CUT]},
        "The site of the excision of 20 May 2024 is not recorded, so no rule says when its sutures come out.",
    ),
    "sutures_contradiction": (
        DEFAULT,
        {"procedures": [CUT | {"sutures": False}], "overrides": [SUTURES_OUT]},
        "A day is set for the sutures of the excision of 20 May 2024, and none were left: end the one or correct the other.",
    ),
    "override_contradiction": (
        DEFAULT,
        {"overrides": [OWN_DAY | {"until": "2024-06-20"}]},
        "The day set by Dr A, 1 Jul 2024, lies after its own end on 20 Jun 2024.",
    ),
    "own_interval_to_confirm": (
        DEFAULT,
        {"overrides": [OWN | {"decided_on": "2023-05-31"}]},
        "Dr A set every 6 months on 31 May 2023, without an end: does it still stand?",
    ),
    "what_follows": (
        DEFAULT,
        {"diagnoses": [MELANOMA | {"anchor": "2022-04-30"}]},
        "Invasive melanoma, melanoma excised 30 Apr 2022: the schedule ends on 30 Apr 2024; say what follows.",
    ),
    "what_follows_override": (
        SINGLE,
        {"diagnoses": [MELANOMA | {"anchor": "2024-05-20"}], "overrides": [OWN | {"until": "2024-09-30"}]},
        "Dr A decided on 31 May 2024 every 6 months until 30 Sep 2024: a reason. It speaks for what was known on that day. It stands in the place of the last planned day and names none: say what follows.",
    ),
    "visits_close_together": (
        rule_set(ORDINARY),
        {"diagnoses": [MELANOMA | {"anchor": "2022-01-31"}], "done": [{"on": "2023-10-30"}]},
        "Seen on 30 Oct 2023, next planned for 31 Jan 2024 by A rule: keep or move it?",
    ),
    "not_followed": (
        DEFAULT,
        {"status": "deceased", "diagnoses": [BCC]},
        "The patient has died; nothing is planned. Open until then: 2 due, 0 to decide.",
    ),
    "nothing_planned": (
        DEFAULT,
        {"risk": RISK | {"tier": "average"}, "closed": [RENEWAL]},
        "Nothing is planned and nothing is asked: say what follows, or end the care.",
    ),
}


def row_ids(table):
    return {"argvalues": list(table.items()), "ids": list(table)}


def reasons(rules, facts):
    return [reason for due in plan(rules, TODAY, **facts).due for reason in due.reasons]


@pytest.mark.parametrize("code, row", **row_ids(HEADS))
def test_what_a_series_comes_from_is_said(code, row):
    rules, facts, sentence = row
    said = {one.text for one in reasons(rules, facts) if dict(one.params).get("head") == code}
    assert sentence in said


@pytest.mark.parametrize("code, row", **row_ids(REASONS))
def test_each_reason_is_said(code, row):
    rules, facts, sentence = row
    assert sentence in {one.text for one in reasons(rules, facts) if one.code == code}


@pytest.mark.parametrize("code, row", **row_ids(PROBLEMS))
def test_each_problem_is_said(code, row):
    rules, facts, sentence = row
    found = plan(rules, TODAY, **facts).problems
    assert sentence in {one.text for one in found if dict(one.params).get("kind_of", one.code) == code}


@pytest.mark.parametrize(
    "tested, closed", [(HEADS, messages.HEADS), (REASONS, messages.REASONS), (PROBLEMS, messages.PROBLEMS)]
)
def test_every_code_of_the_closed_lists_has_its_row_and_its_sentence(tested, closed):
    assert set(tested) == set(closed)


def test_a_plan_is_the_object_of_the_interface():
    """interfaces.md: its keys, and those of each row, reason and problem."""
    whole = plan(DEFAULT, TODAY, risk=RISK, diagnoses=[NAEVUS]).to_json()
    assert set(whole) == {"schema", "ruleset", "today", "valid_until", "due", "problems"}
    assert (whole["schema"], whole["today"], set(whole["ruleset"])) == (
        2,
        "2024-06-01",
        {"name", "version", "sha256"},
    )
    due, problem = whole["due"][0], whole["problems"][0]
    days = {"anchor", "earliest", "target", "latest"}
    assert set(due) == {"purpose", "subject", "rule", "of", "number", "urgency", "reasons"} | days
    assert set(due["reasons"][0]) == {"rule", "of", "code", "params", "text", "source", "anchor"}
    assert set(problem) == {"code", "subject", "params", "text"}
    assert all(date.fromisoformat(due[name]) for name in days)


def test_a_first_check_is_asked_for_now():
    """The code of the schedule is stored with each recall, so it stays what it is."""
    (first,) = [one for one in reasons(DEFAULT, {"risk": RISK}) if one.code == "first_check"]
    assert dict(first.params)["schedule"] == "now"


# Words that are nobody's English of the core: a rule's title, how a clinic names a risk class, and what clinicians wrote.
DATA = {"title", "scheme", "risk_class", "by", "words"}


def said_by_all_cases():
    for table in (HEADS, REASONS, PROBLEMS):
        for rules, known, _ in table.values():
            answer = plan(rules, TODAY, **known)
            yield from answer.problems
            yield from (reason for due in answer.due for reason in due.reasons)


def test_parameters_hold_codes_and_values_and_no_words():
    """A sentence is made where it is read, in the reader's language: a blank in a parameter is a word that was made before."""
    english = [
        (one.code, name, value)
        for one in said_by_all_cases()
        for name, value in one.params
        if name not in DATA and isinstance(value, str) and not re.fullmatch(r"[A-Za-z0-9_.,:/>=-]*", value)
    ]
    assert english == []


@pytest.mark.parametrize("name", values.WORDS)
def test_every_code_of_a_parameter_has_its_words(name):
    """docs/interfaces.md: the closed lists of FACTS."""
    listed = {
        "diagnosis": facts.Code, "tier": facts.Tier, "monitoring": facts.Monitoring, "decision": facts.DecisionWord,
        "kind": facts.ProcedureKind, "state": facts.LesionState, "signs": facts.Sign, "regions": facts.Region,
    }  # fmt: skip
    assert all(values.WORDS[name].values())
    if name in listed:
        assert set(values.WORDS[name]) == set(get_args(listed[name]))


def test_no_code_is_left_unread_in_a_sentence():
    for one in said_by_all_cases():
        assert "_" not in one.text and not re.search(r"\d{4}-\d{2}-\d{2}|[a-z],[a-z]", one.text), one.text

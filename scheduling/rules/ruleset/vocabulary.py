"""The words a rule may use: purposes per anchor, facts per anchor, operators, flags."""

from __future__ import annotations

from typing import Literal, get_args

from scheduling.rules.facts import facts

Anchor = Literal["diagnosis", "risk", "lesion", "decision", "procedure"]

PURPOSES: tuple[str, ...] = get_args(facts.Purpose)
OPERATORS = ("is", "in", "not_in", "at_least", "below")
FLAGS = ("found", "found-2nd", "memory H", "memory M", "derived", "design")
SOURCELESS = ("clinic setting, no source", "common practice, no source")

ANCHORS: dict[str, tuple[str, ...]] = {
    "diagnosis": (
        "full_skin_check",
        "node_examination",
        "node_ultrasound",
        "sectional_imaging",
        "laboratory",
    ),
    "risk": ("full_skin_check", "risk_assessment"),
    "lesion": ("lesion_image", "lesion_examination"),
    "decision": ("lesion_image", "lesion_examination"),
    "procedure": ("result_visit", "wound_check", "suture_removal"),
}

# What a fact may be compared with: a closed list of words, yes or no, any word (str), millimetres (float).
FIELDS: dict[str, dict[str, tuple[str, ...] | type]] = {
    "diagnosis": {
        "code": get_args(facts.Code),
        "invasive": bool,
        "thickness": float,
        "ulceration": bool,
        "n": get_args(facts.Nodes),
        "m": get_args(facts.Metastasis),
        "stage": get_args(facts.Stage),
        "stage_basis": get_args(facts.Basis),
        "primary": get_args(facts.Primary),
        "grade": get_args(facts.Grade),
        "sentinel": get_args(facts.Sentinel),
        "deposit_mm": float,
        "nodes_cleared": bool,
        "risk_scheme": str,
        "risk_class": str,
    },
    "risk": {"tier": get_args(facts.Tier), "transplant": bool},
    "lesion": {"monitoring": get_args(facts.Monitoring), "site": str, "region": get_args(facts.Region)},
    "decision": {"decision": get_args(facts.DecisionWord), "site": str, "region": get_args(facts.Region)},
    "procedure": {"kind": get_args(facts.ProcedureKind), "site": str, "region": get_args(facts.Region)},
}

# The word that every fact of a kind has.
LEADING: dict[Anchor, str] = {
    "diagnosis": "code",
    "risk": "tier",
    "lesion": "monitoring",
    "decision": "decision",
    "procedure": "kind",
}

PURPOSE_WORDS = {
    "full_skin_check": "full skin check",
    "lesion_image": "picture of the lesion",
    "lesion_examination": "examination of the lesion in person",
    "rest_of_skin_check": "rest of the skin check",
    "result_visit": "visit for the result",
    "wound_check": "wound check",
    "suture_removal": "removal of sutures",
    "risk_assessment": "risk assessment",
    "node_examination": "lymph node examination",
    "node_ultrasound": "ultrasound of the lymph nodes",
    "sectional_imaging": "sectional imaging (CT, MRI or PET)",
    "laboratory": "laboratory test",
}

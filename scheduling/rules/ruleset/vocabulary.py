"""The words a rule may use: purposes per anchor, facts per anchor, operators, flags."""

from __future__ import annotations

from typing import Literal, get_args

from clinic.formats.language import gettext_noop
from scheduling.rules.facts import facts

Anchor = Literal["diagnosis", "risk", "lesion", "decision", "procedure"]

PURPOSES: tuple[str, ...] = get_args(facts.Purpose)
OPERATORS = ("is", "in", "not_in", "at_least", "below")
FLAGS = ("found", "found-2nd", "memory H", "memory M", "derived", "design")
SOURCELESS = (gettext_noop("clinic setting, no source"), gettext_noop("common practice, no source"))

# Codes of ISO 639-1 in which a set may give its texts again, as title_de beside title.
LANGUAGES = (
    "bg", "cs", "da", "de", "el", "en", "es", "et", "fi", "fr", "ga", "hr", "hu", "is", "it", "lt", "lv", "mt", "nb",
    "nl", "nn", "pl", "pt", "ro", "sk", "sl", "sv", "tr", "uk",
)  # fmt: skip
TEXTS = ("title", "source", "edition")

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
    "full_skin_check": gettext_noop("full skin check"),
    "lesion_image": gettext_noop("picture of the lesion"),
    "lesion_examination": gettext_noop("examination of the lesion in person"),
    "rest_of_skin_check": gettext_noop("rest of the skin check"),
    "result_visit": gettext_noop("visit for the result"),
    "wound_check": gettext_noop("wound check"),
    "suture_removal": gettext_noop("removal of sutures"),
    "risk_assessment": gettext_noop("risk assessment"),
    "node_examination": gettext_noop("lymph node examination"),
    "node_ultrasound": gettext_noop("ultrasound of the lymph nodes"),
    "sectional_imaging": gettext_noop("sectional imaging (CT, MRI or PET)"),
    "laboratory": gettext_noop("laboratory test"),
}

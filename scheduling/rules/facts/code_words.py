"""What the core's codes mean in a sentence: one table for each parameter that holds a code."""

from __future__ import annotations

from typing import Final

from clinic.formats.language import gettext_noop

DIAGNOSES: Final = {
    "melanoma": gettext_noop("melanoma"),
    "melanoma_in_situ": gettext_noop("melanoma in situ"),
    "scc": gettext_noop("squamous cell carcinoma"),
    "scc_in_situ": gettext_noop("squamous cell carcinoma in situ"),
    "bcc": gettext_noop("basal cell carcinoma"),
    "dysplastic_naevus": gettext_noop("dysplastic naevus"),
    "other_malignant": gettext_noop("other malignant tumour"),
    "benign": gettext_noop("benign lesion"),
}
# What a problem is about, and what it names; {…} are further parameters of the same problem.
ABOUT: Final = {
    "diagnosis": gettext_noop("{diagnosis} of {since}"),
    "diagnosis_without_day": gettext_noop("{diagnosis}"),
    "classed": gettext_noop("{diagnosis} of {since} with risk class {scheme} {risk_class}"),
    "classed_without_day": gettext_noop("{diagnosis} with risk class {scheme} {risk_class}"),
    "tier": gettext_noop("risk tier {tier}"),
    "monitoring": gettext_noop("{monitoring}-term monitoring"),
    "look_again": gettext_noop("the decision to look again in {months}"),
    "procedure": gettext_noop("{kind} of {on}"),
}
WHAT: Final = {
    "named_by_decision": gettext_noop("a decision to {decision}"),
    "named_by_diagnosis": gettext_noop("a diagnosis"),
    "named_by_procedure": gettext_noop("a procedure ({kind})"),
    "done": gettext_noop("what was done"),
    "override": gettext_noop("an own interval or day"),
    "records_since": gettext_noop("the start of the records"),
    "procedure": gettext_noop("a procedure"),
    "closing": gettext_noop("a closing"),
    "override_decided": gettext_noop("the decision on an own interval"),
    "assessment": gettext_noop("the risk assessment"),
    "examination": gettext_noop("an examination in person"),
    "sign": gettext_noop("a sign"),
    "anchor": gettext_noop("the excision"),
    "report": gettext_noop("the report"),
    "watching": gettext_noop("the start of watching"),
    "picture": gettext_noop("a picture"),
    "decision": gettext_noop("a decision"),
    "fulfilled": gettext_noop("what was decided"),
}
# Parameter → code → words.
WORDS: Final = {
    "diagnosis": DIAGNOSES,
    "tier": {
        "average": gettext_noop("average"),
        "above_average": gettext_noop("above average"),
        "high": gettext_noop("high"),
        "very_high": gettext_noop("very high"),
    },
    "monitoring": {"short": gettext_noop("short"), "long": gettext_noop("long")},
    "decision": {
        "reassure": gettext_noop("reassure"),
        "look_again": gettext_noop("look again"),
        "biopsy": gettext_noop("biopsy"),
        "excise": gettext_noop("excise"),
        "refer": gettext_noop("refer"),
        "second_reading": gettext_noop("second reading"),
        "inadequate": gettext_noop("inadequate"),
        "wrong_subject": gettext_noop("wrong subject"),
        "already_removed": gettext_noop("already removed"),
    },
    "kind": {
        "biopsy": gettext_noop("biopsy"),
        "excision": gettext_noop("excision"),
        "other": gettext_noop("other"),
    },
    "state": {
        "watched": gettext_noop("watched"),
        "biopsy_decided": gettext_noop("biopsy decided"),
        "biopsy_taken": gettext_noop("biopsy taken"),
        "removed": gettext_noop("removed"),
        "gone": gettext_noop("gone"),
        "entered_in_error": gettext_noop("entered in error"),
    },
    "said": {"invasive": gettext_noop("invasive"), "not_invasive": gettext_noop("not invasive")},
    "n": {"not_stated": gettext_noop("N not stated")},
    "m": {"not_stated": gettext_noop("M not stated")},
    "stages": {"": gettext_noop("no listed stage")},
    "status": {
        "deceased": gettext_noop("has died"),
        "transferred": gettext_noop("is followed elsewhere"),
        "moved": gettext_noop("has moved away"),
        "discharged": gettext_noop("was discharged"),
    },
    "why": {
        "no_day": gettext_noop("no day to count from"),
        "no_rule": gettext_noop("no rule that asks for one"),
        "thickness_missing": gettext_noop(
            "the thickness is missing or the primary tumour cannot be assessed (TX)"
        ),
        "nodes_not_stated": gettext_noop("the lymph nodes are not stated"),
        "nodes_not_assessed": gettext_noop("the lymph nodes were not assessed (NX)"),
        "metastasis_not_stated": gettext_noop("distant metastasis is not stated"),
        "not_listed": gettext_noop("the table lists no stage for this T and N"),
        "thickness_minimum": gettext_noop("the thickness is a minimum, so the stage is a minimum"),
        "ulceration_unknown": gettext_noop("ulceration is unknown"),
        "basis_not_stated": gettext_noop("the basis (clinical or pathological) is not stated"),
    },
    "signs": {
        "raised": gettext_noop("raised"),
        "firm": gettext_noop("firm"),
        "growing": gettext_noop("growing"),
        "bleeding": gettext_noop("bleeding"),
        "new": gettext_noop("new"),
        "painful": gettext_noop("painful"),
        "worry": gettext_noop("a worry without an urgent sign"),
    },
    "regions": {
        "face": gettext_noop("face"),
        "scalp": gettext_noop("scalp"),
        "ear": gettext_noop("ear"),
        "lip": gettext_noop("lip"),
        "neck": gettext_noop("neck"),
        "trunk": gettext_noop("trunk"),
        "arm": gettext_noop("arm"),
        "hand": gettext_noop("hand"),
        "palm": gettext_noop("palm"),
        "leg": gettext_noop("leg"),
        "foot": gettext_noop("foot"),
        "sole": gettext_noop("sole"),
        "nail": gettext_noop("nail"),
        "genital": gettext_noop("genital"),
    },
}
# Parameters that hold several codes, divided by commas: read as a choice, or as a list.
CHOICES: Final = frozenset({"stages", "t"})
LISTS: Final = frozenset({"signs", "regions"})

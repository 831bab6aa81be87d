"""The shipped rule sets hold the figures of their publications, and each row says where it can be checked."""

import re

import pytest

from scheduling.rules.plan import wording
from scheduling.rules.ruleset import ruleset
from tests.scheduling.rules.asking import codes, plan
from tests.scheduling.rules.sets import joined, one_rule

# Each row: months (shortest, longest or None, duration or None for one without a stated end).
# A review, PubMed Central PMC9798450, table 17, "Comparison between US, European, and Australian guidelines for follow-up
# in patients with resected cutaneous melanoma", restates two guidelines: National Comprehensive Cancer Network, Melanoma:
# Cutaneous …
NCCN = {
    "M-NCCN-0": [(12, None, None)],
    "M-NCCN-I": [(6, 12, 60), (12, None, None)],
    "M-NCCN-II": [(3, 6, 24), (3, 12, 36), (12, None, None)],
    "M-NCCN-CT": [(3, 12, 24), (6, 12, 36)],
    "M-NCCN-US": [(4, None, 24), (6, None, 36)],
}
# … and Cancer Council Australia, Clinical practice guidelines for the diagnosis and management of melanoma.
CANCER_COUNCIL = {
    "M-CCA-I": [(12, None, 120)],
    "M-CCA-IIA": [(6, None, 24), (12, None, 96)],
    "M-CCA-IIBC": [(3, 4, 24), (6, None, 12), (12, None, 60)],
    "M-CCA-III": [(3, None, 24), (6, None, 12), (12, None, 60)],
    "M-CCA-CT": [(3, 12, 36)],
}
# National Comprehensive Cancer Network, Basal and Squamous Cell Skin Cancer, as restated by Gorrepati, Dermatology
# surveillance guidelines for non-melanoma skin cancers.
NCCN_KERATINOCYTE = {
    "B-NCCN": [(6, 12, 60), (12, None, None)],
    "S-NCCN-loc": [(3, 12, 24), (6, 12, 36), (12, None, None)],
}
# National Institute for Health and Care Excellence, NG14, 2015, as restated by the charity Melanoma UK.
NICE_2015 = {
    "M-NICE15-0": [],
    "M-NICE15-IA": [(3, 6, 12)],
    "M-NICE15-IB-III": [(3, None, 36), (6, None, 24)],
}
# NHSScotland, Cutaneous Melanoma National Follow-Up Guideline 1.0, October 2022, surveillance schedule, as reproduced in
# the toolkit of SIGN 146: "IIIA with <1mm SLN deposit" stands with IB and IIA, "IIIA (with >1mm deposit)" with IIB.
SCOTLAND = {
    "M-SCO-IA": [(3, 6, 12)],
    "M-SCO-IB-IIA": [(3, 4, 36), (6, None, 24)],
    "M-SCO-IIIA-LOW": [(3, 4, 36), (6, None, 24)],
    "M-SCO-MOD": [(3, 4, 36), (6, None, 24), (12, None, 60)],
    "M-SCO-IIIA-MOD": [(3, 4, 36), (6, None, 24), (12, None, 60)],
    "M-SCO-IIIC": [(3, None, 24), (6, None, 36), (12, None, 60)],
    "M-SCO-IIIA-US": [(6, None, 36), (12, None, 24)],
    "M-SCO-IIIA-CT": [(6, None, 36), (12, None, 24)],
    "M-SCO-CT": [(6, None, 36), (12, None, 24)],
}
# German S3 guideline on melanoma (AWMF 032-024OL), as restated on a patient page of the company Roche Pharma; S3 guideline
# on squamous cell carcinoma (AWMF 032-022OL) 2.0, 2022, as restated by Berking 2023; S2k guideline on basal cell
# carcinoma (AWMF 032-021), as restated on Infoportal Hautkrebs.
GERMANY = {
    "M-S3-IA": [(6, None, 36), (12, None, 84)],
    "M-S3-IB-IIB": [(3, None, 36), (6, None, 24), (6, 12, 60)],
    "M-S3-IIC-III": [(3, None, 60), (6, None, 60)],
    "M-S3-US-low": [(6, None, 36)],
    "M-S3-LAB-low": [(3, None, 36)],
    "M-S3-US-high": [(3, None, 36), (3, 6, 24)],
    "M-S3-LAB-high": [(3, None, 36), (6, None, 24)],
    "M-S3-CT-high": [(6, None, 36)],
    "S-S3-low": [(6, None, 24), (12, None, 36)],
    "S-S3-high": [(3, None, 24), (6, None, 36), (12, None, 60)],
    "B-S2k": [(12, None, None)],
}
# Very high: Cancer Council Australia, as above, Summary of recommendations (grade C). High: Cancer Council, Optimal care
# pathway for people with melanoma, 2nd edition, step 1; Sinclair, Skin checks, Aust Fam Physician 2012;41:464-469, risk
# table, as restated on clinic pages that cite it (12 months; medium risk 2 to 5 years). Average: no recall.
TIERS = {
    "T-CCA-VH": [(6, None, None)],
    "T-OCP-H": [(6, 12, None)],
    "T-RACGP-H": [(12, None, None)],
    "T-RACGP-M": [(24, 60, None)],
    "T-POP": [],
}
PUBLISHED = NCCN | CANCER_COUNCIL | NCCN_KERATINOCYTE | NICE_2015 | SCOTLAND | GERMANY | TIERS
# The clinic set repeats these; its melanoma rule is the first phase of NHSScotland IIIC and Cancer Council Australia III.
DEFAULT_ROWS = {
    "melanoma-invasive": SCOTLAND["M-SCO-IIIC"][:1],
    "melanoma-in-situ": NCCN["M-NCCN-0"],
    "bcc": GERMANY["B-S2k"],
    "scc-low": GERMANY["S-S3-low"],
    "scc-high": GERMANY["S-S3-high"],
    "tier-very-high": TIERS["T-CCA-VH"],
    "tier-high": TIERS["T-OCP-H"],
    "tier-above-average": TIERS["T-RACGP-M"],
}
# Days after closure, adults: Trott, Wounds and Lacerations: Emergency Care and Closure, Mosby Year Book 1991, as restated on
# the page Suture Removal of Stuart Xchange.
TROTT = {
    "face": (3, 5), "ear-lip": (4, 5), "scalp": (6, 8), "chest-abdomen": (8, 10), "back": (12, 14), "arm": (8, 10),
    "hand": (8, 10), "leg": (8, 12), "foot": (10, 12),
}  # fmt: skip
# 5-Minute Consult, Procedures, Recommended suture removal times: face, neck, scalp, trunk, upper extremity, extensor surface
# of the hands, lower extremity.
CONSULT = {
    "face": (3, 5), "ear-lip": (3, 5), "neck": (5, 7), "scalp": (7, 7), "chest-abdomen": (10, 14), "back": (10, 14),
    "arm": (10, 14), "hand": (14, 14), "leg": (14, 28), "foot": (14, 28),
}  # fmt: skip
# The day within the window: clinic setting, no source.
SUTURES = {
    "face": 5, "ear-lip": 5, "neck": 7, "scalp": 8, "chest-abdomen": 10, "back": 14, "arm": 10, "hand": 10, "leg": 12,
    "foot": 12,
}  # fmt: skip
# Rows of which the publication itself says that follow-up ends there.
ENDS = {
    *("M-NICE15-0", "M-NICE15-IA", "M-NICE15-IB-III"),
    *("M-SCO-IA", "M-SCO-IB-IIA", "M-SCO-IIIA-LOW", "M-SCO-MOD", "M-SCO-IIIA-MOD", "M-SCO-IIIC"),
    *("M-S3-IA", "M-S3-IB-IIB", "M-S3-IIC-III", "S-S3-low", "S-S3-high", "scc-low", "scc-high"),
    *(f"sutures-{site}" for site in SUTURES),
    *("T-POP", "tier-average", "as-decided", "result-visit", "wound-check", "procedure-other"),
}
SHIPPED = [
    (name, rule) for name in ruleset.shipped_names() for rule in ruleset.load(ruleset.shipped(name)).rules
]
OUTSIDE = [rule for name, rule in SHIPPED if name != "default"]
CLINIC = {rule.id: rule for name, rule in SHIPPED if name == "default"}


def months(phase):
    assert not phase.short.days and not phase.long.days
    longest = phase.long.months if phase.is_range else None
    return phase.short.months, longest, None if phase.length is None else phase.length.months


def shipped(row):
    """Every rule of that name outside the clinic set; one row may stand in two sets."""
    found = [rule for rule in OUTSIDE if rule.id == row]
    assert found
    return found


@pytest.mark.parametrize("row", PUBLISHED)
def test_a_row_holds_the_published_figures(row):
    for rule in shipped(row):
        assert [months(phase) for phase in rule.phases] == PUBLISHED[row]


def test_no_other_row_is_shipped():
    assert {rule.id for rule in OUTSIDE} == {*PUBLISHED, *(f"sutures-{site}" for site in SUTURES)}


@pytest.mark.parametrize("row", DEFAULT_ROWS)
def test_the_clinic_set_repeats_the_rows_it_names(row):
    assert [months(phase) for phase in CLINIC[row].phases] == DEFAULT_ROWS[row]


def test_the_clinic_set_asks_after_two_years_and_knows_no_stages():
    rule = CLINIC["melanoma-invasive"]
    assert rule.then == "ask"
    assert rule.phases[0].length.months == CANCER_COUNCIL["M-CCA-III"][0][2]
    title = ruleset.load(ruleset.shipped("default")).title
    assert "all stages of invasive melanoma alike" in title and "Scotland, Germany, Australia, USA" in title


@pytest.mark.parametrize("site", SUTURES)
def test_sutures_come_out_within_the_published_days(site):
    published = [table[site] for table in (TROTT, CONSULT) if site in table]
    window = min(first for first, _ in published), max(last for _, last in published)
    for rule in shipped(f"sutures-{site}"):
        (phase,) = rule.phases
        assert (phase.short.days, phase.long.days) == window
        assert phase.target.days == SUTURES[site] and window[0] <= SUTURES[site] <= window[1]
        assert "5-Minute Consult" in rule.source and ("Trott" in rule.source) == (site in TROTT)


def test_the_clinic_set_removes_sutures_as_the_published_tables_do():
    of_clinic = {key: rule for key, rule in CLINIC.items() if rule.purpose == "suture_removal"}
    assert of_clinic == {rule.id: rule for rule in OUTSIDE if rule.purpose == "suture_removal"}


def test_imaging_and_laboratory_have_purposes_of_their_own():
    purposes = {"US": "node_ultrasound", "CT": "sectional_imaging", "LAB": "laboratory"}
    found = 0
    for rule in OUTSIDE:
        kind = re.search(r"-(US|CT|LAB)\b", rule.id)
        found += bool(kind)
        assert rule.purpose == (purposes[kind[1]] if kind else rule.purpose)
        assert (rule.purpose in purposes.values()) == bool(kind)
    assert found == 11


@pytest.mark.parametrize(("name", "rule"), SHIPPED, ids=[f"{name}:{rule.id}" for name, rule in SHIPPED])
def test_only_rows_whose_source_says_end_end(name, rule):
    assert (rule.then == "end") == (rule.id in ENDS)


@pytest.mark.parametrize(("name", "rule"), SHIPPED, ids=[f"{name}:{rule.id}" for name, rule in SHIPPED])
def test_a_source_can_be_found_and_says_how_it_was_read(name, rule):
    assert rule.flag in ("found", "found-2nd", "design")
    assert not re.search(r"\bas read\b|not stated|\breference\b|\.md\b|\bnotes\b", rule.source + rule.edition)
    assert re.search(r"\d|online edition|not given in the restatement", rule.edition)
    restated = re.search(r"as restated|second-hand", rule.source)
    if rule.flag == "found-2nd":
        assert restated and "second-hand, confirm before use" in wording.source_words(rule)
    elif rule.flag == "found":
        assert "as restated" not in rule.source
    assert (rule.flag == "design") == (rule.source == "clinic setting, no source")


# Neither the guideline nor a page that prints its title was read: the figures come from the page that restates it.
UNREAD_TITLES = (
    "National Comprehensive Cancer Network, Melanoma: Cutaneous",
    "National Comprehensive Cancer Network, Basal and Squamous Cell Skin Cancer",
    "German Guideline Programme in Oncology",
)


def test_a_title_from_memory_says_so():
    marked = re.compile(r"^ \((title|name) from memory, to be confirmed\)")
    found = [
        (rule.id, bool(marked.match(rule.source.removeprefix(title))))
        for _, rule in SHIPPED
        for title in UNREAD_TITLES
        if rule.source.startswith(title)
    ]
    assert len(found) >= 10 and all(is_marked for _, is_marked in found), found


def test_a_row_from_memory_says_so_wherever_its_source_is_read():
    """The flag is the clinic's only warning: each kind of doubt has its words, on the page and in the plan."""
    for flag, words in (
        ("memory H", "from memory"),
        ("memory M", "from memory"),
        ("found-2nd", "second-hand"),
    ):
        (rule,) = ruleset.load(one_rule(flag=f'"{flag}"')).rules
        assert words in wording.source_words(rule) and words in wording.rule_sentence(rule)
        assert words in plan_source(rule)


def plan_source(rule):
    rules = ruleset.load(one_rule(flag=f'"{rule.flag}"'))
    (due,) = [one for one in plan(rules, diagnoses=[IIIA]).due if one.purpose == "full_skin_check"]
    return due.reasons[0].source


def test_a_superseded_edition_is_a_warning_that_spoils_nothing():
    faults = ruleset.check(ruleset.shipped("nice-2015"))
    assert {fault.kind for fault in faults} == {"warning"} and len(faults) == 3
    assert all(fault.params == {"by": "NG14 of July 2022"} for fault in faults)
    assert "superseded" in ruleset.load(ruleset.shipped("nice-2015")).title


def test_the_superseded_edition_says_so_in_every_sentence():
    for rule in ruleset.load(ruleset.shipped("nice-2015")).rules:
        assert "superseded by NG14 of July 2022" in wording.rule_sentence(rule)


# AJCC 8: T2a, N1a, M0 is IIIA (NCCN Guidelines for Patients: Melanoma, 2018, stage groups).
IIIA = {
    "code": "melanoma", "anchor": "2024-01-31", "thickness": "1.5", "ulceration": False, "n": "N1a", "m": "M0",
    "primary": "known", "stage_basis": "pathological", "sentinel": "positive",
}  # fmt: skip


def planned_for(**facts):
    answer = plan(joined("scotland-2022"), diagnoses=[IIIA | facts])
    return {reason.rule for due in answer.due for reason in due.reasons}, codes(answer)


@pytest.mark.parametrize(
    ("deposit", "rules"),
    [
        ("0.6", {"M-SCO-IIIA-LOW", "M-SCO-IIIA-US"}),
        ("0.97", {"M-SCO-IIIA-LOW", "M-SCO-IIIA-US"}),  # Breslow thickness is rounded, a deposit is not
        ("1.0", {"M-SCO-IIIA-MOD", "M-SCO-IIIA-CT"}),  # left out by the table: the closer row
        ("1.2", {"M-SCO-IIIA-MOD", "M-SCO-IIIA-CT"}),
    ],
)
def test_stage_iiia_in_scotland_goes_by_the_size_of_the_deposit(deposit, rules):
    """NHSScotland, Cutaneous Melanoma National Follow-Up Guideline 1.0, October 2022."""
    found, problems = planned_for(deposit_mm=deposit, nodes_cleared=False)
    assert found == rules
    assert ("missing_fact", "diagnosis:1") not in problems


def test_a_deposit_of_unknown_size_keeps_all_rows_and_is_asked_about():
    found, problems = planned_for(deposit_mm=None, nodes_cleared=None)
    assert found == {"M-SCO-IIIA-LOW", "M-SCO-IIIA-MOD", "M-SCO-IIIA-US", "M-SCO-IIIA-CT"}
    assert ("missing_fact", "diagnosis:1") in problems


def test_no_ultrasound_of_nodes_that_were_cleared():
    """The same guideline: "if not having CLND", that is completion lymph node dissection."""
    found, _ = planned_for(deposit_mm="0.6", nodes_cleared=True)
    assert found == {"M-SCO-IIIA-LOW"}


@pytest.mark.parametrize("stage", ["IA", "IB", "IIA", "IIB", "IIC", "III", "IIIA", "IIIB", "IIIC", "IIID"])
def test_imaging_by_stage(stage):
    """Cancer Council Australia: I to IIB none routinely, IIC and III every 3 to 12 months for 3 years (PMC9798450)."""
    facts = {"code": "melanoma", "anchor": "2024-01-31", "stage": stage}
    due = plan(joined("cancer-council-australia"), diagnoses=[facts]).due
    imaged = "sectional_imaging" in {item.purpose for item in due}
    assert imaged == (stage == "IIC" or stage.startswith("III"))


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("M-SCO-IIIA-US", "the stage is IIIA and the sentinel node deposit is below 1.0 mm and the nodes were not cleared"),
        ("M-NCCN-US", "the sentinel node biopsy is positive and the nodes were not cleared"),
        ("M-SCO-IIIA-CT", "the sentinel node deposit is at least 1.0 mm"),
    ],
)  # fmt: skip
def test_conditions_about_the_sentinel_node_in_words(row, words):
    (rule,) = shipped(row)
    assert f"{words}." in wording.rule_sentence(rule)

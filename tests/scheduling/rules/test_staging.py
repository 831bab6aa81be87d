"""AJCC 8: the whole grid and the worked examples A1-A23 of docs/sources.md (NCCN patient guideline 2018, Guide 1)."""

import pytest

from scheduling.rules.plan.staging import rounded, stage

# NCCN Guidelines for Patients: Melanoma 2018, guide 1, transcribed a second time for the test: N0 clinical, N0 pathological, N1a … N3c
GRID = """
Tis | 0   | 0   | III  | III  | III  | III  | III  | III  | III  | III  | III
T0  | -   | -   | -    | IIIB | IIIB | -    | IIIC | IIIC | -    | IIIC | IIIC
T1a | IA  | IA  | IIIA | IIIB | IIIB | IIIA | IIIB | IIIC | IIIC | IIIC | IIIC
T1b | IB  | IA  | IIIA | IIIB | IIIB | IIIA | IIIB | IIIC | IIIC | IIIC | IIIC
T2a | IB  | IB  | IIIA | IIIB | IIIB | IIIA | IIIB | IIIC | IIIC | IIIC | IIIC
T2b | IIA | IIA | IIIB | IIIB | IIIB | IIIB | IIIB | IIIC | IIIC | IIIC | IIIC
T3a | IIA | IIA | IIIB | IIIB | IIIB | IIIB | IIIB | IIIC | IIIC | IIIC | IIIC
T3b | IIB | IIB | IIIC | IIIC | IIIC | IIIC | IIIC | IIIC | IIIC | IIIC | IIIC
T4a | IIB | IIB | IIIC | IIIC | IIIC | IIIC | IIIC | IIIC | IIIC | IIIC | IIIC
T4b | IIC | IIC | IIIC | IIIC | IIIC | IIIC | IIIC | IIIC | IIID | IIID | IIID
"""
INPUTS = {
    "Tis": {"in_situ": True},
    "T0": {"primary": "none"},
    "T1a": {"thickness": "0.5", "ulceration": False},
    "T1b": {"thickness": "0.5", "ulceration": True},
    "T2a": {"thickness": "1.5", "ulceration": False},
    "T2b": {"thickness": "1.5", "ulceration": True},
    "T3a": {"thickness": "3.0", "ulceration": False},
    "T3b": {"thickness": "3.0", "ulceration": True},
    "T4a": {"thickness": "4.1", "ulceration": False},
    "T4b": {"thickness": "4.1", "ulceration": True},
}
COLUMNS = ("N0", "N0", "N1a", "N1b", "N1c", "N2a", "N2b", "N2c", "N3a", "N3b", "N3c")
ROWS = [[cell.strip() for cell in line.split("|")] for line in GRID.strip().splitlines()]
CELLS = [
    (row[0], n, "clinical" if index == 0 else "pathological", row[index + 1])
    for row in ROWS
    for index, n in enumerate(COLUMNS)
]


@pytest.mark.parametrize("t, n, basis, expected", CELLS)
def test_the_whole_grid(t, n, basis, expected):
    if t == "Tis" and n != "N0":
        basis = "clinical"  # the table marks these cells as clinical only
    found = stage(**INPUTS[t], n=n, m="M0", basis=basis)
    assert (found.t, found.stage) == (t, None if expected == "-" else expected)


@pytest.mark.parametrize("t", INPUTS)
@pytest.mark.parametrize("n", COLUMNS[2:])
def test_clinical_stage_three_has_no_sub_groups(t, n):
    assert stage(**INPUTS[t], n=n, m="M0", basis="clinical").stage == "III"


@pytest.mark.parametrize("n", COLUMNS[2:])
def test_in_situ_with_nodes_has_no_pathological_stage(n):
    assert stage(in_situ=True, n=n, m="M0", basis="pathological").stage is None


@pytest.mark.parametrize("t", INPUTS)
@pytest.mark.parametrize("m", ["M1", "M1a", "M1b", "M1c(1)", "M1d(0)"])
def test_distant_metastasis_is_stage_four(t, m):
    assert stage(**INPUTS[t], n="NX", m=m).stage == "IV"


EXAMPLES = [
    ("A1", {"in_situ": True}, "N0", "M0", "Tis", "0", "0"),
    ("A2", {"thickness": "0.5", "ulceration": False}, "N0", "M0", "T1a", "IA", "IA"),
    ("A3", {"thickness": "0.5", "ulceration": True}, "N0", "M0", "T1b", "IB", "IA"),
    ("A4", {"thickness": "0.79", "ulceration": False}, "N0", "M0", "T1b", "IB", "IA"),
    ("A5", {"thickness": "1.04", "ulceration": False}, "N0", "M0", "T1b", "IB", "IA"),
    ("A6", {"thickness": "1.05", "ulceration": False}, "N0", "M0", "T2a", "IB", "IB"),
    ("A7", {"thickness": "1.05", "ulceration": True}, "N0", "M0", "T2b", "IIA", "IIA"),
    ("A8", {"thickness": "2.05", "ulceration": False}, "N0", "M0", "T3a", "IIA", "IIA"),
    ("A9", {"thickness": "3.5", "ulceration": True}, "N0", "M0", "T3b", "IIB", "IIB"),
    ("A10", {"thickness": "4.1", "ulceration": False}, "N0", "M0", "T4a", "IIB", "IIB"),
    ("A11", {"thickness": "6.0", "ulceration": True}, "N0", "M0", "T4b", "IIC", "IIC"),
    ("A12", {"thickness": "1.8", "ulceration": False}, "N1a", "M0", "T2a", "III", "IIIA"),
    ("A13", {"thickness": "1.8", "ulceration": True}, "N1a", "M0", "T2b", "III", "IIIB"),
    ("A14", {"thickness": "3.5", "ulceration": True}, "N1a", "M0", "T3b", "III", "IIIC"),
    ("A15", {"thickness": "0.9", "ulceration": False}, "N2c", "M0", "T1b", "III", "IIIC"),
    ("A16", {"thickness": "5.0", "ulceration": True}, "N3b", "M0", "T4b", "III", "IIID"),
    ("A17", {"thickness": "5.0", "ulceration": True}, "N2c", "M0", "T4b", "III", "IIIC"),
    ("A18", {"primary": "none"}, "N1b", "M0", "T0", "III", "IIIB"),
    ("A19", {"primary": "none"}, "N3b", "M0", "T0", "III", "IIIC"),
    ("A20", {"thickness": "0.6", "ulceration": False}, "N0", "M1b(0)", "T1a", "IV", "IV"),
    ("A21", {"primary": "unassessable"}, "N0", "M0", "TX", None, None),
    ("A22", {"thickness": "1.5"}, "N0", "M0", "T2", None, None),
    ("A23", {"thickness": "2.5", "ulceration": False}, "N0", "M0", "T3a", "IIA", "IIA"),
]


@pytest.mark.parametrize(
    "name, given, n, m, t, clinical, pathological", EXAMPLES, ids=[row[0] for row in EXAMPLES]
)
def test_worked_example(name, given, n, m, t, clinical, pathological):
    by_basis = {basis: stage(**given, n=n, m=m, basis=basis) for basis in ("clinical", "pathological")}
    assert {found.t for found in by_basis.values()} == {t}
    assert by_basis["clinical"].stage == clinical
    assert by_basis["pathological"].stage == pathological
    assert {basis: found.basis for basis, found in by_basis.items()} == {b: b for b in by_basis}
    without_basis = stage(**given, n=n, m=m).stage
    assert without_basis == (clinical if clinical == pathological else None)


# AJCC 8th edition, rounded half up to 0.1 mm (from memory)
@pytest.mark.parametrize(
    "typed, tenths, t",
    [
        ("0.74", "0.7", "T1a"),
        ("0.75", "0.8", "T1b"),
        ("0.79", "0.8", "T1b"),
        ("0.84", "0.8", "T1b"),
        ("0.95", "1.0", "T1b"),
        ("1.00", "1.0", "T1b"),
        ("1.01", "1.0", "T1b"),
        ("1.04", "1.0", "T1b"),
        ("1.05", "1.1", "T2a"),
        ("2.04", "2.0", "T2a"),
        ("2.05", "2.1", "T3a"),
        ("4.04", "4.0", "T3a"),
        ("4.05", "4.1", "T4a"),
        ("0.04", "0.1", "T1a"),
    ],
)
def test_rounding(typed, tenths, t):
    assert str(rounded(typed)) == tenths
    assert stage(thickness=typed, ulceration=False, n="N0", m="M0").t == t


def test_unknown_ulceration_leaves_both_stages_open():
    found = stage(thickness="1.5", n="N0", m="M0", basis="pathological")
    assert (found.stage, found.possible) == (None, {"IB", "IIA"})
    assert found.reason == "ulceration_unknown"


def test_unknown_ulceration_does_not_matter_at_0_8_to_1_0_mm():
    # AJCC 8th edition (second-hand): T1b with or without ulceration
    assert stage(thickness="0.9", n="N0", m="M0", basis="clinical").stage == "IB"


def test_at_least_is_a_minimum():
    found = stage(thickness=">=2.5", ulceration=False, n="N0", m="M0", basis="pathological")
    assert (found.stage, found.at_least, found.possible) == ("IIA", True, {"IIA", "IIB"})


def test_at_least_0_5_may_be_t1b():
    found = stage(thickness=">=0.5", ulceration=False, n="N0", m="M0", basis="clinical")
    assert (found.stage, found.possible) == ("IA", {"IA", "IB", "IIA", "IIB"})


def test_at_least_in_the_last_category_is_certain():
    found = stage(thickness=">=5", ulceration=True, n="N0", m="M0", basis="pathological")
    assert (found.possible, found.stage, found.at_least) == ({"IIC"}, "IIC", True)


@pytest.mark.parametrize("n, m", [(None, "M0"), ("NX", "M0"), ("N0", None)])
def test_what_is_not_stated_is_not_guessed(n, m):
    assert stage(thickness="1.5", ulceration=False, n=n, m=m, basis="pathological").stage is None


def test_in_situ_needs_no_node_status():
    # NCCN Guidelines for Patients 2018, guide 1: pathological stage 0 needs no node pathology
    assert stage(in_situ=True).stage == "0"


@pytest.mark.parametrize(
    "change, reason",
    [
        ({"thickness": None}, "thickness_missing"),
        ({"n": None}, "nodes_not_stated"),
        ({"n": "NX"}, "nodes_not_assessed"),
        ({"m": None}, "metastasis_not_stated"),
        ({"ulceration": None}, "ulceration_unknown"),
        ({"thickness": ">=1.5"}, "thickness_minimum"),
        ({"thickness": "1.0", "basis": None}, "basis_not_stated"),
        ({"primary": "none"}, "not_listed"),
    ],
)
def test_the_reason_names_what_is_missing(change, reason):
    known = {"thickness": "1.5", "ulceration": False, "n": "N0", "m": "M0", "basis": "pathological"}
    assert stage(**known).reason == ""
    assert stage(**known | change).reason == reason


@pytest.mark.parametrize("thickness", [None, "0", "0.0"])
def test_no_thickness_is_tx(thickness):
    found = stage(thickness=thickness, ulceration=False, n="N0", m="M0", basis="clinical")
    assert (found.t, found.stage) == ("TX", None)


def test_what_is_open_is_written_as_alternatives():
    # AJCC 8th edition (second-hand): unknown ulceration gives T2 without a letter; a minimum leaves thicker categories open
    assert stage(thickness="1.5", n="N0", m="M0").t == "T2"
    assert stage(thickness=">=2.5", ulceration=False, n="N0", m="M0").t == "T3a,T4a"
    assert stage(thickness=">=2.5", n="N0", m="M0").t == "T3a,T3b,T4a,T4b"
    assert stage(thickness=">=0.8", ulceration=True, n="N0", m="M0").t == "T1b,T2b,T3b,T4b"
    # AJCC 8th edition (second-hand): from 0.8 mm on T1b also without ulceration, so a minimum of 0.5 mm leaves it open
    assert stage(thickness=">=0.5", ulceration=False, n="N0", m="M0").t == "T1a,T1b,T2a,T3a,T4a"


def test_without_a_basis_a_stage_that_only_one_basis_has_is_not_taken():
    # NCCN Guidelines for Patients 2018, guide 1: T0 N2a is III clinically and stands in no cell pathologically
    found = stage(primary="none", n="N2a", m="M0")
    assert (found.stage, found.possible) == (None, {"III"})
    assert found.reason == "not_listed"


def test_with_distant_metastasis_an_open_thickness_leaves_nothing_open():
    found = stage(thickness=">=2.1", ulceration=False, n="N0", m="M1a")
    assert (found.stage, found.at_least) == ("IV", False)

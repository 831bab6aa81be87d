"""`python -m scheduling.rules` as a program of its own: exit codes, one JSON object, no Django."""

import json
import re
import resource
import subprocess
import sys
from pathlib import Path

import pytest

from lesions.register import bodymap
from scheduling.rules.sites import SITES
from tests.scheduling.rules.build import raw
from tests.scheduling.rules.sets import one_rule

ROOT = Path(__file__).parents[3]


def run(*arguments):
    return subprocess.run(
        [sys.executable, "-m", "scheduling.rules", *map(str, arguments)],
        cwd=ROOT, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip


@pytest.fixture
def facts(tmp_path):
    path = tmp_path / "facts.json"
    path.write_text(json.dumps(raw(diagnoses=[{"anchor": "2024-01-31"}])), encoding="utf-8")
    return path


def test_plan_in_json(facts):
    done = run("plan", facts, "--ruleset", "default", "--today", "2024-06-01", "--json")
    assert (done.returncode, done.stderr) == (0, "")
    shown = json.loads(done.stdout)
    (check,) = [row for row in shown["due"] if row["purpose"] == "full_skin_check"]
    assert (check["target"], shown["today"]) == ("2024-04-30", "2024-06-01")


def test_plan_and_explain_in_sentences(facts):
    done = run("plan", facts, "--today", "2024-06-01")
    assert (
        "Full skin check, number 1, on 2024-04-30, in time from 2024-04-16 to 2024-05-14; urgency B."
        in done.stdout
    )
    explained = run("explain", facts, "--ruleset", "default", "--today", "2024-06-01")
    assert (
        "because Melanoma excised 31 Jan 2024: visit 1 of 8, every 3 months for 2 years" in explained.stdout
    )
    rules = run("explain", "--ruleset", "nccn")
    assert "without an end" in rules.stdout
    assert {done.returncode, explained.returncode, rules.returncode} == {0}


def test_explain_names_sites_and_no_codes():
    shown = run("explain", "--ruleset", "suture-removal").stdout
    assert "the site is forehead" in shown and not re.search(r"the site is \d", shown)
    assert dict(bodymap.SITES) == SITES


def test_explain_says_each_source_once_and_only_reasons_as_reasons(tmp_path):
    """What an own interval replaces asks for nothing now: it stands beside the reasons."""
    path = tmp_path / "facts.json"
    check = {"purpose": "full_skin_check", "subject": "patient"}
    melanomas = [{"id": str(key), "code": "melanoma", "anchor": "2024-01-31"} for key in (1, 2)]
    own = [check | {"id": "9", "interval": "P6M", "reason": "asked for", "by": "A. Sample"}]
    path.write_text(json.dumps(raw(diagnoses=melanomas, overrides=own)))
    shown = run("explain", path, "--today", "2024-06-01").stdout
    block = shown[shown.index("Full skin check") :].split("urgency", 2)[1]
    assert block.count("Source:") == 1 and block.count("because") == 1
    assert "beside it: Melanoma excised 31 Jan 2024: a clinician's own interval" in block


def test_check_answers_with_faults(tmp_path):
    sound, faulty, broken = (tmp_path / name for name in ("sound.toml", "faulty.toml", "broken.toml"))
    sound.write_text(one_rule())
    faulty.write_text(one_rule(urgency='"D"'))
    broken.write_text("schema = = 1")
    assert json.loads(run("check", sound, "--json").stdout) == {"schema": 1, "ok": True, "faults": []}
    found = run("check", faulty, "--json")
    shown = json.loads(found.stdout)
    assert (found.returncode, shown["ok"]) == (1, False)
    assert [(fault["path"], fault["line"]) for fault in shown["faults"]] == [("rule[0:r].urgency", None)]
    found = run("check", broken, "--json")
    assert (found.returncode, json.loads(found.stdout)["faults"][0]["line"]) == (1, 1)
    assert run("check", "default").returncode == 0


def test_a_superseded_edition_is_a_warning_and_the_set_stays_usable():
    found = run("check", "nice-2015")
    lines = found.stdout.splitlines()
    assert (found.returncode, len(lines), lines[-1]) == (0, 4, "No faults.")
    assert all(line.startswith("Warning: ") and "NG14 of July 2022" in line for line in lines[:-1])
    shown = json.loads(run("check", "nice-2015", "--json").stdout)
    assert (shown["ok"], {fault["kind"] for fault in shown["faults"]}) == (True, {"warning"})


@pytest.mark.parametrize(
    "arguments",
    [
        ["plan", "missing.json", "--today", "2024-06-01"],
        ["plan", "FACTS", "--today", "2024-06-31"],
        ["plan", "FACTS", "--today", "20240601"],
        ["plan", "FACTS"],
        ["plan", "FACTS", "--today", "2024-06-01", "--ruleset", "missing"],
        ["explain", "FACTS"],
        ["check", "missing"],
        ["wait"],
        [],
    ],
)
def test_what_cannot_be_read_exits_with_two_and_a_line(facts, arguments):
    done = run(*(facts if argument == "FACTS" else argument for argument in arguments))
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.strip() and "Traceback" not in done.stderr


@pytest.mark.parametrize("text", ["not json", '{"schema": 1}', "[]"])
def test_unreadable_facts_exit_with_two(tmp_path, text):
    path = tmp_path / "facts.json"
    path.write_text(text)
    done = run("plan", path, "--today", "2024-06-01", "--json")
    assert (done.returncode, done.stdout, len(done.stderr.splitlines())) == (2, "", 1)


def test_a_faulty_set_is_unreadable_for_a_plan(facts, tmp_path):
    path = tmp_path / "faulty.toml"
    path.write_text(one_rule(urgency='"D"'))
    done = run("plan", facts, "--ruleset", path, "--today", "2024-06-01")
    assert done.returncode == 2 and "rule[0:r].urgency" in done.stderr


def test_a_day_by_day_interval_from_long_ago_is_planned_quickly(tmp_path):
    """Every day since 1850: counted, not walked through. Two seconds of processor hold on any machine of today."""
    own = {"interval": "P1D", "decided_on": "1850-01-01"}
    file = tmp_path / "facts.json"
    file.write_text(json.dumps(raw(overrides=[own], records_since="2024-05-01")))
    before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
    done = run("plan", file, "--today", "2024-06-01", "--json")
    assert done.returncode == 0
    assert resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - before < 2

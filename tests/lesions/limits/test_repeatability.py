"""A clinic's own repeatability: worked by hand, offered as limits, and what the flags then go by.

1.96 · √2 · SEM: Bland and Altman, Stat Methods Med Res 1999;8:135-160 (from memory).
"""

import io
import tomllib
from dataclasses import replace

import pytest
from django.core.management import CommandError, call_command

from clinic.models import Policy
from lesions.analysis.drawing import phantom
from lesions.analysis.types import Measure, Measurement
from lesions.limits import flags, repeatability, wording
from lesions.limits.repeatability import Own
from lesions.measuring import figures
from lesions.models import Comparison as Row
from tests import build
from tests.lesions import scene
from tests.lesions.limits.test_flags import comparison, measurement
from tests.lesions.pictures.test_outlines import MOLE, SCALE, drawn


def shot(**values):
    units = {"area": "mm²", "feret": "mm"}
    measures = tuple(Measure(name, value, units.get(name, ""), None, "") for name, value in values.items())
    return Measurement("v", "0", 10, 10, None, None, (), measures, ())


# SD of 9, 10 and 11 is 1: plain arithmetic. 1.96 * sqrt(2) = 2.772 (Bland and Altman's repeatability coefficient).
SHOTS = [
    shot(area=9.0, solidity=0.90, colours=2.0, feret=4.0),
    shot(area=10.0, solidity=0.92, colours=2.0, feret=None),
    shot(area=11.0, solidity=0.94, colours=2.0, feret=4.1),
]


def test_the_smallest_change_is_that_of_bland_and_altman():
    found = {row.name: row for row in repeatability.study(SHOTS)}
    area = found["area"]
    assert (area.pictures, area.mean, area.sem) == (3, 10.0, 1.0)
    assert area.smallest == pytest.approx(2.772, abs=0.001) and area.relative
    assert found["solidity"].smallest == pytest.approx(2.772 * 0.02, abs=0.0001)
    assert not found["solidity"].relative
    assert "feret" not in found  # measured twice only


def test_the_table_is_one_that_the_limits_can_carry():
    table = repeatability.as_toml(repeatability.study(SHOTS), 'own study "of" 3 pictures')
    text = repeatability.with_table(flags.shipped(), table)
    assert flags.check(text) == []
    own = flags.own_repeatability(text)
    assert own.relative == {"area": 0.277} and own.absolute == {"solidity": 0.0554}
    assert "colours" not in table  # three equal values prove no spread of nothing
    assert own.source == "own study 'of' 3 pictures"
    assert flags.limits(text) == flags.limits(flags.shipped())


def test_a_second_study_takes_the_place_of_the_first():
    first = repeatability.as_toml(repeatability.study(SHOTS), "first")
    second = repeatability.as_toml(repeatability.study(SHOTS), "second")
    text = repeatability.with_table(repeatability.with_table(flags.shipped(), first), second)
    assert tomllib.loads(text)["repeatability"]["source"] == "second" and text.count("[repeatability]") == 1
    assert '"first"' not in text


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ('source = ""', "names its source"),
        ("relative = {}", "names its source"),
        ('source = "x"\nodd = 1', "unknown key 'odd'"),
        ('source = "x"\nrelative = 3', "is a table"),
        ('source = "x"\nrelative = { beauty = 0.1 }', "no such measure"),
        ('source = "x"\nabsolute = { solidity = 0 }', "above 0"),
        ('source = "x"\nabsolute = { solidity = true }', "above 0"),
        ('source = "x"\nabsolute = { solidity = inf }', "above 0"),
    ],
)
def test_a_table_that_is_wrong_is_no_policy(table, words):
    faults = wording.faults_of(f"{flags.shipped()}\n[repeatability]\n{table}\n")
    assert len(faults) == 1 and words in faults[0]


def policy(relative):
    table = f'[repeatability]\nsource = "own"\n[repeatability.relative]\narea = {relative}\n'
    return Policy(kind="flags", toml=repeatability.with_table(flags.shipped(), table))


@pytest.mark.parametrize(("relative", "core", "flagged"), [(0.10, False, True), (0.20, True, False)])
def test_flags_go_by_the_clinics_own_figure(relative, core, flagged):
    """From 10.0 to 11.5: 1.5 beside a mean of 10.75, so 10 % (1.08) is passed and 20 % (2.15) is not."""
    later = measurement(area=11.5)
    drafts = flags.raise_flags(later, comparison(later, beyond=core), policy(relative))
    assert ("area_growth" in {draft.code for draft in drafts}) is flagged


def test_a_measure_that_was_not_studied_keeps_the_programs_figure():
    later = measurement(feret=5.0)
    drafts = flags.raise_flags(later, comparison(later, beyond=True), policy(0.2))
    assert "diameter_growth" in {draft.code for draft in drafts}


def test_the_page_says_the_same_as_the_flags():
    row = Row(result={"deltas": [delta("area", 10.0, 11.5), delta("solidity", 0.9, 0.8)]})
    own = Own("own", {"area": 0.2}, {})
    area, solidity = figures.changes(row, own)
    assert area.smallest.value == pytest.approx(2.15) and "within" in area.words
    assert solidity.smallest.value == 0.05 and "more than" in solidity.words


def delta(name, earlier, later):
    keys = {"name": name, "unit": "", "earlier": earlier, "later": later, "delta": later - earlier}
    return keys | {"uncertainty": 0.01, "smallest_detectable": 0.05, "beyond": True}


# ---- the command ------------------------------------------------------------------------------


def run(*arguments, **more):
    out = io.StringIO()
    call_command("repeatability", *arguments, stdout=out, **more)
    return out.getvalue()


COARSE = replace(MOLE, width=240, height=180, mm_per_px=0.08)  # spreads need no sharp picture


@pytest.fixture(scope="module")
def shots():
    return [drawn(replace(phantom.recaptured(COARSE, seed), mm_per_px=0.08)) for seed in (5, 6, 7)]


def test_a_folder_of_pictures_is_measured(shots, tmp_path):
    for number, data in enumerate(shots):
        (tmp_path / f"{number}.jpg").write_bytes(data)
    said = run("--pictures", str(tmp_path), "--mm-per-px", "0.08")
    assert "3 pictures in" in said and "known to about 50 %" in said
    table = tomllib.loads(said.split("\n\n")[-1])["repeatability"]
    assert 0 < table["relative"]["area"] < 0.3


@pytest.mark.django_db
def test_the_pictures_of_a_lesion_become_a_draft_of_the_limits(shots):
    build.flags_in_force()
    lesion = scene.lesion()
    for data in shots:
        scene.measured(lesion, data, **(SCALE | {"mm_per_px": 0.08}))
    scene.measured(lesion, scene.jpeg(3), days_ago=30)
    assert "Kept as draft 2 of the limits" in run(str(lesion.pk), "--draft")
    draft = Policy.objects.get(kind="flags", version=2)
    assert draft.state == "draft" and "3 pictures of lesion" in draft.toml
    assert flags.own_repeatability(draft.toml).smallest("area", 10, 10) > 0


@pytest.mark.django_db
def test_what_is_no_study_is_refused_with_a_sentence(tmp_path):
    lesion = scene.lesion()
    for arguments, words in (
        ([], "Name a lesion"),
        ([str(lesion.pk)], "No picture of lesion"),
        (["--pictures", str(tmp_path)], "at least 3 are needed"),
        (["--pictures", str(tmp_path / "none")], "cannot be read"),
        (["--pictures", str(tmp_path), "--mm-per-px", "0"], "above 0"),
    ):
        with pytest.raises(CommandError, match=words):
            run(*arguments)
    (tmp_path / "a.jpg").write_bytes(b"words")
    with pytest.raises(CommandError, match=r"a\.jpg: "):
        run("--pictures", str(tmp_path))

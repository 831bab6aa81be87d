"""Thirty-one questions of a newcomer: each answer exists, and its room stands in the table of DEVELOPERS.md."""

import importlib
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
QUESTIONS = {
    "Where is a call logged?": "scheduling.desk.contacts.log_attempt",
    "What ends a recall?": "scheduling.recalls.closing.close",
    "Where is the ruler found?": "lesions.analysis.picture.ruler.find_ruler",
    "Who may do what?": "clinic.access.may",
    "Where is an audit record written?": "clinic.trail.audit.record",
    "Which tables are only added to?": "clinic.trail.triggers.recreate",
    "Where is a patient registered?": "clinic.people.patients.register",
    "Where do two records of one person become one?": "clinic.merging.merging.propose",
    "Where does care end?": "clinic.people.ending.end_care",
    "Where is a visit recorded?": "clinic.people.visits.record",
    "Where is a risk tier assessed?": "clinic.people.risk.assess",
    "Where is a policy approved?": "clinic.policies.approve",
    "Where is background work registered?": "clinic.jobs.register_work",
    "How is a place added to the masthead?": "clinic.pages.masthead.add_place",
    "How is a section added to the patient page?": "clinic.pages.patient_page.add_panel",
    "Where is a day written in words?": "clinic.formats.days.write_day",
    "Where is the year strip drawn?": "clinic.charts.year_strip.render",
    "Where is a lesion registered?": "lesions.register.register.add",
    "Which body site is a point on the chart?": "lesions.register.bodymap.region_at",
    "Where is a picture accepted?": "lesions.pictures.intake.accept",
    "Where is an outline drawn by hand?": "lesions.pictures.outlines.draw",
    "Where is a picture measured?": "lesions.measuring.measure.measure_picture",
    "What puts a lesion before a dermatologist?": "lesions.limits.flags.raise_flags",
    "Where is a decision signed?": "lesions.review.signoff.record",
    "Where is the patient told the result?": "lesions.results.pathology.tell",
    "Where are two pictures laid upon each other?": "lesions.analysis.compare.registration.register",
    "Where are facts gathered for the core?": "scheduling.planning.gather.gather_facts",
    "Where is a plan made anew?": "scheduling.planning.replan.replan_patient",
    "Where is an appointment booked?": "scheduling.desk.booking.book",
    "Where is everybody counted?": "scheduling.counting.whereabouts.count_everybody",
    "Where is a melanoma staged?": "scheduling.rules.plan.staging.stage",
}


def test_there_are_thirty_one():
    assert len(QUESTIONS) == 31


@pytest.mark.parametrize("answer", QUESTIONS.values(), ids=QUESTIONS)
def test_the_answer_exists(answer):
    module, _, name = answer.rpartition(".")
    assert callable(getattr(importlib.import_module(module), name))


@pytest.mark.parametrize("answer", QUESTIONS.values(), ids=QUESTIONS)
def test_its_module_stands_in_the_table(answer):
    table = (
        (ROOT / "DEVELOPERS.md").read_text().split("## Where things go")[1].split("## Who may import whom")[0]
    )
    app, *rooms, module, _ = answer.split(".")
    section = table.split(f"**{app}/**")[1].split("\n\n**")[0]
    last = f"{rooms[-1]}/" if rooms else ""
    assert last in section and module in section

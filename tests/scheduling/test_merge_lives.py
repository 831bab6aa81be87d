"""Lives in which records are merged and parted every few steps: the acts and the rules of `test_lives.py`, drawn evenly.

There any of sixty acts may come, and two merges in a row hardly ever do. MERGES=100 walks longer than the suite does.
Our own rule (common practice, no source).
"""

import os
from random import Random

import pytest
from hypothesis.stateful import RULE_MARKER

from lesions.models import Decision, Sign
from scheduling.models import Outcome
from tests.scheduling.life_acts import measure_each_picture_once
from tests.scheduling.test_lives import DONE, Clinic

pytestmark = pytest.mark.django_db
WALKS = int(os.environ.get("MERGES", "3"))
STEPS = 24
RECORDS = ("two_records_become_one", "two_records_become_one", "one_record_becomes_two")
OTHERS = (
    "somebody_is_registered_again", "a_lesion_is_registered", "a_sign_is_noted", "somebody_examines", "time_passes",
    "a_decision_is_signed", "a_procedure_is_done", "a_report_comes", "what_was_due_is_ticked", "somebody_rings",
    "it_is_booked", "it_is_booked", "an_appointment_ends", "a_duty_is_settled", "a_proposal_is_answered",
    "a_number_is_added_or_dies", "a_recall_is_closed", "an_appointment_is_moved", "a_picture_is_filed",
)  # fmt: skip
# What an argument may be, by its name; every other one is which row, or who.
MAY_BE = {
    "monitoring": [None, "short", "long"], "sign": Sign.values, "decision": Decision.values, "months": [3, 6],
    "kind": ["biopsy", "excision", "other"], "code": ["melanoma", "bcc", "benign"], "outcome": Outcome.values,
    "days": range(1, 60), "hour": range(9, 17), "ground": ["declined", "discharge"], "reason": ["said so"],
    "note": ["said so"], "words": ["said so"], "whom": ["said so"], "answer": ["said so"], "at_once": [True],
    "told": [True, False], "take_back": [False], "dead": [True, False], "confirmed": [True, False],
    "only_propose": [True, False], "did": [True, False], "rotten": [False],
}  # fmt: skip
ENDS = ["attended", "missed", "not_brought", "patient", "clinic"]


def arguments(act, random):
    """Draw what this act is told."""
    for name in getattr(getattr(Clinic, act), RULE_MARKER).arguments:
        choices = ENDS if (act, name) == ("an_appointment_ends", "how") else MAY_BE.get(name, range(12))
        yield name, random.choice(choices)


@pytest.mark.parametrize("seed", range(WALKS))
def test_no_merge_and_no_parting_loses_a_duty(seed, monkeypatch):
    measure_each_picture_once(monkeypatch)
    random, clinic, walked = Random(seed), Clinic(), []
    DONE.clear()
    try:
        clinic.open_the_clinic(dermatologists=3)
        clinic.somebody_is_registered_again(known=1)
        for step in range(STEPS):
            act = random.choice(OTHERS if step % 3 else RECORDS)
            walked.append((act, dict(arguments(act, random))))
            getattr(clinic, act)(**walked[-1][1])
            clinic.all_of_it_holds()
    except AssertionError as error:
        raise AssertionError(f"after {walked}") from error
    finally:
        clinic.teardown()
    assert DONE["_merge"] + DONE["_part"] > 0, DONE

"""The same facts give the same bytes in every process (domain.md "Facts in, plan out"): Python scatters its sets anew in each."""

import os
import subprocess
import sys

# Two sets say of one tumour that imaging ends on one day: one sentence, two questions.
PLAN = """
import json
from datetime import date
from scheduling.rules.plan import engine
from tests.scheduling.rules.build import build
from tests.scheduling.rules.sets import joined
tumour = {"code": "melanoma", "known_on": "2021-03-10", "stage": "IIC"}
facts = build(diagnoses=[tumour], records_since="2020-01-01")
answer = engine.plan(facts, joined("s3-germany", "cancer-council-australia"), date(2024, 1, 4)).to_json()
texts = [one["text"] for one in answer["problems"]]
assert len(texts) > len(set(texts)), texts
print(json.dumps(answer))
"""


def test_two_questions_of_one_sentence_stand_in_one_order_in_every_process():
    found = {
        subprocess.run(
            [sys.executable, "-c", PLAN],
            env=os.environ | {"PYTHONHASHSEED": str(seed)},
            capture_output=True,
            check=True,
        ).stdout
        for seed in range(6)
    }
    assert len(found) == 1

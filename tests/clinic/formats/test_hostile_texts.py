"""A text made to break the reader is a fault at each of its three users, and their pages answer with a sentence."""

import pytest
from django.urls import reverse

from clinic.models import Policy
from clinic.people import risk
from lesions.limits import flags, wording
from scheduling.planning import rules_in_force
from scheduling.rules.ruleset import ruleset
from tests import build

DEEP = "[" * 5000
MANY_DIGITS = "1" * 5000
# TOML's reader lets these two pass: a table 5,000 deep without one bracket, and hexadecimal digits without a limit.
DEEP_TABLE = "{ " + ".".join(["a"] * 5000) + " = 1 }"
MANY_HEX = "0x" + "f" * 5000
VALUES = {
    "deep": DEEP,
    "many digits": MANY_DIGITS,
    "deep table": DEEP_TABLE,
    "many hexadecimal digits": MANY_HEX,
}

# the text that ships, its checker, the page that takes a draft, and assignments of that text to put another value into
USERS = {
    "rules": (
        ruleset.shipped("default"),
        rules_in_force.check,
        "scheduling:rules_draft",
        [
            'then = "ask"',
            'urgency = "B"',
            'anchor = "diagnosis"',
            "schema = 1",
            'every = "P3M"',
            'for = "P2Y"',
        ],
    ),
    "tiers": (
        risk.shipped(),
        risk.faults_of,
        "clinic:tiers_draft",
        ["schema = 1", "value = 6.89", "red_hair.is = true", "interval = [4.63, 10.25]"],
    ),
    "limits": (
        flags.shipped(),
        wording.faults_of,
        "lesions:limits_draft",
        ["limit = 10.0", 'of = "growth"', 'code = "area_growth"', 'measures = ["area", "area_px"]'],
    ),
}
EVERY = [(user, old, value) for user, (*_, places) in USERS.items() for old in places for value in VALUES]


@pytest.mark.parametrize(("user", "old", "value"), EVERY)
def test_a_hostile_value_is_a_short_fault_and_no_breakdown(user, old, value):
    text, check, _, _ = USERS[user]
    assert old in text
    faults = check(text.replace(old, f"{old.partition('=')[0]}= {VALUES[value]}", 1))
    assert faults and all(0 < len(fault) < 500 for fault in faults)


@pytest.mark.django_db
@pytest.mark.parametrize("value", VALUES)
@pytest.mark.parametrize("user", USERS)
def test_the_page_answers_a_hostile_draft_with_its_faults(client, user, value):
    client.force_login(build.manager())
    text = f"schema = {VALUES[value]}\nname = {VALUES[value]}\n"
    answer = client.post(reverse(USERS[user][2]), {"toml": text})
    assert answer.status_code == 422
    assert not Policy.objects.exists()

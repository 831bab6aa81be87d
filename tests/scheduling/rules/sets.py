"""Rule sets for tests: shipped ones joined, and one that is marked from memory and never shipped."""

import re

from scheduling.rules.ruleset import ruleset

HEAD = 'schema = 1\nname = "test"\nversion = "1"\ntitle = "for a test"\n'

FROM_MEMORY = """
[[rule]]
id = "S-BAD-high"
title = "SCC, high risk (from memory, medium confidence)"
purpose = "full_skin_check"
anchor = "diagnosis"
when = { code = { is = "scc" }, risk_scheme = { is = "BAD" }, risk_class = { is = "high" } }
phases = [
    { every = "P4M", for = "P1Y", early = "P14D", late = "P14D" },
    { every = "P6M", for = "P1Y", early = "P30D", late = "P30D" },
]
then = "end"
spacing = "anchored"
urgency = "B"
source = "Keohane and others, British Association of Dermatologists guidelines for people with cutaneous squamous cell carcinoma, Br J Dermatol 2021"
edition = "guideline of 2020"
flag = "memory M"

[[rule]]
id = "S-BAD-vh"
title = "SCC, very high risk (from memory, medium confidence)"
purpose = "full_skin_check"
anchor = "diagnosis"
when = { code = { is = "scc" }, risk_scheme = { is = "BAD" }, risk_class = { is = "very high" } }
phases = [
    { every = "P4M", for = "P2Y", early = "P14D", late = "P14D" },
    { every = "P6M", for = "P1Y", early = "P30D", late = "P30D" },
]
then = "end"
spacing = "anchored"
urgency = "B"
source = "Keohane and others, British Association of Dermatologists guidelines for people with cutaneous squamous cell carcinoma, Br J Dermatol 2021"
edition = "guideline of 2020"
flag = "memory M"
"""


def rules_of(name):
    text = FROM_MEMORY if name == "test-bad" else ruleset.shipped(name)
    return text[text.index("[[rule]]") :]


def joined(*names, spacing=None, target=None):
    """One rule set of several; `spacing` says it of every rule, `target` of every range that ends there."""
    text = HEAD + "\n".join(rules_of(name) for name in names)
    if spacing:
        text = re.sub(r'^spacing = "\w+"$', f'spacing = "{spacing}"', text, flags=re.MULTILINE)
    if target:
        text = re.sub(rf'every = "(P\w+\.\.{target})"', rf'every = "\1", target = "{target}"', text)
    return ruleset.load(text)


def one_rule(**changes):
    """A rule set of one rule with keys changed; None leaves a key out."""
    keys = {
        "id": '"r"',
        "title": '"A rule"',
        "purpose": '"full_skin_check"',
        "anchor": '"diagnosis"',
        "when": '{ code = { is = "melanoma" } }',
        "phases": '[{ every = "P3M", for = "P2Y", early = "P14D", late = "P14D" }]',
        "then": '"ask"',
        "notice": '"P3M"',
        "spacing": '"anchored"',
        "urgency": '"B"',
        "source": '"a source"',
        "edition": '"1"',
        "flag": '"found"',
    } | changes
    return (
        HEAD
        + "[[rule]]\n"
        + "".join(f"{key} = {value}\n" for key, value in keys.items() if value is not None)
    )

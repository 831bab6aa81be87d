"""Find the rule set in force, read once for each text; a draft with faults never gets this far."""

from functools import lru_cache

from clinic import policies
from clinic.models import Policy, PolicyKind
from clinic.wording import SPOKEN
from scheduling.rules.ruleset import fault_wording, ruleset
from scheduling.rules.ruleset.ruleset import RuleSet


@lru_cache(maxsize=16)
def _loaded(sha256: str, text: str) -> RuleSet:
    return ruleset.load(text)


def rules_of(policy: Policy) -> RuleSet:
    return _loaded(policy.sha256, policy.toml)


def rules_in_force() -> tuple[Policy, RuleSet] | None:
    policy = policies.in_force(PolicyKind.RULES)
    return (policy, rules_of(policy)) if policy else None


def check(text: str) -> list[str]:
    """List the errors of a rule set in the reader's language, each with its place; a warning forbids no draft."""
    return [fault_wording.say(fault, SPOKEN) for fault in ruleset.check(text) if fault.kind == "error"]

"""Pages of rule sets: the one in force, every version as sentences and time lines, a draft and its proposal."""

from dataclasses import dataclass

from django.contrib import messages
from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from clinic import policies
from clinic.access import Act, StaffRequest, allow
from clinic.charts.phases import PhaseMark
from clinic.models import PolicyKind
from clinic.pages.policy_steps import PolicyPages, rights
from clinic.pages.responses import page_form
from clinic.wording import SPOKEN
from scheduling.forms import RulesForm
from scheduling.models import OPEN, Recall
from scheduling.planning.rules_in_force import check, rules_in_force, rules_of
from scheduling.rule_changes import approval
from scheduling.rule_changes import wording as rule_words
from scheduling.rules.dates import Duration
from scheduling.rules.plan import wording as rule_wording
from scheduling.rules.ruleset import ruleset
from scheduling.rules.ruleset.ruleset import Rule

PAGES = PolicyPages(PolicyKind.RULES, home="scheduling:rules", version="scheduling:rules_version")
# For drawing only: dates are reckoned by the calendar.
DAYS_A_MONTH = 30.44
ASKING_MONTHS = 6  # how much of the time in which a person decides is drawn


@dataclass(frozen=True)
class Shown:
    """One rule on the page, in the reader's language."""

    rule: Rule
    title: str
    sentence: str
    source: str
    edition: str
    flag: str
    phases: list[PhaseMark]
    patients: int


@allow(Act.SEE_RULES)
def rules(request: StaffRequest) -> HttpResponse:
    """Show the rules in force as sentences, with their sources and how many people each concerns."""
    current = rules_in_force()
    policy, found = current if current else (None, None)
    context = {
        "policy": policy,
        "ruleset": found,
        "title": rule_words.title_of(found) if found else "",
        "rules": shown(found.rules) if found else [],
        "versions": _versions(),
        **rights(request.user),
    }
    return render(request, "scheduling/rules.html", context)


@allow(Act.SEE_RULES)
def version(request: StaffRequest, pk: int) -> HttpResponse:
    """Show one version of the rules, or what is wrong with its text."""
    policy = PAGES.one(pk)
    context = {
        "policy": policy,
        "rules": [],
        "versions": _versions(),
        "faults": check(policy.toml),
        **rights(request.user),
    }
    if not context["faults"]:
        found = rules_of(policy)
        context |= {"ruleset": found, "title": rule_words.title_of(found), "rules": shown(found.rules)}
    return render(request, "scheduling/rules.html", context)


def _versions() -> list[policies.Version]:
    found = PAGES.versions()
    approval.add_accepted_counts(found)
    return found


def shown(rules: tuple[Rule, ...]) -> list[Shown]:
    counted = (
        Recall.objects.filter(state__in=OPEN).values("rule").annotate(people=Count("patient", distinct=True))
    )
    people = {row["rule"]: row["people"] for row in counted.order_by()}
    return [_shown(rule, people.get(rule.id, 0)) for rule in rules]


def _shown(rule: Rule, patients: int) -> Shown:
    return Shown(
        rule,
        title=rule_words.title_of(rule),
        sentence=rule_words.body_of(rule),
        source=rule_words.source_of(rule),
        edition=rule_words.edition_of(rule),
        flag=rule_words.flag_of(rule),
        phases=marks(rule),
        patients=patients,
    )


def marks(rule: Rule) -> list[PhaseMark]:
    """Draw the phases as a time line; what follows is drawn only where a person decides."""
    found = [
        PhaseMark(
            label=rule_wording.phase_words(phase, SPOKEN),
            interval_months=_months(phase.target),
            months=_months(phase.length) if phase.length is not None and not phase.as_decided else None,
            dashed=phase.as_decided,
        )
        for phase in rule.phases
    ]
    if rule.then == "ask":
        found.append(PhaseMark(rule_wording.phase_labels(rule, SPOKEN)[-1], 0, _asking(found), dashed=True))
    return found


def _asking(before: list[PhaseMark]) -> float:
    # In proportion: beside five years half a year could hardly be seen, beside three months it would be all.
    return max(ASKING_MONTHS / 4, sum(mark.drawn_months for mark in before) / 3)


def _months(duration: Duration) -> float:
    return duration.months + duration.days / DAYS_A_MONTH


@allow(Act.PROPOSE_POLICY)
def draft(request: StaffRequest) -> HttpResponse:
    """Draft another rule set from the text in force."""
    current = policies.in_force(PolicyKind.RULES)
    text = current.toml if current else ruleset.shipped("default")
    form = RulesForm(request.POST or None, initial={"toml": text})
    made = PAGES.keep(request, form, check) if form.is_valid() else None
    if made:
        words = _("Rule set %(version)s is a draft. Read it as sentences, then propose it.")
        messages.success(request, words % {"version": made.version})
        return redirect(PAGES.version, made.pk)
    note = _("Nothing changes for any patient before a second person has approved it.")
    more = {"back": PAGES.home, "button": _("Check and keep as draft"), "note": note}
    return page_form(request, form, _("Draft a rule set"), **more)


@allow(Act.PROPOSE_POLICY)
@require_POST
def propose(request: StaffRequest, pk: int) -> HttpResponse:
    said = _("Rule set %(version)s is proposed: another person looks at what it does and approves it.")
    return PAGES.propose(request, pk, said)

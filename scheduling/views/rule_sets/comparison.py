"""Page with rule sets side by side for chosen facts; it stands in the address, no record is read or written."""

from dataclasses import dataclass
from functools import lru_cache

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.html import format_html
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, StaffRequest, allow
from clinic.models import Policy, PolicyKind, PolicyState, Purpose
from scheduling.forms import ComparisonForm
from scheduling.planning.rules_in_force import check, rules_of
from scheduling.rule_changes import comparison
from scheduling.rule_changes import wording as rule_words
from scheduling.rule_changes.comparison import Column, Planned
from scheduling.rule_changes.what_if import CannotSuppose
from scheduling.rules.ruleset import ruleset
from scheduling.rules.ruleset.ruleset import Rule, RuleSet
from scheduling.rules.ruleset.vocabulary import SOURCELESS

# Three that differ most; a choice, no source.
FIRST_SHOWN = ("default", "scotland-2022", "s3-germany")


@dataclass(frozen=True)
class Source:
    """Where rules of one set come from, and how well that is known; numbered where a set names several."""

    words: str
    flag: str
    superseded_by: str


@dataclass(frozen=True)
class Cell:
    planned: Planned
    rules: list[tuple[str, int]]  # the phases in words, and the number of their source


@dataclass
class Shown:
    """One set on the page."""

    head: str
    column: Column
    sources: list[Source]

    def cell(self, purpose: str) -> Cell | None:
        planned = self.column.planned.get(purpose)
        if planned is None:
            return None
        return Cell(planned, [(rule_words.phases_of(rule), self._number(rule)) for rule in planned.rules])

    def _number(self, rule: Rule) -> int:
        source = _source(rule)
        if source not in self.sources:
            self.sources.append(source)
        return self.sources.index(source) + 1


@allow(Act.SEE_RULES)
def compare(request: StaffRequest) -> HttpResponse:
    """Show what each chosen rule set asks of somebody with these facts."""
    sets = _choices()
    form = ComparisonForm(request.GET or None, sets=sets, initial={"sets": FIRST_SHOWN})
    context: dict[str, object] = {"form": form}
    if form.is_valid():
        try:
            context |= _compared(form)
        except CannotSuppose as error:
            form.add_error(error.part if error.part in form.fields else None, str(error))
    return render(request, "scheduling/compare.html", context, status=422 if form.errors else 200)


def _choices() -> list[tuple[str, str]]:
    """List the sets of the clinic, newest first, then those that come with the program."""
    own = Policy.objects.filter(kind=PolicyKind.RULES).exclude(state=PolicyState.REPLACED)
    stored = [
        (
            f"set-{row.pk}",
            _("Set %(set)s, %(state)s") % {"set": row.version, "state": row.get_state_display()},
        )
        for row in own.order_by("-version")
        # A draft that cannot be read has nothing to compare.
        if not check(row.toml)
    ]
    return [*stored, *((name, _title(_shipped(name))) for name in ruleset.shipped_names())]


# What comes with the program cannot change while it runs; a set of the clinic is read anew each time.
@lru_cache(maxsize=16)
def _shipped(name: str) -> RuleSet:
    return ruleset.load(ruleset.shipped(name))


def _title(found: RuleSet) -> str:
    """Shorten a title: without what stands in brackets or behind a colon; data, which nobody translates."""
    words = rule_words.title_of(found).partition(" (")[0].partition(":")[0]
    return format_html('<span translate="no">{}</span>', words)


def _set(name: str) -> RuleSet:
    kind, _sep, key = name.partition("set-")
    return rules_of(Policy.objects.get(pk=key)) if key and not kind else _shipped(name)


def _compared(form: ComparisonForm) -> dict[str, object]:
    today, labels = clock.today(), dict(_choices())
    shown = [
        Shown(labels[name], comparison.column(form.chosen(), _set(name), today), [])
        for name in form.cleaned_data["sets"]
    ]
    purposes = comparison.purposes([one.column for one in shown])
    rows = [(Purpose(purpose).label, [one.cell(purpose) for one in shown]) for purpose in purposes]
    return {"shown": shown, "rows": rows}


def _source(rule: Rule) -> Source:
    if rule.source in SOURCELESS:
        return Source(rule_words.source_of(rule), "", "")
    flag = "" if rule.flag == "found" else rule_words.flag_of(rule)
    words = f"{rule_words.source_of(rule)}, {rule_words.edition_of(rule)}"
    return Source(words, flag, rule.superseded_by or "")

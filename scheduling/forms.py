"""Forms of calls, appointments, closings, own intervals, checklists, rule sets and suppositions."""

from collections.abc import Iterable
from dataclasses import fields
from datetime import timedelta
from decimal import Decimal
from typing import Any, get_args

from django import forms
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from clinic import clock
from clinic.models import Patient, Policy, PolicyKind, Purpose, Tier, Visit
from clinic.pages.fields import RevisionForm, day_field, say_once
from clinic.wording import SPOKEN, Words, write_day
from lesions.models import DiagnosisCode, Grade, Image, Monitoring, Sentinel, StageBasis
from lesions.register import wording as register_wording
from lesions.results import report_checks
from scheduling.checklists.definitions import Item, Sheet
from scheduling.diary_forms import offer, offer_rows
from scheduling.models import Ground
from scheduling.recalls import discharge, what_follows
from scheduling.rule_changes.comparison import Chosen
from scheduling.rule_changes.what_if import DETAILS, Supposition
from scheduling.rules.facts import facts
from scheduling.rules.plan.wording import value_words

_NONE = ("", _("none"))
SUPPOSED_FIRST = (
    "code", "how_many", "anchor", "thickness", "tier", "transplant", "monitoring", "region", "since", "sign", "done",
)  # fmt: skip
DONE_FOR_A_PERSON = (
    Purpose.FULL_SKIN_CHECK,
    Purpose.NODE_EXAMINATION,
    Purpose.NODE_ULTRASOUND,
    Purpose.SECTIONAL_IMAGING,
    Purpose.LABORATORY,
    Purpose.RESULT_VISIT,
    Purpose.WOUND_CHECK,
    Purpose.SUTURE_REMOVAL,
)


_NOT_STATED = ("", _("not stated"))
_UNITS = [("M", _("months")), ("W", _("weeks"))]


def _codes() -> forms.Select:
    """Make a choice of codes of a publication, which are nobody's language."""
    return forms.Select(attrs={"translate": "no"})


def _stated(words: Iterable[str]) -> list[tuple[str, Words]]:
    return [_NOT_STATED, *((word, word) for word in words)]


def _yes_or_no(unknown: Words, label: Words) -> forms.NullBooleanField:
    words = [("unknown", unknown), ("true", _("yes")), ("false", _("no"))]
    return forms.NullBooleanField(label=label, widget=forms.Select(choices=words), required=False)


def _regions() -> list[tuple[str, Words]]:
    return [_NOT_STATED, *((one, value_words(one, SPOKEN)) for one in get_args(facts.Region))]


class CallerForm(forms.Form):
    """Asks about a caller who is not found: who, from where, in which words, and the signs in them."""

    name = forms.CharField(label=_("Name, as it was said"), max_length=120)
    number = forms.CharField(label=_("Telephone number to ring back"), max_length=60)
    words = forms.CharField(label=_("In the caller's words"), widget=forms.Textarea(attrs={"rows": 3}))
    signs = forms.MultipleChoiceField(
        label=_("What was said about the skin"),
        choices=register_wording.SIGNS,
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text=_("Any of these makes it urgent."),
    )


class DischargeForm(forms.Form):
    """Asks which series a discharge ends; nothing is ticked beforehand."""

    series = forms.MultipleChoiceField(
        label=_("Which checks the discharge ends"),
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text=_("Only for “clinician's discharge”. What is not ticked goes on."),
    )

    def __init__(self, *args: Any, series: list[discharge.Series], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "series", [(one.key, one.words) for one in series])

    def clean_series(self) -> list[tuple[str, ...]]:
        return [tuple(value.split("|", 1)) for value in self.cleaned_data["series"]]


class ClosingForm(DischargeForm, RevisionForm):
    """Asks on which ground a recall is closed, and what stands behind it."""

    ground = forms.ChoiceField(label=_("On which ground"), choices=Ground.choices, widget=forms.RadioSelect)
    note = forms.CharField(
        label=_("What stands behind it"),
        help_text=_("Who said so and when, which letter, which other recall."),
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    field_order = ["ground", "series", "note"]

    def clean(self) -> dict[str, Any]:
        super().clean()
        data = self.cleaned_data
        if data.get("ground") == Ground.DISCHARGE and not data.get("series"):
            self.add_error("series", gettext("Say which checks this discharge ends."))
        return data


class WhatFollowsForm(RevisionForm):
    """Asks what follows a schedule; the most cautious answer stands first, and an interval always has an end."""

    choice = forms.ChoiceField(label=_("What follows"), widget=forms.RadioSelect)
    every = forms.IntegerField(label=_("Another interval: every"), min_value=1, max_value=60, required=False)
    unit = forms.ChoiceField(label=_("Unit"), choices=_UNITS)
    until = day_field(
        _("Until"), future=True, required=False, help_text=_("On this day somebody is asked again.")
    )
    reason = forms.CharField(
        label=_("Reason, or ground of the discharge"),
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    accepted = forms.BooleanField(label=_("I accept the later day"), required=False)

    field_order = ["choice", "every", "unit", "until", "reason", "accepted"]

    def __init__(self, *args: Any, every: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        words = {what_follows.Answer.GO_ON: gettext("Go on as before, %(every)s") % {"every": every}}
        offer(self, "choice", [(one.value, words.get(one, one.label)) for one in what_follows.Answer])

    def clean(self) -> dict[str, Any]:
        super().clean()
        data = self.cleaned_data
        if data.get("choice") == what_follows.Answer.INTERVAL and not data.get("every"):
            self.add_error("every", gettext("Say how many months or weeks."))
        return data

    def answer(self) -> dict[str, Any]:
        """Give the arguments of the topic function."""
        given = self.cleaned_data
        interval = f"P{given['every']}{given['unit']}" if given["every"] else ""
        names = ("until", "reason", "revision", "accepted")
        return {"answer": given["choice"], "interval": interval, **{name: given[name] for name in names}}


class LaterForm(RevisionForm):
    """Asks when somebody who cannot be reached is looked at again."""

    next_look_on = day_field(_("Look again on"), future=True)
    note = forms.CharField(label=_("What was tried"), widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["next_look_on"].initial = clock.today() + timedelta(days=30)  # clinic setting, no source


class OverrideForm(RevisionForm):
    """`accepted` repeats the words of the later date that was looked at, so another one is looked at again."""

    what = forms.ChoiceField(label=_("What for"))
    every = forms.IntegerField(label=_("Every"), min_value=1, max_value=120, required=False)
    unit = forms.ChoiceField(label=_("Unit"), choices=_UNITS)
    date = day_field(_("Or on this day"), future=True, required=False)
    until = day_field(
        _("Until"),
        future=True,
        required=False,
        help_text=_("After this day the rules count again. Empty: until somebody ends it."),
    )
    reason = forms.CharField(
        label=_("Reason"),
        help_text=_("It stands beside the date wherever the date is shown."),
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    accepted = forms.CharField(required=False)  # a tick that the page draws with its words

    field_order = ["what", "every", "unit", "date", "until", "reason"]

    def __init__(
        self, *args: Any, choices: list[tuple[str, str]], fixed: bool = False, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "what", choices)
        if fixed:
            self.fields["what"].widget = forms.HiddenInput()

    def clean(self) -> dict[str, Any]:
        super().clean()
        data = self.cleaned_data
        if not self.errors and bool(data.get("every")) == bool(data.get("date")):
            raise forms.ValidationError(gettext("Give either an interval or a day, one of the two."))
        return data

    def said(self) -> str:
        given = self.cleaned_data
        return "|".join(str(given[name] or "") for name in ("what", "every", "unit", "date", "until"))

    def decision(self) -> dict[str, Any]:
        """Give the arguments of the topic function, `interval` or `date` among them."""
        given = self.cleaned_data
        purpose, _sep, subject = given["what"].partition("|")
        when = {"date": given["date"]} if given["date"] else {"interval": f"P{given['every']}{given['unit']}"}
        return when | {
            "purpose": purpose,
            "subject": subject,
            "until": given["until"],
            "reason": given["reason"],
            "revision": given["revision"],
            "accepted": given["accepted"] == self.said(),
        }


class EndOverrideForm(RevisionForm):
    """Asks why an own interval or day ends."""

    reason = forms.CharField(label=_("Why it ends"), widget=forms.Textarea(attrs={"rows": 2}))
    accepted = forms.CharField(required=False)  # a tick that the page draws with its words


OF_THE_PICTURE = "picture"


class ChecklistForm(forms.Form):
    """The items of one sheet. Nothing is ticked beforehand, and an empty sheet says that nothing was seen."""

    def __init__(
        self,
        *args: Any,
        sheet: Sheet,
        visits: list[Visit],
        likely: Visit | None,
        image: Image | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.sheet, self.visits = sheet, {str(visit.pk): visit for visit in visits}
        for item in sheet.items:
            self.fields[item.name] = _field_of(item)
        if sheet.ticks:
            self.fields["nothing"] = forms.BooleanField(
                label=_("None of the above is present"), required=False
            )
        seen = [(key, write_day(visit.attended_on)) for key, visit in self.visits.items()]
        alone = [(OF_THE_PICTURE, gettext("no visit: from the picture alone"))] if image else []
        self.fields["visit_of"] = forms.ChoiceField(
            label=_("Seen in the visit of"),
            choices=[*seen, *alone],
            initial=likely.pk if likely else (OF_THE_PICTURE if image else None),
            widget=forms.RadioSelect,
        )

    def clean(self) -> dict[str, Any]:
        super().clean()
        data = self.cleaned_data
        if not self.sheet.ticks or self.errors:
            return data
        ticked = any(data.get(item.name) for item in self.sheet.ticks)
        # Both said, or neither: an empty sheet must not pass for one on which nothing was found.
        if ticked == bool(data.get("nothing")):
            said = (
                _(
                    "Something is ticked, and also that none is present. Tick what is present, or say that none is."
                )
                if ticked
                else _("Nothing is ticked. Tick what is present, or say that none is.")
            )
            raise forms.ValidationError(said)
        return data

    def visit(self) -> Visit | None:
        """The visit in which the lesion was seen, None where only its picture was."""
        return self.visits.get(self.cleaned_data["visit_of"])

    def entries(self) -> dict[str, Any]:
        given = {item.name: self.cleaned_data[item.name] for item in self.sheet.items}
        return {name: str(value) if isinstance(value, Decimal) else value for name, value in given.items()}


def _field_of(item: Item) -> forms.Field:
    about: dict[str, Any] = {"label": item.label, "help_text": item.help}
    if item.how == "one":
        return forms.ChoiceField(choices=item.choices, widget=forms.RadioSelect, **about)
    if item.how == "mm":
        return forms.DecimalField(min_value=Decimal("0.1"), max_value=500, decimal_places=1, **about)
    required = item.at_least > 0
    ticks = forms.CheckboxSelectMultiple
    return forms.MultipleChoiceField(choices=item.choices, widget=ticks, required=required, **about)


class RulesForm(forms.Form):
    """Asks for the text of a rule set."""

    toml = forms.CharField(
        label=_("The rule set"),
        help_text=_("Every rule names its source and edition, and what follows its last phase."),
        widget=forms.Textarea(attrs={"rows": 40, "spellcheck": "false", "translate": "no"}),
        strip=False,
    )


class RuleSetField(forms.ModelChoiceField):  # type: ignore[type-arg]  # it takes none at run time
    """One of the rule sets, by its number and its state."""

    def label_from_instance(self, row: Policy) -> str:
        return gettext("set %(set)s, %(state)s") % {"set": row.version, "state": row.get_state_display()}


class SuppositionForm(forms.Form):
    """Asks for supposed facts: every group may stay empty, and nothing of it is kept."""

    rules = RuleSetField(
        Policy.objects.none(),
        label=_("Under which rule set"),
        required=False,
        empty_label=_("the set in force"),
    )
    number = forms.CharField(
        label=_("Record number"),
        max_length=20,
        required=False,
        help_text=_("Such as QD-00012. Empty: a person of whom nothing else is known."),
    )
    code = forms.ChoiceField(label=_("Diagnosis"), choices=[_NONE, *DiagnosisCode.choices], required=False)
    anchor = day_field(_("Definitive excision on"), required=False)
    thickness = forms.CharField(label=_("Thickness in mm"), max_length=10, required=False)
    how_many = forms.IntegerField(
        label=_("How many such tumours"),
        min_value=1,
        max_value=9,
        required=False,
        help_text=_("Empty: one. All excised on one day."),
    )
    ulceration = _yes_or_no(_("not stated"), label=_("Ulceration"))
    n = forms.ChoiceField(label=_("N"), choices=_stated(report_checks.NODES), widget=_codes(), required=False)
    m = forms.ChoiceField(
        label=_("M"), choices=_stated(report_checks.METASTASES), widget=_codes(), required=False
    )
    stage = forms.ChoiceField(
        label=_("Stage (AJCC 8), if stated"),
        choices=_stated(report_checks.STAGES),
        widget=_codes(),
        required=False,
    )
    stage_basis = forms.ChoiceField(
        label=_("Which staging it is"), choices=[_NOT_STATED, *StageBasis.choices], required=False
    )
    risk_class = forms.ChoiceField(
        label=_("Risk class of a squamous cell carcinoma (S3)"),
        choices=[_NOT_STATED, ("low", _("low")), ("intermediate", _("intermediate")), ("high", _("high"))],
        required=False,
    )
    grade = forms.ChoiceField(
        label=_("Grade of a dysplastic naevus"), choices=[_NOT_STATED, *Grade.choices], required=False
    )
    sentinel = forms.ChoiceField(
        label=_("Sentinel node"), choices=[_NOT_STATED, *Sentinel.choices], required=False
    )
    deposit_mm = forms.CharField(
        label=_("Deposit in the sentinel node, in mm"), max_length=10, required=False
    )
    nodes_cleared = _yes_or_no(_("not stated"), label=_("Lymph nodes cleared"))
    tier = forms.ChoiceField(
        label=_("Risk tier, assessed today"), choices=[("", _("as it is")), *Tier.choices], required=False
    )
    transplant = _yes_or_no(_("as it is"), label=_("Has received a transplant"))
    monitoring = forms.ChoiceField(
        label=_("A further lesion under watch"),
        choices=[_NONE, *Monitoring.choices],
        required=False,
    )
    region = forms.ChoiceField(label=_("Where it is"), choices=_regions, required=False)
    since = day_field(_("Watched since"), required=False, help_text=_("Empty: today."))
    sign = forms.ChoiceField(
        label=_("A sign of it, noted today"),
        choices=[_NONE, *register_wording.SIGNS],
        required=False,
    )
    done = forms.MultipleChoiceField(
        label=_("Done today"),
        choices=[(purpose.value, purpose.label) for purpose in DONE_FOR_A_PERSON],
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        say_once(self)
        self.patient: Patient | None = None
        offer_rows(self, "rules", Policy.objects.filter(kind=PolicyKind.RULES).order_by("-version"))

    def clean_number(self) -> str:
        number: str = self.cleaned_data["number"].strip()
        if number:
            found = Patient.objects.filter(number__iexact=number).select_related("merged_into").first()
            if found is None:
                raise forms.ValidationError(gettext("No record has this number."))
            # Old letters bear the number of the record that was merged away.
            self.patient = found.merged_into or found
        return number

    @property
    def supposed(self) -> list[forms.BoundField]:
        return [self[name] for name in SUPPOSED_FIRST]

    @property
    def details(self) -> list[forms.BoundField]:
        return [self[name] for name in DETAILS]

    @property
    def details_given(self) -> bool:
        return any(field.value() not in (None, "", "unknown") or field.errors for field in self.details)

    def supposition(self) -> Supposition:
        given = {field.name: self.cleaned_data[field.name] for field in fields(Supposition)}
        return Supposition(**given | {"done": tuple(given["done"])})


class MissedRateForm(forms.Form):
    """Asks how many of a hundred do not come, for the year ahead."""

    missed = forms.FloatField(
        label=_("Of a hundred who are booked, how many do not come"),
        help_text=_("Each of them is wanted again the week after."),
        min_value=0,
        max_value=60,
        widget=forms.NumberInput(attrs={"step": "0.1", "inputmode": "decimal"}),
    )


class ComparisonForm(forms.Form):
    """Facts that nobody has, and the rule sets that are asked about them; what stays empty is unknown."""

    code = forms.ChoiceField(
        label=_("Diagnosis, excised today"),
        choices=[_NONE, *DiagnosisCode.choices],
        initial="melanoma",
        required=False,
    )
    stage = forms.ChoiceField(
        label=_("Stage (AJCC 8)"), choices=_stated(report_checks.STAGES), widget=_codes(), required=False
    )
    thickness = forms.CharField(label=_("Thickness in mm"), max_length=10, required=False)
    deposit_mm = SuppositionForm.base_fields["deposit_mm"]
    nodes_cleared = SuppositionForm.base_fields["nodes_cleared"]
    risk_class = SuppositionForm.base_fields["risk_class"]
    tier = forms.ChoiceField(
        label=_("Risk tier, assessed today"), choices=[("", _("not assessed")), *Tier.choices], required=False
    )
    transplant = forms.BooleanField(label=_("Has received a transplant"), required=False)
    sets = forms.MultipleChoiceField(
        label=_("Which sets"), widget=forms.CheckboxSelectMultiple, help_text=_("Two to four.")
    )

    def __init__(self, *args: Any, sets: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        say_once(self)
        offer(self, "sets", sets)

    def clean_sets(self) -> list[str]:
        names: list[str] = self.cleaned_data["sets"]
        if not 2 <= len(names) <= 4:
            raise forms.ValidationError(gettext("Choose two to four sets."))
        return names

    def clean(self) -> dict[str, Any]:
        super().clean()
        data = self.cleaned_data
        if not data.get("code") and not data.get("tier"):
            self.add_error("code", gettext("Choose a diagnosis, a tier, or both."))
        if data.get("transplant") and not data.get("tier"):
            self.add_error("tier", gettext("A transplant is a fact of the risk assessment: choose the tier."))
        details = [name for name in ("stage", "thickness", "deposit_mm", "risk_class") if data.get(name)]
        if details and not data.get("code"):
            self.add_error("code", gettext("Choose of which diagnosis these are details."))
        return data

    def facts(self) -> list[Any]:
        return [field for field in self if field.name != "sets"]

    def chosen(self) -> Chosen:
        given = {key: value for key, value in self.cleaned_data.items() if key != "sets"}
        # Without a tier nobody was assessed, and “no transplant” would be a fact that nobody has.
        return Chosen(**given | {"transplant": given["transplant"] if given["tier"] else None})

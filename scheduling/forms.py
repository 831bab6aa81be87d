from collections.abc import Iterable
from dataclasses import fields
from datetime import timedelta
from typing import Any

from django import forms
from django.utils import timezone

from clinic import clock, panels
from clinic.forms import RevisionForm, day_field, done_choices
from clinic.models import Patient, Policy, PolicyKind, Purpose, Tier
from lesions import pathology
from lesions.models import DiagnosisCode, Monitoring, Sign, StageBasis
from scheduling.models import Appointment, Ground, Outcome, Resource
from scheduling.supposing import Supposition
from scheduling.words import subjects, what_for

_NONE = ("", "none")
DONE_FOR_A_PERSON = (
    Purpose.FULL_SKIN_CHECK,
    Purpose.NODE_EXAMINATION,
    Purpose.IMAGING_OR_LABORATORY,
    Purpose.RESULT_VISIT,
    Purpose.WOUND_CHECK,
    Purpose.SUTURE_REMOVAL,
)


def _stated(words: Iterable[str]) -> list[tuple[str, str]]:
    return [("", "not stated"), *((word, word) for word in words)]


class TimeInput(forms.TimeInput):
    input_type = "time"


class AttemptForm(forms.Form):
    """The addresses offered are those of the record that are not dead; what was used is copied into the attempt."""

    way = forms.ChoiceField(label="By which way", widget=forms.RadioSelect)
    outcome = forms.ChoiceField(label="What came of it", choices=[("", "choose"), *Outcome.choices])
    told = forms.CharField(
        label="What the patient was told about why", widget=forms.Textarea(attrs={"rows": 2}), required=False
    )
    next_on = day_field("Not again before", future=True, required=False)
    note = forms.CharField(widget=forms.Textarea(attrs={"rows": 2}), required=False)

    def __init__(self, *args: Any, patient: Patient, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        routes = patient.routes.filter(dead_since__isnull=True)
        self.fields["way"].choices = [(f"{row.kind}|{row.value}", str(row)) for row in routes]

    def data_of_attempt(self) -> dict[str, Any]:
        given = dict(self.cleaned_data)
        route, _, address = given.pop("way").partition("|")
        return given | {"route": route, "address": address}


class BookForm(RevisionForm):
    resource = forms.ModelChoiceField(Resource.objects.filter(active=True), widget=forms.HiddenInput)
    starts_at = forms.DateTimeField(widget=forms.HiddenInput)

    def clean_starts_at(self) -> Any:
        moment = self.cleaned_data["starts_at"]
        return moment if timezone.is_aware(moment) else timezone.make_aware(moment)


class ClosingForm(RevisionForm):
    ground = forms.ChoiceField(choices=Ground.choices, widget=forms.RadioSelect)
    note = forms.CharField(
        label="What stands behind it",
        help_text="Who said so and when, which letter, which other recall.",
        widget=forms.Textarea(attrs={"rows": 3}),
    )


class LaterForm(RevisionForm):
    next_look_on = day_field("Look again on", future=True)
    note = forms.CharField(label="What was tried", widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["next_look_on"].initial = clock.today() + timedelta(days=30)


class CameForm(RevisionForm):
    """Nothing is ticked beforehand: only what was done completes a recall."""

    done = forms.MultipleChoiceField(
        label="What was done",
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text="What it was booked for stands first. What is not ticked opens again.",
    )
    note = forms.CharField(widget=forms.Textarea(attrs={"rows": 2}), required=False)

    def __init__(self, *args: Any, appointment: Appointment, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = list(appointment.recalls.all())
        places = subjects(rows)
        asked = [(f"{row.purpose}|{row.subject}", what_for(row, places)) for row in rows]
        others = done_choices(panels.subjects_of(appointment.patient))
        known = {value for value, _ in asked}
        self.fields["done"].choices = [*asked, *(choice for choice in others if choice[0] not in known)]

    def clean_done(self) -> list[tuple[str, str]]:
        return [tuple(value.split("|", 1)) for value in self.cleaned_data["done"]]  # type: ignore[misc]


class HoursForm(forms.Form):
    room = forms.CharField(label="Room or person", max_length=60, help_text="A new name adds a new one.")
    day = day_field("Day", future=True)
    opens = forms.TimeField(widget=TimeInput(format="%H:%M"), initial="09:00")
    closes = forms.TimeField(widget=TimeInput(format="%H:%M"), initial="17:00")
    slot_minutes = forms.IntegerField(label="Minutes a slot", initial=20, min_value=5, max_value=240)


class ClosureForm(forms.Form):
    day = day_field("Day", future=True)
    reason = forms.CharField(max_length=80)


class RulesForm(forms.Form):
    toml = forms.CharField(
        label="The rule set",
        help_text="Every rule names its source and edition, and what follows its last phase.",
        widget=forms.Textarea(attrs={"rows": 40, "spellcheck": "false"}),
        strip=False,
    )


class SuppositionForm(forms.Form):
    """A question to the rules: every group may stay empty, and nothing of it is kept."""

    rules = forms.ModelChoiceField(
        Policy.objects.none(), label="Under which rule set", required=False, empty_label="the set in force"
    )
    number = forms.CharField(
        label="Record number",
        max_length=20,
        required=False,
        help_text="Such as QD-00012. Empty: a person of whom nothing else is known.",
    )
    code = forms.ChoiceField(label="Diagnosis", choices=[_NONE, *DiagnosisCode.choices], required=False)
    anchor = day_field("Definitive excision on", required=False)
    thickness = forms.CharField(label="Thickness in mm", max_length=10, required=False)
    ulceration = forms.NullBooleanField(
        widget=forms.Select(choices=[("unknown", "not stated"), ("true", "yes"), ("false", "no")]),
        required=False,
    )
    n = forms.ChoiceField(label="N", choices=_stated(pathology.NODES), required=False)
    m = forms.ChoiceField(label="M", choices=_stated(pathology.METASTASES), required=False)
    stage = forms.ChoiceField(
        label="Stage (AJCC 8), if stated", choices=_stated(pathology.STAGES), required=False
    )
    stage_basis = forms.ChoiceField(choices=[("", "not stated"), *StageBasis.choices], required=False)
    risk_class = forms.ChoiceField(
        label="Risk class of a squamous cell carcinoma (S3)",
        choices=_stated(("low", "intermediate", "high")),
        required=False,
    )
    tier = forms.ChoiceField(
        label="Risk tier, assessed today", choices=[("", "as it is"), *Tier.choices], required=False
    )
    monitoring = forms.ChoiceField(
        label="A further lesion under watch",
        choices=[_NONE, *Monitoring.choices],
        required=False,
    )
    since = day_field("Watched since", required=False, help_text="Empty: today.")
    sign = forms.ChoiceField(
        label="A sign of it, noted today",
        choices=[_NONE, *Sign.choices],
        required=False,
    )
    done = forms.MultipleChoiceField(
        label="Done today",
        choices=[(purpose.value, purpose.label) for purpose in DONE_FOR_A_PERSON],
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.patient: Patient | None = None
        self.fields["rules"].queryset = Policy.objects.filter(kind=PolicyKind.RULES).order_by("-version")
        self.fields["rules"].label_from_instance = lambda row: f"set {row.version}, {row.get_state_display()}"

    def clean_number(self) -> str:
        number = self.cleaned_data["number"].strip()
        if number:
            found = Patient.objects.filter(number__iexact=number).select_related("merged_into").first()
            if found is None:
                raise forms.ValidationError("No record has this number.")
            self.patient = found.merged_into or found
        return number

    @property
    def supposed(self) -> list[forms.BoundField]:
        names = ("code", "anchor", "thickness", "tier", "monitoring", "since", "sign", "done")
        return [self[name] for name in names]

    @property
    def details(self) -> list[forms.BoundField]:
        return [self[name] for name in ("ulceration", "n", "m", "stage", "stage_basis", "risk_class")]

    @property
    def details_given(self) -> bool:
        return any(field.value() not in (None, "", "unknown") or field.errors for field in self.details)

    def supposition(self) -> Supposition:
        given = {field.name: self.cleaned_data[field.name] for field in fields(Supposition)}
        return Supposition(**given | {"done": tuple(given["done"])})


class MissedRateForm(forms.Form):
    missed = forms.FloatField(
        label="Of a hundred who are booked, how many do not come",
        help_text="Each of them is wanted again the week after.",
        min_value=0,
        max_value=60,
        widget=forms.NumberInput(attrs={"step": "0.1", "inputmode": "decimal"}),
    )

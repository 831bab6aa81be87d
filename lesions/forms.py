from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from clinic import clock
from clinic.access import ACTS, Act
from clinic.models import Member, Patient
from clinic.pages.fields import RevisionForm, day_field
from clinic.wording import write_day
from lesions.models import (
    Decision,
    DiagnosisCode,
    Grade,
    ImageKind,
    Lesion,
    LesionState,
    Monitoring,
    Procedure,
    ProcedureKind,
    ScaleOrigin,
    Sentinel,
    Side,
    Sign,
    StageBasis,
    View,
)
from lesions.register import bodymap, register
from lesions.review import report_checks, results_owed, signoff

_NOT_MONITORED = [("", "not monitored with pictures"), *Monitoring.choices]
_UNKNOWN = ("", "not stated")
MOST_LINES = 1000  # a longer text is no outline, and is not read on


def _note(label: str = "Note", rows: int = 2, required: bool = False) -> forms.CharField:
    return forms.CharField(label=label, widget=forms.Textarea(attrs={"rows": rows}), required=required)


class LesionForm(forms.Form):
    """Site and side in words; without a script the point of the chart follows from them."""

    site = forms.ChoiceField(choices=bodymap.SITES)
    side = forms.ChoiceField(choices=Side.choices)
    view = forms.ChoiceField(choices=[("", ""), *View.choices], required=False)
    x = forms.FloatField(min_value=0, max_value=1000, required=False)
    y = forms.FloatField(min_value=0, max_value=1000, required=False)
    since = day_field("First recorded", initial=clock.today)
    monitoring = forms.ChoiceField(choices=_NOT_MONITORED, required=False)
    note = _note()

    # These five are drawn by the body chart, the rest as ordinary fields.
    ON_THE_CHART = ("site", "side", "view", "x", "y")

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        point = [data.get("view"), data.get("x"), data.get("y")]
        if data.get("site") and data.get("side") and any(value in (None, "") for value in point):
            try:
                data["view"], data["x"], data["y"] = bodymap.centre(data["site"], data["side"])
            except bodymap.WrongSide as error:
                raise ValidationError(str(error)) from error
        return data

    def place(self) -> dict[str, Any]:
        """Give what was posted for the body chart, with every fault that concerns it."""
        raw = {name: self.data.get(name, "") for name in self.ON_THE_CHART} if self.is_bound else {}
        faults = [text for name in self.ON_THE_CHART for text in self.errors.get(name, [])]
        return {**raw, "errors": [*faults, *self.non_field_errors()]}

    def other_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in ("since", "monitoring", "note")]


class AmendLesionForm(RevisionForm):
    state = forms.ChoiceField(choices=LesionState.choices)
    monitoring = forms.ChoiceField(choices=_NOT_MONITORED, required=False)
    note = _note()
    reason = forms.CharField(
        label="Why, where this ends something owed",
        help_text="Who said so and when. Another person confirms it; until then nothing ends.",
        max_length=200,
        required=False,
    )

    field_order = ["state", "monitoring", "note", "reason", "revision"]


class SignForm(forms.Form):
    sign = forms.ChoiceField(choices=Sign.choices, widget=forms.RadioSelect)
    noted_on = day_field("Noted on", initial=clock.today)
    words = _note("In the patient's words")


class ExaminedForm(forms.Form):
    on = day_field("Examined in person on", initial=clock.today)
    outcome = _note("What came of it", required=True)


class _ManyFiles(forms.ClearableFileInput):
    allow_multiple_selected = True


class _FilesField(forms.FileField):
    """One file or several; each is judged by itself later, so that one bad file spoils no other."""

    widget = _ManyFiles

    def clean(self, data: Any, initial: Any = None) -> list[Any]:
        if not data:
            raise ValidationError("Choose at least one file.", code="required")
        return list(data)


class PicturesForm(forms.Form):
    """Asks for the files of one upload, and for what is true of all of them."""

    picture = _FilesField(label="Pictures: JPEG, PNG, TIFF or WebP")
    taken_on = day_field("Taken on", initial=clock.today)
    kind = forms.ChoiceField(label="Kind", choices=ImageKind.choices, initial=ImageKind.DERMOSCOPIC)
    mm_per_px = forms.FloatField(
        label="Millimetres per pixel", required=False, help_text="Of the full picture. Empty: no sizes in mm."
    )
    scale_origin = forms.ChoiceField(
        label="Where the scale comes from", required=False, choices=[("", "no scale"), *ScaleOrigin.choices]
    )

    def clean(self) -> dict[str, Any]:
        data = super().clean()
        if (data.get("mm_per_px") is None) != (not data.get("scale_origin")):
            raise ValidationError("A scale needs both: millimetres per pixel, and where they come from.")
        return data

    def about(self) -> dict[str, Any]:
        """Give what `intake.accept` is told about each file."""
        data = {name: value for name, value in self.cleaned_data.items() if name != "picture"}
        return data | {"scale_origin": data["scale_origin"] or None}

    def faults(self) -> str:
        """Write every fault in one line, for a script."""
        return " ".join(
            f"{self.fields[name].label}: {' '.join(texts)}" if name in self.fields else " ".join(texts)
            for name, texts in self.errors.items()
        )


def as_lines(points: Iterable[Sequence[float]]) -> str:
    """Write points as staff and scripts read them: one on a line, x and y in pixels of the full picture."""
    return "\n".join(f"{x:.1f} {y:.1f}" for x, y in points)


class _PointsField(forms.CharField):
    def to_python(self, value: Any) -> Any:
        lines = [line for line in super().to_python(value).splitlines() if line.strip()]
        return [self._point(number, line) for number, line in enumerate(lines[:MOST_LINES], start=1)]

    def _point(self, number: int, line: str) -> tuple[float, float]:
        try:
            x, y = (float(part) for part in line.replace(",", " ").split())
        except ValueError:
            raise ValidationError(
                f"Line {number} is no point; write two numbers, such as 512.5 300."
            ) from None
        return x, y


def _points(label: str, example: str) -> _PointsField:
    area = forms.Textarea(attrs={"rows": 8, "spellcheck": "false", "autocomplete": "off"})
    text = f"One point on a line: pixels from the left, pixels from the top. {example}"
    return _PointsField(label=label, widget=area, help_text=text)


class OutlineForm(RevisionForm):
    points = _points("Points of the outline", "The last is joined to the first.")


class ScaleForm(RevisionForm):
    points = _points("The two points", "Two lines.")
    mm = forms.FloatField(label="Distance between them in millimetres", min_value=0.01)


class DecisionForm(forms.Form):
    decision = forms.ChoiceField(choices=Decision.choices, widget=forms.RadioSelect)
    months = forms.IntegerField(
        label="Months until the next look",
        min_value=1,
        max_value=24,
        required=False,
        help_text="With “look again” only.",
    )
    note = _note()
    all_the_same = forms.BooleanField(
        label="Sign all the same", required=False, widget=forms.HiddenInput, initial=False
    )

    def clean(self) -> dict[str, Any]:
        """The months stand beside “look again” all the time and are part of that choice alone."""
        data = super().clean()
        if data.get("decision") != Decision.LOOK_AGAIN:
            data["months"] = None
        elif data.get("months") is None and "months" not in self.errors:
            self.add_error("months", _("Say in how many months."))
        return data

    def ask(self, questions: Iterable[str]) -> None:
        """Show the form again with what is asked before signing, and with the tick that answers it."""
        self.fields["all_the_same"].widget = forms.CheckboxInput()
        for question in questions:
            self.add_error("all_the_same", question)

    def say_what_follows(self, words: Mapping[str, str]) -> None:
        """Write beside each decision what the plan will then ask, by the value of the decision."""
        field = self.fields["decision"]
        field.choices = [
            (value, f"{label} · {words[value]}" if words.get(value) else label)
            for value, label in field.choices
        ]

    def supposed(self) -> tuple[str, int | None] | None:
        """Give the decision as it would be signed, to ask what follows from it; None while it is not complete."""
        decision, months = (self.cleaned_data.get(name) for name in ("decision", "months"))
        return (decision, months) if decision and (decision == "look_again") == (months is not None) else None


class SignOffForm(RevisionForm, DecisionForm):
    in_person = forms.BooleanField(label="I examined the lesion in person", required=False)

    field_order = ["decision", "months", "note", "in_person", "all_the_same", "revision"]


class BedsideForm(DecisionForm):
    """Asks for a decision that was made in person, with or without pictures."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["decision"].choices = [
            choice for choice in Decision.choices if choice[0] not in signoff.OF_A_PICTURE
        ]


class PatientSearchForm(forms.Form):
    who = forms.CharField(label="Number, name or day of birth of the right patient", max_length=80)


class MovePictureForm(RevisionForm):
    lesion = forms.ModelChoiceField(
        label="The lesion that it shows", queryset=Lesion.objects.none(), widget=forms.RadioSelect
    )

    def __init__(self, *args: Any, choices: Sequence[Lesion], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["lesion"]
        field.queryset = Lesion.objects.filter(pk__in=[row.pk for row in choices])
        field.choices = [(row.pk, _whose(row)) for row in choices]


def _whose(row: Lesion) -> str:
    patient = row.patient
    return f"{patient}, born {write_day(patient.born)}, {patient.number}: {row.label} · {register.place_words(row)}"


class SetAsideForm(RevisionForm):
    reason = forms.CharField(label="Why nobody can file it", widget=forms.Textarea(attrs={"rows": 2}))


class AddendumForm(forms.Form):
    text = forms.CharField(label="Add to the decision", widget=forms.Textarea(attrs={"rows": 2}))


class _LesionChoice(forms.ModelChoiceField):
    def label_from_instance(self, lesion: Lesion) -> str:
        return f"{lesion.label} · {register.place_words(lesion)}"


class _OfPatient(forms.Form):
    """A form whose lesions are those of one patient."""

    lesion = _LesionChoice(queryset=Lesion.objects.none(), required=False)

    def __init__(self, *args: Any, patient: Patient, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["lesion"].queryset = patient.lesions.exclude(state=LesionState.ERROR)


_STATED = [("unknown", "not stated"), ("true", "yes"), ("false", "no")]


class ProcedureForm(_OfPatient):
    kind = forms.ChoiceField(choices=ProcedureKind.choices, widget=forms.RadioSelect)
    on = day_field("Done on", initial=clock.today)
    site = forms.ChoiceField(
        label="Site, if no lesion is named", choices=[_UNKNOWN, *bodymap.SITES], required=False
    )
    sutures = forms.NullBooleanField(
        label="Sutures to remove later",
        widget=forms.Select(choices=_STATED),
        required=False,
        help_text="Not stated counts as yes after an excision, as no after anything else.",
    )
    note = _note()

    field_order = ["kind", "on", "lesion", "site", "sutures", "note"]


class SuturesForm(RevisionForm):
    sutures = forms.TypedChoiceField(
        label="Sutures to remove",
        choices=[("yes", "yes, they come out later"), ("no", "no: dissolving ones, or none")],
        coerce=lambda word: word == "yes",
        widget=forms.RadioSelect,
    )


class UnmatchedReportForm(forms.Form):
    laboratory = forms.CharField(label=_("From which laboratory"), max_length=120)
    reference = forms.CharField(label=_("Number of the report"), max_length=60, required=False)
    name = forms.CharField(label=_("Name and date of birth on it"), max_length=160, required=False)
    words = _note(label=_("What it says"), rows=4, required=True)


class InErrorForm(RevisionForm):
    reason = _note(label=_("What is wrong, and how that was noticed"), required=True)


class DiagnosisForm(_OfPatient):
    procedure = forms.ModelChoiceField(
        label="From the procedure", queryset=Procedure.objects.none(), required=False
    )
    code = forms.ChoiceField(label="Diagnosis, as reported", choices=[("", "choose"), *DiagnosisCode.choices])
    reported_on = day_field("Reported on", initial=clock.today)
    anchor = day_field(
        "Definitive excision on",
        required=False,
        help_text="Follow-up counts from this day. Empty: somebody is asked.",
    )
    thickness = forms.CharField(label="Thickness in mm, as reported", max_length=10, required=False)
    ulceration = forms.NullBooleanField(
        widget=forms.Select(choices=_STATED),
        required=False,
    )
    n = forms.ChoiceField(
        label="Lymph nodes (N)",
        choices=[_UNKNOWN, *((n, n) for n in report_checks.NODES[:-1]), ("NX", "NX: not examined")],
        required=False,
    )
    m = forms.ChoiceField(
        label="M", choices=[_UNKNOWN, *((m, m) for m in report_checks.METASTASES)], required=False
    )
    stage = forms.ChoiceField(
        label="Stage (AJCC 8), if stated",
        choices=[_UNKNOWN, *((s, s) for s in report_checks.STAGES)],
        required=False,
    )
    stage_basis = forms.ChoiceField(choices=[_UNKNOWN, *StageBasis.choices], required=False)
    grade = forms.ChoiceField(
        label="Grade, for a dysplastic naevus", choices=[_UNKNOWN, *Grade.choices], required=False
    )
    sentinel = forms.ChoiceField(label="Sentinel node", choices=[_UNKNOWN, *Sentinel.choices], required=False)
    deposit_mm = forms.CharField(label="Largest deposit in mm", max_length=8, required=False)
    nodes_cleared = forms.NullBooleanField(
        label="Lymph nodes cleared", widget=forms.Select(choices=_STATED), required=False
    )
    uncertain = forms.BooleanField(
        label="The report leaves open whether it is malignant",
        required=False,
        help_text="The patient is then told as soon as after a malignant one.",
    )

    field_order = ["procedure", "lesion", "code", "reported_on", "anchor"]

    def __init__(self, *args: Any, patient: Patient, **kwargs: Any) -> None:
        super().__init__(*args, patient=patient, **kwargs)
        self.fields["procedure"].queryset = patient.procedures.all()


class NewDiagnosisForm(DiagnosisForm):
    tells = forms.ModelChoiceField(
        label="Who tells the patient",
        queryset=Member.objects.none(),
        required=False,
        empty_label="anybody who may",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        roles = [role for role, acts in ACTS.items() if Act.TELL_PATIENT in acts]
        self.fields["tells"].queryset = Member.objects.filter(is_active=True, role__in=roles)


class AmendDiagnosisForm(RevisionForm, DiagnosisForm):
    """What has become known since: the same questions, answered in place."""

    not_known = forms.MultipleChoiceField(
        label="Will not be known",
        choices=list(results_owed.WANTED.items()),
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text="Nobody is asked for it any more.",
    )
    report_of = forms.ModelChoiceField(
        label="Further tissue that was reported",
        queryset=Procedure.objects.none(),
        required=False,
        empty_label="none",
        help_text="Such as that of a wider excision: its report is told for itself.",
    )
    corrected = forms.BooleanField(
        label="This is a corrected report",
        required=False,
        help_text="It is read and told anew, as it is where the diagnosis is another one.",
    )
    why = forms.CharField(
        label="Why", required=False, max_length=200, help_text="What became known, or who corrected it."
    )

    field_order = [
        "procedure",
        "lesion",
        "code",
        "reported_on",
        "anchor",
        "thickness",
        "ulceration",
        "n",
        "not_known",
    ]

    def __init__(self, *args: Any, patient: Patient, **kwargs: Any) -> None:
        super().__init__(*args, patient=patient, **kwargs)
        waits = results_owed.waits_for_report(patient)
        self.fields["report_of"].queryset = patient.procedures.filter(pk__in=waits)


class LimitsForm(forms.Form):
    toml = forms.CharField(
        label="The limits",
        help_text="Every limit names its measures and its source.",
        widget=forms.Textarea(attrs={"rows": 40, "spellcheck": "false"}),
        strip=False,
    )

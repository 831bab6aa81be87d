"""Forms of Results: procedures, reports and diagnoses, first written or amended."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from django import forms
from django.utils.translation import gettext_lazy as _

from clinic import clock
from clinic.access import ACTS, Act
from clinic.models import Member, Patient
from clinic.pages.fields import RevisionForm, day_field, note_field, of_kind
from clinic.wording import Words
from lesions.models import (
    DiagnosisCode,
    Grade,
    Lesion,
    LesionState,
    Margin,
    Procedure,
    ProcedureKind,
    Sentinel,
    StageBasis,
    Subtype,
)
from lesions.register import register, subjects, wording
from lesions.results import report_checks, results_owed

if TYPE_CHECKING:  # Django's own classes name no type that they hold
    _LesionField = forms.ModelChoiceField[Lesion]
    _ProcedureField = forms.ModelChoiceField[Procedure]
else:
    _LesionField = _ProcedureField = forms.ModelChoiceField
_UNKNOWN = ("", _("not stated"))


class _LesionChoice(_LesionField):
    def label_from_instance(self, lesion: Lesion) -> str:
        return f"{lesion.label} · {register.place_words(lesion)}"


class _ProcedureChoice(_ProcedureField):
    def label_from_instance(self, procedure: Procedure) -> str:
        return subjects.procedure_words(procedure)


class _OfPatient(forms.Form):
    """A form whose lesions are those of one patient."""

    lesion = _LesionChoice(label=_("Lesion"), queryset=Lesion.objects.none(), required=False)

    def __init__(self, *args: Any, patient: Patient, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        of_kind(self, "lesion", forms.ModelChoiceField).queryset = patient.lesions.exclude(
            state=LesionState.ERROR
        )


_STATED = [("unknown", _("not stated")), ("true", _("yes")), ("false", _("no"))]


class _Stated(forms.NullBooleanSelect):
    """Yes, no or not stated, which shows what stands: a plain list would show every answer as not stated."""

    def __init__(self) -> None:
        super().__init__()
        self.choices = _STATED


class ProcedureForm(_OfPatient):
    kind = forms.ChoiceField(
        label=_("Kind of procedure"), choices=ProcedureKind.choices, widget=forms.RadioSelect
    )
    on = day_field(_("Done on"), initial=clock.today)
    site = forms.ChoiceField(
        label=_("Site, if no lesion is named"), choices=[_UNKNOWN, *wording.SITES], required=False
    )
    sutures = forms.NullBooleanField(
        label=_("Sutures to remove later"),
        widget=_Stated(),
        required=False,
        help_text=_("Not stated counts as yes after an excision, as no after anything else."),
    )
    note = note_field()

    field_order = ["kind", "on", "lesion", "site", "sutures", "note"]


class SuturesForm(RevisionForm):
    sutures = forms.TypedChoiceField(
        label=_("Sutures to remove"),
        choices=[("yes", _("yes, they come out later")), ("no", _("no: dissolving ones, or none"))],
        coerce=lambda word: word == "yes",
        widget=forms.RadioSelect,
    )


class UnmatchedReportForm(forms.Form):
    laboratory = forms.CharField(label=_("From which laboratory"), max_length=120)
    reference = forms.CharField(label=_("Number of the report"), max_length=60, required=False)
    name = forms.CharField(label=_("Name and date of birth on it"), max_length=160, required=False)
    words = note_field(label=_("What it says"), rows=4, required=True)


class InErrorForm(RevisionForm):
    reason = note_field(label=_("What is wrong, and how that was noticed"), required=True)


def _stated(label: Words, choices: Iterable[tuple[str, Words]]) -> forms.ChoiceField:
    return forms.ChoiceField(label=label, choices=[("", _("not stated")), *choices], required=False)


class DiagnosisForm(_OfPatient):
    procedure = _ProcedureChoice(
        label=_("From the procedure"), queryset=Procedure.objects.none(), required=False
    )
    code = forms.ChoiceField(
        label=_("Diagnosis, as reported"), choices=[("", _("choose")), *DiagnosisCode.choices]
    )
    reported_on = day_field(_("Reported on"), initial=clock.today)
    report_number = forms.CharField(label=_("Number of the report"), max_length=60, required=False)
    anchor = day_field(
        _("Definitive excision on"),
        required=False,
        help_text=_("Follow-up counts from this day. Empty: somebody is asked."),
    )
    thickness = forms.CharField(label=_("Thickness in mm, as reported"), max_length=10, required=False)
    ulceration = forms.NullBooleanField(
        label=_("Ulceration"),
        widget=_Stated(),
        required=False,
    )
    subtype = _stated(_("Subtype of the melanoma"), Subtype.choices)
    mitoses = forms.CharField(label=_("Mitoses per mm²"), max_length=8, required=False)
    margin_peripheral = _stated(_("Peripheral margin"), Margin.choices)
    margin_peripheral_mm = forms.CharField(
        label=_("Peripheral margin clear by, in mm"), max_length=8, required=False
    )
    margin_deep = _stated(_("Deep margin"), Margin.choices)
    margin_deep_mm = forms.CharField(label=_("Deep margin clear by, in mm"), max_length=8, required=False)
    n = forms.ChoiceField(
        label=_("Lymph nodes (N)"),
        choices=[_UNKNOWN, *((n, n) for n in report_checks.NODES[:-1]), ("NX", _("NX: not examined"))],
        required=False,
    )
    m = forms.ChoiceField(
        label=_("Metastases (M)"),
        choices=[_UNKNOWN, *((m, m) for m in report_checks.METASTASES)],
        required=False,
    )
    stage = forms.ChoiceField(
        label=_("Stage (AJCC 8), if stated"),
        choices=[_UNKNOWN, *((s, s) for s in report_checks.STAGES)],
        widget=forms.Select(attrs={"translate": "no"}),
        required=False,
    )
    stage_basis = forms.ChoiceField(
        label=_("Basis of the stage"), choices=[_UNKNOWN, *StageBasis.choices], required=False
    )

    grade = forms.ChoiceField(
        label=_("Grade, for a dysplastic naevus"), choices=[_UNKNOWN, *Grade.choices], required=False
    )
    sentinel = forms.ChoiceField(
        label=_("Sentinel node"), choices=[_UNKNOWN, *Sentinel.choices], required=False
    )
    deposit_mm = forms.CharField(label=_("Largest deposit in mm"), max_length=8, required=False)
    nodes_cleared = forms.NullBooleanField(label=_("Lymph nodes cleared"), widget=_Stated(), required=False)
    uncertain = forms.BooleanField(
        label=_("The report leaves open whether it is malignant"),
        required=False,
        help_text=_("The patient is then told as soon as after a malignant one."),
    )
    report_text = note_field(label=_("Text of the report, whole"), rows=6)

    field_order = ["procedure", "lesion", "code", "reported_on", "report_number", "anchor"]

    def __init__(self, *args: Any, patient: Patient, **kwargs: Any) -> None:
        super().__init__(*args, patient=patient, **kwargs)
        of_kind(self, "procedure", forms.ModelChoiceField).queryset = patient.procedures.select_related(
            "lesion"
        )


class NewDiagnosisForm(DiagnosisForm):
    tells = forms.ModelChoiceField(
        label=_("Who tells the patient"),
        queryset=Member.objects.none(),
        widget=forms.Select(attrs={"translate": "no"}),
        required=False,
        empty_label=_("anybody who may"),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        roles = [role for role, acts in ACTS.items() if Act.TELL_PATIENT in acts]
        of_kind(self, "tells", forms.ModelChoiceField).queryset = Member.objects.filter(
            is_active=True, role__in=roles
        )


class AmendDiagnosisForm(RevisionForm, DiagnosisForm):
    """What has become known since: the same questions, answered in place."""

    not_known = forms.MultipleChoiceField(
        label=_("Will not be known"),
        choices=list(results_owed.WANTED.items()),
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text=_("Nobody is asked for it any more."),
    )
    report_of = _ProcedureChoice(
        label=_("Further tissue that was reported"),
        queryset=Procedure.objects.none(),
        required=False,
        empty_label=_("none"),
        help_text=_("Such as that of a wider excision: its report is told for itself."),
    )
    corrected = forms.BooleanField(
        label=_("This is a corrected report"),
        required=False,
        help_text=_("It is read and told anew, as it is where the diagnosis is another one."),
    )
    why = forms.CharField(
        label=_("Why"), required=False, max_length=200, help_text=_("What became known, or who corrected it.")
    )

    field_order = [
        "procedure",
        "lesion",
        "code",
        "reported_on",
        "report_number",
        "anchor",
        "thickness",
        "ulceration",
        "subtype",
        "mitoses",
        "margin_peripheral",
        "margin_peripheral_mm",
        "margin_deep",
        "margin_deep_mm",
        "n",
        "not_known",
    ]

    def __init__(self, *args: Any, patient: Patient, **kwargs: Any) -> None:
        super().__init__(*args, patient=patient, **kwargs)
        waits = results_owed.waits_for_report(patient)
        of_kind(self, "report_of", forms.ModelChoiceField).queryset = patient.procedures.filter(
            pk__in=waits
        ).select_related("lesion")

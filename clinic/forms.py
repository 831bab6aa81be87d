"""Forms of patients, risk, visits, policies and staff."""

from collections.abc import Iterable
from typing import Any, ClassVar

from django import forms
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.utils.html import format_html
from django.utils.translation import gettext_lazy as _

from clinic import clock
from clinic.access import Act, may, roles_with
from clinic.duties.outcomes import Outcome
from clinic.duties.telling import WhoWasTold
from clinic.duties.wording import MAY_NOT_BE_TOLD
from clinic.merging.alike import Alike, find_alike
from clinic.models import (
    Authority,
    Carer,
    ContactRoute,
    EndGround,
    Member,
    Patient,
    PatientStatus,
    RiskAssessment,
    Role,
    Sex,
    Tier,
    ToldTo,
)
from clinic.models.duty import How
from clinic.pages.fields import RevisionForm, day_field, done_choices, say_once
from clinic.people import carers, finding
from clinic.people.risk import FACTORS
from clinic.wording import Words


class PatientForm(forms.ModelForm):
    born = day_field(_("Date of birth"))

    class Meta:
        model = Patient
        fields = [
            "given_name",
            "family_name",
            "born",
            "sex",
            "address_hint",
            "interpreter",
            "access_needs",
            "best_times",
            "practitioner",
            "referrer",
        ]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        sex: Any = self.fields["sex"]
        sex.choices = [("", _("not asked")), *Sex.choices]


_AGREES = [("yes", _("agrees")), ("no", _("does not agree"))]


def _said(word: str) -> bool | None:
    """Read an answer of `_AGREES`; None where nobody asked."""
    return {"yes": True, "no": False}.get(word)


class PhotoConsentForm(forms.Form):
    """Asks what the patient says to photographs for care: nothing is chosen beforehand."""

    given = forms.TypedChoiceField(
        label=_("The patient"), choices=_AGREES, coerce=_said, widget=forms.RadioSelect
    )
    on = day_field(_("Said on"), initial=clock.today)
    words = forms.CharField(label=_("How, or who answered for them"), max_length=160, required=False)


class RegisterForm(PatientForm):
    photographs = forms.TypedChoiceField(
        label=_("Photographs for care"),
        choices=[("", _("not asked yet")), *_AGREES],
        coerce=_said,
        empty_value=None,
        required=False,
    )
    photographs_on = day_field(_("Photographs: said on"), required=False, help_text=_("Empty: today."))
    phone = forms.CharField(label=_("Telephone"), max_length=200, required=False)
    same_name_checked = forms.BooleanField(label=_("I have checked: it is another person"), required=False)

    field_order = ["given_name", "family_name", "born", "sex", "phone", "address_hint", "interpreter"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.alike: list[Alike] = []

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        # Who has looked and ticked the box is believed: otherwise namesakes could never be registered.
        if not (data.get("family_name") and data.get("born")) or data.get("same_name_checked"):
            return data
        named = {name: data.get(name, "") for name in ("given_name", "family_name", "born", "phone")}
        self.alike = find_alike(**named)
        if self.alike:
            raise ValidationError(
                _(
                    "Perhaps this person is already registered: look at the records below. "
                    "If it is another person, tick the box."
                )
            )
        return data


class AmendForm(RevisionForm, PatientForm):
    pass


class RouteForm(forms.ModelForm):
    order = forms.IntegerField(
        label=_("Order"), min_value=1, max_value=9, required=False, help_text=_("1 is tried first.")
    )

    class Meta:
        model = ContactRoute
        fields = ["kind", "value", "order", "voicemail", "carer"]
        widgets = {"carer": forms.Select(attrs={"translate": "no"})}

    def __init__(self, *args: Any, patient: Patient, **more: Any) -> None:
        super().__init__(*args, **more)
        carer: Any = self.fields["carer"]
        carer.queryset = patient.carers.holding(clock.today()).exclude(authority=Authority.NOTHING)
        # The page has read them already: choices of a queryset would be asked for once more.
        theirs = [(row.pk, str(row)) for row in carers.in_force(patient)]
        carer.choices = [("", _("the patient's own")), *theirs]


class CarerForm(forms.ModelForm):
    """Who looks after the patient, what may be said, from when until when."""

    # Nothing is chosen beforehand: the first of the list would be everything.
    authority = forms.ChoiceField(label=_("What may be said"), choices=[("", "—"), *Authority.choices])
    valid_from = day_field(_("From"), initial=clock.today, future=True)
    valid_until = day_field(_("Until"), future=True, required=False)

    class Meta:
        model = Carer
        fields = ["name", "relation", "authority", "valid_from", "valid_until"]


class EndCareForm(RevisionForm):
    # Nothing is chosen beforehand: the first of the list would be a death.
    status = forms.ChoiceField(
        label=_("Status"),
        choices=[("", "—"), *(one for one in PatientStatus.choices if one[0] not in ("active", "ending"))],
    )
    on = day_field(_("Since"), initial=clock.today)
    ground = forms.CharField(label=_("Ground, and where it is known from"), max_length=200)


class RiskForm(forms.ModelForm):
    """The answers in groups; what is left to the assessor is asked only once the answers leave it open."""

    assessed_on = day_field(_("Assessed on"), initial=clock.today)
    chosen = forms.ChoiceField(label=_("The tier you choose"), choices=[("", "---------"), *Tier.choices])

    GROUPS: ClassVar = (
        (_("Skin and moles"), ("naevi", "atypical", "dysplastic_syndrome", "phototype", "red_hair", "blue_eyes")),
        (_("Sun"), ("sunburns", "blistering_burns", "sunbeds", "some_keratoses", "many_keratoses")),
        (
            _("Before now"),
            ("past_melanoma", "several_melanomas", "past_keratinocyte", "immunosuppressed", "transplanted"),
        ),
        (_("Family"), ("relatives", "other_relatives", "family_keratinocyte", "gene_carrier")),
    )  # fmt: skip
    field_order = ["chosen", "chosen_because", "counselling", "assessed_on"]
    DECISIONS: ClassVar = ("chosen", "chosen_because", "counselling")

    class Meta:
        model = RiskAssessment
        fields = ["assessed_on", *FACTORS, "chosen_because", "counselling", "note"]
        widgets = {
            "note": forms.Textarea(attrs={"rows": 2}),
            "chosen_because": forms.Textarea(attrs={"rows": 2}),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in self.DECISIONS:
            self.fields[name].required = False
        say_once(self, (*self.DECISIONS, *(name for _title, names in self.GROUPS for name in names)))

    def groups(self) -> list[tuple[Words, list[Any]]]:
        return [(title, [self[name] for name in names]) for title, names in self.GROUPS]

    def open_decisions(self) -> list[Any]:
        """Those that the answers left open, and those that were filled in already."""
        fields = [self[name] for name in self.DECISIONS]
        return [field for field in fields if field.errors or (self.is_bound and field.value())]


class TiersForm(forms.Form):
    toml = forms.CharField(
        label=_("The criteria"),
        help_text=_("Every criterion names its tier, its answers, its source and its mark."),
        widget=forms.Textarea(attrs={"rows": 40, "spellcheck": "false", "translate": "no"}),
        strip=False,
    )


class DutyLimitsForm(forms.Form):
    toml = forms.CharField(
        label=_("The limits"),
        help_text=_("Days for each duty, and for what is urgent; “working” leaves out Saturday and Sunday."),
        widget=forms.Textarea(attrs={"rows": 40, "spellcheck": "false", "translate": "no"}),
        strip=False,
    )


class VisitForm(forms.Form):
    attended_on = day_field(_("Came on"), initial=clock.today)
    done = forms.MultipleChoiceField(
        label=_("What was done"),
        widget=forms.CheckboxSelectMultiple,
        help_text=_("Only what was done completes a recall."),
    )
    note = forms.CharField(label=_("Note"), widget=forms.Textarea(attrs={"rows": 2}), required=False)

    def __init__(
        self,
        *args: Any,
        subjects: list[tuple[str, str]],
        by: Member,
        due: Iterable[tuple[str, str]] = (),
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        choices = done_choices(subjects, due, by=by)
        self.fields["done"].choices = choices  # type: ignore[attr-defined]  # known as a field of any kind

    def clean_done(self) -> list[tuple[str, str]]:
        parted = (value.partition("|") for value in self.cleaned_data["done"])
        return [(purpose, subject) for purpose, _bar, subject in parted]


class MemberForm(forms.ModelForm):
    password = forms.CharField(
        label=_("Password"),
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        required=False,
    )

    class Meta:
        model = Member
        fields = ["username", "name", "role", "checks_skin", "is_active"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance.pk is None:
            self.fields["password"].required = True
        else:
            self.fields["username"].disabled = True
            self.fields["password"].help_text = _("Leave empty to keep the present one.")

    def clean_password(self) -> str:
        password: str = self.cleaned_data["password"]
        if password:
            validate_password(password, self.instance)
        return password


class LeaveForm(forms.Form):
    """Days away and who stands in; whoever manages accounts names whose."""

    member = forms.ModelChoiceField(
        label=_("Who is away"), queryset=Member.objects.none(), widget=forms.Select(attrs={"translate": "no"})
    )
    first_day = day_field(_("First day away"), future=True)
    last_day = day_field(_("Last day away"), future=True)
    deputy = forms.ModelChoiceField(
        label=_("Who stands in"),
        queryset=Member.objects.none(),
        widget=forms.Select(attrs={"translate": "no"}),
        required=False,
        empty_label=_("nobody named"),
        help_text=_("Whoever has the same rights."),
    )
    all_the_same = forms.BooleanField(
        label=_("Note it all the same, though nobody reads decisions then"), required=False
    )

    def __init__(self, *args: Any, by: Member, **more: Any) -> None:
        super().__init__(*args, **more)
        active = Member.objects.filter(is_active=True).order_by("name", "pk")
        whose: Any = self.fields["member"]
        deputy: Any = self.fields["deputy"]
        whose.queryset = active if may(by, Act.MANAGE_STAFF) else active.filter(pk=by.pk)
        whose.initial = by.pk
        deputy.queryset = active.exclude(role=Role.ADMINISTRATOR)


class SettleForm(RevisionForm):
    """Asks what came of a duty; which fields an outcome needs is checked where the entry is written."""

    outcome = forms.ChoiceField(label=_("Outcome"), widget=forms.RadioSelect)
    on = day_field(_("On"))
    whom = forms.CharField(label=_("To whom, or by whom"), max_length=120, required=False)
    how = forms.ChoiceField(label=_("How"), choices=[("", "—"), *How.choices], required=False)
    words = forms.CharField(
        label=_("What was said, or what follows"), required=False, widget=forms.Textarea(attrs={"rows": 2})
    )
    until = day_field(_("Until, where a day is asked for"), future=True, required=False)
    teller = forms.ModelChoiceField(
        label=_("Who tells the patient"),
        queryset=Member.objects.none(),
        required=False,
        widget=forms.Select(attrs={"translate": "no"}),
    )

    def __init__(self, *args: Any, outcomes: Iterable[Outcome], **more: Any) -> None:
        super().__init__(*args, **more)
        outcomes = list(outcomes)
        if not any("until" in one.needs for one in outcomes):
            del self.fields["until"]
        if any(one.then == "tell" for one in outcomes):
            tellers = Member.objects.filter(is_active=True, role__in=roles_with(Act.TELL_PATIENT))
            self.fields["teller"].queryset = tellers.order_by("name")  # type: ignore[attr-defined]  # any kind of field
        else:
            del self.fields["teller"]
        choices = [(one.code, one.words) for one in outcomes]
        self.fields["outcome"].choices = choices  # type: ignore[attr-defined]  # known as a field of any kind


class _CarerChoice(forms.ModelChoiceField):
    def label_from_instance(self, carer: Carer) -> str:
        return f"{carer.name} ({carer.relation})"


class TellForm(SettleForm):
    """Asks what came of telling a result: who was told is the patient, or somebody who may be, or is named with why."""

    told_to = forms.ChoiceField(
        label=_("Who was told"), choices=ToldTo.choices, widget=forms.RadioSelect, required=False
    )
    carer = _CarerChoice(
        label=_("Who may be told today"),
        queryset=Carer.objects.none(),
        required=False,
        empty_label="—",
        error_messages={"invalid_choice": MAY_NOT_BE_TOLD},
        widget=forms.Select(attrs={"translate": "no"}),  # names
    )
    whom = forms.CharField(label=_("Somebody else: who"), max_length=120, required=False)
    why = forms.CharField(label=_("Why that person may be told"), max_length=200, required=False)

    field_order = ["revision", "outcome", "on", "told_to", "carer", "whom", "why", "how", "words"]

    def __init__(self, *args: Any, patient: Patient, **more: Any) -> None:
        super().__init__(*args, **more)
        may_be_told = patient.carers.holding(clock.today()).filter(authority=Authority.EVERYTHING)
        carer: Any = self.fields["carer"]
        carer.queryset = may_be_told
        # Which of them are wanted hangs on the outcome: neither “may stay empty” nor “required” would be true.
        say_once(self)

    def clean(self) -> dict[str, Any]:
        """Put together who was told, as the entry takes it."""
        given: dict[str, Any] = super().clean() or {}
        to, carer, why = given.pop("told_to", ""), given.pop("carer", None), given.pop("why", "")
        return given | {"told": WhoWasTold(to, carer, why)}


class EndDutyForm(RevisionForm):
    ground = forms.ChoiceField(label=_("Ground"), choices=EndGround.choices)
    note = forms.CharField(label=_("What stands behind it"), widget=forms.Textarea(attrs={"rows": 2}))


class ProposeEndForm(EndDutyForm):
    pass


class GiveForm(RevisionForm):
    owner = forms.ModelChoiceField(
        label=_("Who does it"), queryset=Member.objects.none(), widget=forms.Select(attrs={"translate": "no"})
    )

    def __init__(self, *args: Any, act: Act, **more: Any) -> None:
        super().__init__(*args, **more)
        may_do = Member.objects.filter(is_active=True, role__in=roles_with(act))
        owner: Any = self.fields["owner"]
        owner.queryset = may_do.order_by("name")


class PutOffForm(RevisionForm):
    until = day_field(_("Until"), future=True)
    note = forms.CharField(label=_("Why it can wait"), max_length=200)


class MergeForm(RevisionForm):
    """Which record stays, and why it is one person."""

    survivor = forms.ChoiceField(label=_("Which record stays"), widget=forms.RadioSelect)
    reason = forms.CharField(
        label=_("How you know that it is one person"), widget=forms.Textarea(attrs={"rows": 2})
    )

    def __init__(self, *args: Any, people: Iterable[Patient], **more: Any) -> None:
        super().__init__(*args, **more)
        choices = [
            (str(one.pk), format_html('<span translate="no">{} {}</span>', one.number, one)) for one in people
        ]
        self.fields["survivor"].choices = choices  # type: ignore[attr-defined]  # known as a field of any kind


class PartForm(forms.Form):
    reason = forms.CharField(
        label=_("How you know that they are two people"), widget=forms.Textarea(attrs={"rows": 2})
    )


class SameAsForm(forms.Form):
    """Names the other record by its number."""

    number = forms.CharField(label=_("Number of the other record"), max_length=12)

    def clean_number(self) -> Patient:
        written = self.cleaned_data["number"].strip()
        number = finding.record_number(int(written)) if written.isdecimal() else written
        found = Patient.objects.filter(number__iexact=number).first()
        if found is None:
            raise ValidationError(_("No record has this number."))
        return found


class AnswerForm(RevisionForm):
    confirmed = forms.ChoiceField(
        label=_("Your answer"), choices=[("yes", _("Confirm")), ("no", _("Refuse"))], widget=forms.RadioSelect
    )
    answer = forms.CharField(
        label=_("A word to who proposed it; a refusal needs one"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )


class StaffTrailForm(forms.Form):
    """Whose acts are shown, and of which days; also of who has left."""

    member = forms.ModelChoiceField(
        Member.objects.order_by("name"),
        label=_("Member of staff"),
        widget=forms.Select(attrs={"translate": "no"}),  # names
        empty_label="—",
    )
    first = day_field(_("From"), initial=clock.today, future=True)
    last = day_field(_("To"), initial=clock.today, future=True)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if "first" in given and "last" in given and given["last"] < given["first"]:
            raise ValidationError(_("The last day lies before the first."))
        return given

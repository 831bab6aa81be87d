"""Forms of lesions, pictures and decisions."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from clinic import clock
from clinic.pages.fields import RevisionForm, day_field, note_field, of_kind, say_once
from clinic.wording import SPOKEN, Words, write_day
from lesions.models import (
    Decision,
    ImageKind,
    Lesion,
    LesionState,
    Monitoring,
    ScaleOrigin,
    Side,
    View,
)
from lesions.register import bodymap, register, wording
from lesions.review import signoff

_NOT_MONITORED = [("", _("not monitored with pictures")), *Monitoring.choices]
MOST_LINES = 1000  # a longer text is no outline, and is not read on


class LesionForm(forms.Form):
    """Site and side in words; without a script the point of the chart follows from them."""

    site = forms.ChoiceField(label=_("Site"), choices=wording.SITES)
    side = forms.ChoiceField(label=_("Side"), choices=Side.choices)
    view = forms.ChoiceField(choices=[("", ""), *View.choices], required=False)
    x = forms.FloatField(min_value=0, max_value=1000, required=False)
    y = forms.FloatField(min_value=0, max_value=1000, required=False)
    since = day_field(_("First recorded"), initial=clock.today)
    monitoring = forms.ChoiceField(label=_("Monitoring"), choices=_NOT_MONITORED, required=False)
    note = note_field()

    # These five are drawn by the body chart, the rest as ordinary fields.
    ON_THE_CHART = ("site", "side", "view", "x", "y")

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        point = [data.get("view"), data.get("x"), data.get("y")]
        # Without a script nobody can point: the middle of the named site stands for it, and may be moved later.
        if data.get("site") and data.get("side") and any(value in (None, "") for value in point):
            try:
                data["view"], data["x"], data["y"] = bodymap.centre(data["site"], data["side"])
            except bodymap.WrongSide as error:
                raise ValidationError(error.in_words(SPOKEN)) from error
        return data

    def place(self) -> dict[str, Any]:
        """Give what was posted for the body chart, with every fault that concerns it."""
        raw = {name: self.data.get(name, "") for name in self.ON_THE_CHART} if self.is_bound else {}
        faults = [text for name in self.ON_THE_CHART for text in self.errors.get(name, [])]
        return {**raw, "errors": [*faults, *self.non_field_errors()]}

    def other_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in ("since", "monitoring", "note")]


class AmendLesionForm(RevisionForm):
    state = forms.ChoiceField(label=_("State of the lesion"), choices=LesionState.choices)
    monitoring = forms.ChoiceField(label=_("Monitoring"), choices=_NOT_MONITORED, required=False)
    note = note_field()
    reason = forms.CharField(
        label=_("Why, where this ends something owed"),
        help_text=_("Who said so and when. Another person confirms it; until then nothing ends."),
        max_length=200,
        required=False,
    )

    field_order = ["state", "monitoring", "note", "reason", "revision"]


class SignForm(forms.Form):
    sign = forms.ChoiceField(label=_("Sign"), choices=wording.SIGNS, widget=forms.RadioSelect)
    noted_on = day_field(_("Noted on"), initial=clock.today)
    words = note_field(_("In the patient's words"))


class ExaminedForm(forms.Form):
    on = day_field(_("Examined in person on"), initial=clock.today)
    outcome = note_field(_("Outcome"), required=True)


class _ManyFiles(forms.ClearableFileInput):
    allow_multiple_selected = True


class _FilesField(forms.FileField):
    """One file or several; each is judged by itself later, so that one bad file spoils no other."""

    widget = _ManyFiles

    def clean(self, data: Any, initial: Any = None) -> list[Any]:
        if not data:
            raise ValidationError(gettext("Choose at least one file."), code="required")
        return list(data)


class PicturesForm(forms.Form):
    """Asks for the files of one upload, and for what is true of all of them."""

    picture = _FilesField(label=_("Pictures: JPEG, PNG, TIFF or WebP"))
    taken_on = day_field(_("Taken on"), initial=clock.today)
    kind = forms.ChoiceField(
        label=_("Kind of picture"), choices=ImageKind.choices, initial=ImageKind.DERMOSCOPIC
    )
    mm_per_px = forms.FloatField(
        label=_("Millimetres per pixel"),
        required=False,
        help_text=_("Of the full picture. Empty: no sizes in mm."),
    )
    scale_origin = forms.ChoiceField(
        label=_("Where the scale comes from"),
        required=False,
        choices=[("", _("no scale")), *ScaleOrigin.choices],
    )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        # A size in millimetres is only as good as the way its scale was found, so one is not taken without the other.
        if (data.get("mm_per_px") is None) != (not data.get("scale_origin")):
            raise ValidationError(
                gettext("A scale needs both: millimetres per pixel, and where they come from.")
            )
        return data

    def about(self) -> dict[str, Any]:
        """Give what `intake.accept` is told about each file."""
        data = {name: value for name, value in self.cleaned_data.items() if name != "picture"}
        return data | {"scale_origin": data["scale_origin"] or None}

    def faults(self) -> str:
        """Write every fault in one line, for a script."""
        return " ".join(
            f"{self.fields[name].label}: {_joined(texts)}" if name in self.fields else _joined(texts)
            for name, texts in self.errors.items()
        )


def _joined(texts: Iterable[Any]) -> str:
    return " ".join(str(text) for text in texts)


def as_lines(points: Iterable[Sequence[float]]) -> str:
    """Write points as staff and scripts read them: one on a line, x and y in pixels of the full picture."""
    return "\n".join(f"{x:.1f} {y:.1f}" for x, y in points)


class _PointsField(forms.CharField):
    def to_python(self, value: Any) -> Any:
        lines = [line for line in (super().to_python(value) or "").splitlines() if line.strip()]
        return [self._point(number, line) for number, line in enumerate(lines[:MOST_LINES], start=1)]

    def _point(self, number: int, line: str) -> tuple[float, float]:
        try:
            x, y = (float(part) for part in line.replace(",", " ").split())
        except ValueError:
            raise ValidationError(
                gettext("Line %(number)s is no point; write two numbers, such as 512.5 300.")
                % {"number": number}
            ) from None
        return x, y


def _points(label: Words, help_text: Words) -> _PointsField:
    area = forms.Textarea(attrs={"rows": 8, "spellcheck": "false", "autocomplete": "off"})
    return _PointsField(label=label, widget=area, help_text=help_text)


class OutlineForm(RevisionForm):
    points = _points(
        _("Points of the outline"),
        _("One point on a line: pixels from the left, pixels from the top. The last is joined to the first."),
    )


class ScaleForm(RevisionForm):
    points = _points(
        _("The two points"),
        _("One point on a line: pixels from the left, pixels from the top. Two lines."),
    )
    mm = forms.FloatField(label=_("Distance between them in millimetres"), min_value=0.01)


class DecisionForm(forms.Form):
    decision = forms.ChoiceField(label=_("Decision"), choices=Decision.choices, widget=forms.RadioSelect)
    months = forms.IntegerField(
        label=_("Months until the next look"),
        min_value=1,
        max_value=24,
        required=False,
        help_text=_("With “look again” only."),
    )
    note = note_field(longest=signoff.LONGEST_NOTE)
    all_the_same = forms.BooleanField(
        label=_("Sign all the same"), required=False, widget=forms.HiddenInput, initial=False
    )

    def clean(self) -> dict[str, Any]:
        """The months stand beside “look again” all the time and are part of that choice alone."""
        data = super().clean() or self.cleaned_data
        if data.get("decision") != Decision.LOOK_AGAIN:
            data["months"] = None
        # Not guessed: the months decide when somebody is seen again.
        elif data.get("months") is None and "months" not in self.errors:
            self.add_error("months", _("Say in how many months."))
        return data

    def ask(self, questions: Iterable[str]) -> None:
        """Show the form again with what is asked before signing, and with the tick that answers it."""
        # Hidden until there is something to answer: a tick that always stands there is ticked without reading.
        self.fields["all_the_same"].widget = forms.CheckboxInput()
        for question in questions:
            self.add_error("all_the_same", question)

    def say_what_follows(self, words: Mapping[str, str]) -> None:
        """Write beside each decision what the plan will then ask, by the value of the decision."""
        field = of_kind(self, "decision", forms.ChoiceField)
        offered = cast(
            "Iterable[tuple[str, Any]]", field.choices
        )  # a list of pairs, as the form was given it
        field.choices = [
            (value, f"{label} · {words[value]}" if words.get(value) else label) for value, label in offered
        ]

    def supposed(self) -> tuple[str, int | None] | None:
        """Give the decision as it would be signed, to ask what follows from it; None while it is not complete."""
        decision, months = (self.cleaned_data.get(name) for name in ("decision", "months"))
        return (decision, months) if decision and (decision == "look_again") == (months is not None) else None


class SignOffForm(RevisionForm, DecisionForm):
    in_person = forms.BooleanField(label=_("I examined the lesion in person"), required=False)

    field_order = ["decision", "months", "note", "in_person", "all_the_same", "revision"]


class BedsideForm(DecisionForm):
    """Asks for a decision that was made in person, with or without pictures."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # Wanted with “look again”, and with nothing else: neither “may stay empty” nor “required” would be true.
        say_once(self, ["months"])
        # Who looks at the skin itself cannot call a picture bad or wrong.
        of_kind(self, "decision", forms.ChoiceField).choices = [
            choice for choice in Decision.choices if choice[0] not in signoff.OF_A_PICTURE
        ]


class PatientSearchForm(forms.Form):
    who = forms.CharField(label=_("Number, name or day of birth of the right patient"), max_length=80)


class MovePictureForm(RevisionForm):
    lesion = forms.ModelChoiceField(
        label=_("The lesion that it shows"), queryset=Lesion.objects.none(), widget=forms.RadioSelect
    )

    def __init__(self, *args: Any, choices: Sequence[Lesion], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = of_kind(self, "lesion", forms.ModelChoiceField)
        # Only those that were offered: a number typed into the request must not file a picture with a stranger.
        field.queryset = Lesion.objects.filter(pk__in=[row.pk for row in choices])
        field.choices = [(row.pk, _whose(row)) for row in choices]


def _whose(row: Lesion) -> str:
    patient = row.patient
    said = {"name": patient, "day": write_day(patient.born), "number": patient.number}
    said |= {"label": row.label, "place": register.place_words(row)}
    return gettext("%(name)s, born %(day)s, %(number)s: %(label)s · %(place)s") % said


class SetAsideForm(RevisionForm):
    reason = forms.CharField(label=_("Why nobody can file it"), widget=forms.Textarea(attrs={"rows": 2}))


class AskOutsideForm(forms.Form):
    reader = forms.CharField(label=_("Who is asked"), max_length=120)
    place = forms.CharField(label=_("Where they work"), max_length=160)
    question = note_field(label=_("What is asked"))


class OutsideAnswerForm(forms.Form):
    said_on = day_field(_("Said or written on"), initial=clock.today)
    words = note_field(label=_("What they said"), rows=4, required=True)


class AddendumForm(forms.Form):
    text = note_field(label=_("Add to the decision"), required=True, longest=signoff.LONGEST_NOTE)


class LimitsForm(forms.Form):
    toml = forms.CharField(
        label=_("The limits"),
        help_text=_("Every limit names its measures and its source."),
        widget=forms.Textarea(attrs={"rows": 40, "spellcheck": "false", "translate": "no"}),
        strip=False,
    )

"""Fields and forms that several apps use: a day, the revision on the screen, what was done in a visit."""

from collections.abc import Iterable
from datetime import date
from typing import Any, TypeVar

from django import forms
from django.core.exceptions import ValidationError
from django.core.validators import MaxLengthValidator
from django.forms.utils import flatatt
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy

from clinic import clock
from clinic.models.visit import ABOUT, Purpose
from clinic.people.visits import may_say_done
from clinic.wording import Words

_Kind = TypeVar("_Kind", bound=forms.Field)
_NOTE: Words = _lazy("Note")


def of_kind(form: forms.Form, name: str, kind: type[_Kind]) -> _Kind:
    """The form's own field of that name, which is of that kind."""
    field = form.fields[name]
    if not isinstance(field, kind):
        raise TypeError(f"{name} is no {kind.__name__}")
    return field


def note_field(
    label: Words = _NOTE, rows: int = 2, required: bool = False, longest: int | None = None
) -> forms.CharField:
    box = forms.Textarea(attrs={"rows": rows})
    # No `max_length`: by it a browser cuts what is pasted and says nothing.
    bounds = [] if longest is None else [MaxLengthValidator(longest)]
    return forms.CharField(label=label, widget=box, required=required, validators=bounds)


class DayInput(forms.DateInput):
    """A field for one day, with the browser's own calendar and the day in words beside it."""

    input_type = "date"
    template_name = "clinic/forms/day.html"

    def __init__(self) -> None:
        # The one spelling that a browser's day field takes; each reader sees it in their own.
        super().__init__(format="%Y-%m-%d")


class PlainSelect(forms.Select):
    """A list of words to choose from, written without a template for each of its lines: some hold fifty."""

    def render(
        self, name: str, value: Any, attrs: dict[str, Any] | None = None, renderer: Any = None
    ) -> SafeString:
        chosen = self.format_value(value)
        lines = (
            (key, mark_safe(" selected") if str(key) in chosen else "", words) for key, words in self.choices
        )
        return format_html(
            '<select name="{}"{}>{}</select>',
            name,
            flatatt(self.build_attrs(self.attrs, attrs)),
            format_html_join("\n", '<option value="{}"{}>{}</option>', lines),
        )


def day_field(label: Words, *, future: bool = False, **more: Any) -> forms.DateField:
    return forms.DateField(
        label=label, widget=DayInput(), validators=[] if future else [not_in_future], **more
    )


def not_in_future(day: date) -> None:
    if day > clock.today():
        raise ValidationError(_("This day lies in the future."))
    # A year typed with two figures arrives as one of the first century.
    if day.year < 1900:
        raise ValidationError(_("This day lies too far in the past; check the year."))


class RevisionForm(forms.Form):
    """A form that carries the revision that was on the screen, so that a stale one is shown and not merged."""

    revision = forms.IntegerField(label=_lazy("Revision"), widget=forms.HiddenInput)

    def seen(self) -> int:
        """Read the revision from a form that is only a button; an unreadable one counts as stale."""
        return self.cleaned_data["revision"] if self.is_valid() else 0


def _say_item(purpose: Purpose, subject: str) -> str:
    if not subject:
        return str(purpose.label)
    return _("%(purpose)s: %(subject)s") % {"purpose": purpose.label, "subject": subject}


def done_choices(
    subjects: list[tuple[str, str]], first: Iterable[tuple[str, str]] = (), *, by: Any = None
) -> list[tuple[str, str]]:
    """List what `by` may say was done; without `by`, what may be asked for.

    `subjects`: (key, words) of the patient's lesions, procedures and tumours. `first`: what was asked for.
    """
    others = {
        f"{purpose.value}|{key}": capfirst(_say_item(purpose, words))
        for key, words in [("patient", ""), *subjects]
        for purpose, kind in ABOUT.items()
        if kind == key.partition(":")[0]
    }
    asked = dict(first)
    rows = asked | {key: words for key, words in others.items() if key not in asked}
    return [
        (key, words) for key, words in rows.items() if by is None or may_say_done(by, key.partition("|")[0])
    ]


def say_once(form: forms.BaseForm, names: Iterable[str] | None = None) -> None:
    """Leave “(may stay empty)” away beside these fields, or all: the page says it once for the whole form."""
    for name in form.fields if names is None else names:
        field: Any = form.fields[name]
        field.quiet = True

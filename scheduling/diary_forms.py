"""Forms of the desk's diary: a place, an appointment and how it ends, hours, closures, leave."""

from collections.abc import Iterable, Mapping
from copy import copy
from datetime import datetime
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.http import QueryDict
from django.utils import timezone
from django.utils.html import format_html
from django.utils.text import capfirst
from django.utils.translation import gettext_lazy as _

from clinic import clock
from clinic.models import ContactRoute, Member, Patient, Role
from clinic.models.visit import Purpose, is_about
from clinic.pages import patient_page
from clinic.pages.fields import RevisionForm, day_field, done_choices
from clinic.wording import Words
from scheduling.desk import lengths
from scheduling.models import Appointment, PlaceKind, Recall, Resource
from scheduling.recalls.wording import subjects, what_for


class TimeInput(forms.TimeInput):
    """A field for a time of day, with the browser's own clock."""

    input_type = "time"


def offer(form: forms.Form, name: str, choices: Iterable[tuple[str, Words]]) -> None:
    """Set what a field offers, where that depends on the record."""
    field = form.fields[name]
    assert isinstance(field, forms.ChoiceField)
    field.choices = list(choices)


def offer_rows(form: forms.Form, name: str, rows: QuerySet[Any]) -> None:
    field = form.fields[name]
    assert isinstance(field, forms.ModelChoiceField)
    field.queryset = rows


def route_words(route: ContactRoute) -> str:
    return format_html('{} <span translate="no">{}</span>', route.get_kind_display(), route.value)


def ways_to(patient: Patient) -> list[tuple[str, str]]:
    """List the routes that work, each as a form sends it: phone|01632 960147."""
    # A dead number is not offered again: an attempt on it would look like a try and reach nobody.
    routes = patient.routes.working(clock.today())
    return [(f"{row.kind}|{row.value}", route_words(row)) for row in routes]


class PlaceForm(forms.Form):
    """The choice of a free place says room and time in one value, `7|2026-06-17T14:00:00+01:00`."""

    resource = forms.ModelChoiceField(Resource.objects.filter(active=True), widget=forms.HiddenInput)
    starts_at = forms.DateTimeField(widget=forms.HiddenInput)

    def __init__(self, data: Mapping[str, Any]) -> None:
        given: Any = copy(data)
        place = str(given.get("place", ""))
        if "|" in place:
            given["resource"], given["starts_at"] = place.split("|", 1)
        super().__init__(given)

    def clean_starts_at(self) -> Any:
        moment = self.cleaned_data["starts_at"]
        # A time typed by hand or by a test is meant as the clinic's clock shows it.
        return moment if timezone.is_aware(moment) else timezone.make_aware(moment)


class SlotForm(RevisionForm, PlaceForm):
    """A place, and the revision of what is booked or moved."""


class BookForm(SlotForm):
    """`beside`: other open recalls of the patient that the same visit may be for; `way`: how it was agreed."""

    also = forms.ModelMultipleChoiceField(Recall.objects.none(), required=False)
    way = forms.ChoiceField(required=False)

    def __init__(self, data: QueryDict, *, beside: QuerySet[Recall], patient: Patient) -> None:
        super().__init__(data)
        offer_rows(self, "also", beside)
        offer(self, "way", [("", ""), *ways_to(patient)])

    def call(self) -> dict[str, str]:
        """Give the route and the number of the call by which it was agreed; nothing where the patient stood here."""
        route, _sep, address = self.cleaned_data["way"].partition("|")
        return {"route": route, "address": address} if route else {}


class ElsewhereForm(RevisionForm):
    """An appointment that stands in a diary kept in another program, typed in as it stands there."""

    where = forms.CharField(
        label=_("With whom, or in which diary"), max_length=60, help_text=_("Such as “Dr Voss, own diary”.")
    )
    day = day_field(_("Day"), future=True)
    at = forms.TimeField(label=_("Time"), widget=TimeInput(format="%H:%M"))
    minutes = forms.IntegerField(label=_("Minutes"), min_value=5, max_value=240)

    def starts_at(self) -> datetime:
        given = self.cleaned_data
        return timezone.make_aware(datetime.combine(given["day"], given["at"]))


class CancelForm(RevisionForm):
    """Asks who cancels an appointment, and why as it was said."""

    whose = forms.ChoiceField(
        label=_("Who cancels"),
        choices=[("patient", _("the patient")), ("clinic", _("we"))],
        widget=forms.RadioSelect,
    )
    why = forms.CharField(label=_("Why, as it was said"), max_length=200)


class CameForm(RevisionForm):
    """Asks what was done in a visit; nothing is ticked beforehand, because only what was done completes a recall."""

    done = forms.MultipleChoiceField(
        label=_("What was done"),
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text=_("What it was booked for stands first. What is not ticked opens again."),
    )
    note = forms.CharField(label=_("Note"), widget=forms.Textarea(attrs={"rows": 2}), required=False)

    def __init__(self, *args: Any, appointment: Appointment, by: Member, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        rows = [row for row in appointment.recalls.all() if is_about(row.purpose, row.subject)]
        places = subjects(rows)
        asked = [(f"{row.purpose}|{row.subject}", what_for(row, places)) for row in rows]
        offer(self, "done", done_choices(patient_page.subjects_of(appointment.patient), asked, by=by))

    def clean_done(self) -> list[tuple[str, str]]:
        return [tuple(value.split("|", 1)) for value in self.cleaned_data["done"]]


class HoursForm(forms.Form):
    """Asks for bookable hours: where, when, with whom, and what they are kept for."""

    room = forms.CharField(
        label=_("Room or person"), max_length=60, help_text=_("A new name adds a new one.")
    )
    day = day_field(_("Day"), future=True)
    opens = forms.TimeField(label=_("From"), widget=TimeInput(format="%H:%M"), initial="09:00")
    closes = forms.TimeField(label=_("Until"), widget=TimeInput(format="%H:%M"), initial="17:00")
    slot_minutes = forms.IntegerField(label=_("Minutes a slot"), initial=20, min_value=5, max_value=240)
    clinician = forms.ModelChoiceField(
        Member.objects.none(),
        label=_("With whom"),
        widget=forms.Select(attrs={"translate": "no"}),
        required=False,
        empty_label=_("nobody in particular"),
    )
    kind = forms.ChoiceField(label=_("Kept for"), choices=PlaceKind.choices)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer_rows(self, "clinician", clinicians())

    def hours(self) -> dict[str, Any]:
        """Give the arguments of the topic function; a room that is named for the first time is added."""
        given = dict(self.cleaned_data)
        # A clinic has few rooms and opens one now and then: a page of its own for that would be looked for in vain.
        room, _made = Resource.objects.get_or_create(name=given.pop("room").strip())
        return given | {"resource": room}


class TemplateForm(HoursForm):
    """Hours that come again; the day is the first of them and says the weekday."""

    every_weeks = forms.IntegerField(label=_("Every how many weeks"), initial=1, min_value=1, max_value=12)
    last_day = day_field(
        _("Last day"), future=True, required=False, help_text=_("Empty: until somebody ends them.")
    )

    field_order = ["room", "clinician", "day", "opens", "closes", "every_weeks"]

    def hours(self) -> dict[str, Any]:
        given = super().hours()
        return given | {"first_day": given.pop("day")}


class LastDayForm(RevisionForm):
    """Asks on which day sessions that come again are held last."""

    last_day = day_field(_("Last day on which they are held"), future=True)


class LengthsForm(forms.Form):
    """Minutes for each purpose; those that differ from what is in force are set."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.known = lengths.in_force()
        for purpose, minutes in self.known.items():
            label = capfirst(Purpose(purpose).label)
            self.fields[purpose] = forms.IntegerField(
                label=label, initial=minutes, min_value=5, max_value=240
            )

    def changed(self) -> dict[str, int]:
        return {name: given for name, given in self.cleaned_data.items() if given != self.known[name]}


def clinicians() -> QuerySet[Member]:
    return Member.objects.filter(is_active=True, role__in=(Role.DERMATOLOGIST, Role.NURSE)).order_by("name")


class ClosureForm(forms.Form):
    """Asks which day the clinic is closed, and why."""

    day = day_field(_("Day"), future=True)
    reason = forms.CharField(label=_("Why it is closed"), max_length=80)

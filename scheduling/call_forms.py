"""Forms of the call: what came of it, what was said, and the place that was agreed."""

from collections.abc import Iterable
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.http import QueryDict
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from clinic.duties.kinds import KINDS, OwningList, of_list
from clinic.models import Carer, ContactRoute, Member, Purpose
from clinic.pages.fields import DayInput, PlainSelect, say_once
from lesions.register import wording as register_wording
from scheduling.desk.calls import MAY_NOT_BE_TOLD, Said
from scheduling.diary_forms import offer, route_words
from scheduling.models import DeskLine, Outcome

# In the order in which they stand on the page; each has the key of its number.
OUTCOMES = (
    (Outcome.NO_ANSWER, _("No answer")),
    (Outcome.SPOKE, _("Spoke to the patient")),
    (Outcome.SPOKE_AUTHORISED, _("Spoke to somebody who may be told")),
    (Outcome.VOICEMAIL, _("Voicemail, as agreed")),
    (Outcome.DEAD, _("Number or address not in use")),
    (Outcome.ASKS_LATER, _("Asks to be called later")),
    (Outcome.DECLINED, _("Does not want to come")),
    (Outcome.SENT, _("Letter or message sent")),
    (Outcome.RETURNED, _("Letter or message came back")),
)
IDENTITY = [
    ("", _("how you knew")),
    ("date of birth", _("said the date of birth")),
    ("address", _("said the address")),
    ("record number", _("said the record number")),
    ("known", _("known to me in person")),
]

_WHAT = ("told", "next_action", "next_on", "note")


class CallForm(forms.Form):
    """One call: the way is one of those that work; what an outcome needs is asked by `scheduling/desk/calls.py`."""

    way = forms.ChoiceField(label=_("By which way"), widget=forms.RadioSelect)
    outcome = forms.ChoiceField(label=_("What came of the call"), choices=OUTCOMES, widget=forms.RadioSelect)
    identity = forms.ChoiceField(label=_("How you knew who it was"), choices=IDENTITY, required=False)
    carer = forms.ChoiceField(
        label=_("Who may be told today"),
        required=False,
        error_messages={"invalid_choice": MAY_NOT_BE_TOLD},
        widget=forms.Select(attrs={"translate": "no"}),  # names
    )
    spoke_to = forms.CharField(label=_("Somebody else: who"), max_length=120, required=False)
    why = forms.CharField(label=_("Why that person may be told"), max_length=200, required=False)
    told = forms.CharField(label=_("What was said"), max_length=2000, required=False)
    next_action = forms.CharField(label=_("Next step"), max_length=120, required=False)
    next_on = forms.DateField(label=_("Its day"), widget=DayInput(), required=False)
    note = forms.CharField(label=_("Note"), max_length=2000, required=False)
    last = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(
        self,
        data: QueryDict | None = None,
        *,
        ways: list[ContactRoute],
        may_be_told: list[Carer],
        **more: Any,
    ) -> None:
        super().__init__(data, **more)
        self.carers = {str(one.pk): one for one in may_be_told}
        offer(self, "carer", [("", "—"), *((key, carer_words(one)) for key, one in self.carers.items())])
        offer(self, "way", [(f"{row.kind}|{row.value}", route_words(row)) for row in ways])

    def said_fields(self) -> list[tuple[forms.BoundField, str]]:
        """Give the fields of what was said, each with its key; the first wrong one takes the focus."""
        # Mostly it is the patient: what is asked of somebody else stands last, and no Tab goes through it.
        keys = {"identity": "i", "told": "t", "note": "m", "carer": "w"}
        order = ("identity", "told", "next_action", "next_on", "note", "carer", "spoke_to", "why")
        names = {name: keys.get(name, "") for name in order}
        for name, key in names.items():
            if key:
                self.fields[name].widget.attrs["data-key"] = key
        if self.is_bound and self.first_wrong() in names:
            self.fields[self.first_wrong()].widget.attrs["autofocus"] = True
        return [(self[name], key) for name, key in names.items()]

    def used(self) -> dict[str, str]:
        """Give the way that was used, as it was copied from the record."""
        route, _sep, address = self.cleaned_data["way"].partition("|")
        return {"route": route, "address": address}

    def said(self) -> Said:
        names = ("identity", "spoke_to", "why", *_WHAT)
        carer = self.carers.get(self.cleaned_data["carer"])
        return Said(carer=carer, **{name: self.cleaned_data[name] for name in names})

    def first_wrong(self) -> str:
        """Name the first field with an error, for the focus."""
        return next((name for name in self.fields if name in self.errors), "outcome")


def carer_words(carer: Carer) -> str:
    """Who it is and what may be said, in one line of a list."""
    said = {"who": f"{carer.name} ({carer.relation})", "what": carer.get_authority_display()}
    return gettext("%(who)s: %(what)s") % said


class TodayFilter(forms.Form):
    """Narrows Today to the people of one clinician, with one purpose first, or of one language."""

    clinician = forms.ChoiceField(
        label=_("Clinician"), required=False, widget=PlainSelect(attrs={"translate": "no"})
    )
    what = forms.ChoiceField(label=_("What for"), required=False, widget=PlainSelect)
    language = forms.ChoiceField(
        label=_("Language"), required=False, widget=PlainSelect(attrs={"translate": "no"})
    )

    def __init__(self, data: QueryDict, *, clinicians: Iterable[Member], spoken: Iterable[str]) -> None:
        super().__init__({name: data[name] for name in ("clinician", "what", "language") if data.get(name)})
        duties = [(code, KINDS[code].words) for code in of_list(OwningList.TODAY)]
        offer(self, "clinician", [("", _("anybody")), *((f"{one.pk}", str(one)) for one in clinicians)])
        offer(self, "what", [("", _("anything")), *Purpose.choices, *duties])
        offer(self, "language", [("", _("any")), *((one, one) for one in spoken)])
        self.narrows = bool(self.data)
        say_once(self)

    def narrow(self, lines: QuerySet[DeskLine]) -> QuerySet[DeskLine]:
        """Keep the lines that fit; what nobody offers narrows nothing."""
        self.is_valid()
        wanted = {name: value for name, value in self.cleaned_data.items() if value}
        return lines.filter(**wanted)


class LadderForm(forms.Form):
    """Asks for the text of another ladder."""

    toml = forms.CharField(
        label=_("The ladder"),
        help_text=_("By urgency: the way of each attempt in turn, days apart, and what goes out last."),
        widget=forms.Textarea(attrs={"rows": 26, "spellcheck": "false", "translate": "no"}),
        strip=False,
    )


class WorriedForm(forms.Form):
    """What a worried caller says: the words, the signs in them, and which lesion, if that is known."""

    words = forms.CharField(
        label=_("In the caller's words"), widget=forms.Textarea(attrs={"rows": 3, "autofocus": True})
    )
    signs = forms.MultipleChoiceField(
        label=_("What was said about the skin"),
        choices=register_wording.SIGNS,
        widget=forms.CheckboxSelectMultiple,
        required=False,
    )
    lesion = forms.ChoiceField(label=_("Which lesion"), widget=forms.RadioSelect, required=False)

    def __init__(self, *args: Any, lesions: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer(self, "lesion", [("", _("a new one, or the caller does not know which")), *lesions])
        say_once(self)


class TakeOverForm(forms.Form):
    """Asks why somebody else's call is taken over; the other one reads it."""

    word = forms.CharField(label=_("Why you take it over"), max_length=200)

"""Why a file was not taken or a picture not measured, and what to do, in the language of the reader."""

from collections.abc import Mapping
from typing import Any, Final

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from clinic.wording import SPOKEN
from lesions.analysis import wording as core
from lesions.analysis.types import Message

# What the shell round the image core refuses; the core's own refusals have their sentences in the core.
_SENTENCES: Final[Mapping[str, str]] = {
    "empty": _("The file is empty."),
    "too_large": _("The file has %(megabytes)s MB; at most %(most)s MB can be taken."),
    "unknown_kind": _("Say whether the picture is dermoscopic, a close-up or an overview."),
    "entered_in_error": _("This lesion was entered in error; file the picture with the right one."),
    "after_today": _("The picture cannot have been taken after today."),
    "before_birth": _("The picture cannot have been taken before the patient was born."),
    "after_death": _("The patient had died by that day; check the day, or the record."),
    "does_not_agree": _(
        "The patient does not agree to photographs: examine the lesion in person, or note first that they agree."
    ),
    "scale_without_origin": _("Say where the scale comes from; without an origin there are no millimetres."),
    "scale_out_of_range": _("A scale lies between %(least)s and %(most)s mm per pixel."),
    "scale_unsure": _("The uncertainty of the scale lies between 0 and 50 %%."),
    "filed_here": _("This very picture is already filed with this lesion."),
    "filed_with_other_lesion": _("This picture is already filed with lesion %(lesion)s of this patient."),
    "filed_elsewhere": _("This picture is already filed in another record; check that it is the right one."),
    "overview_has_no_border": _("An overview shows where a lesion lies; no border is measured in it."),
    "overview_has_no_scale": _("An overview is not measured, so it takes no scale."),
    "measured_before": _(
        "This picture was measured like this before, and changed since; move a point a little."
    ),
    "too_few_different_points": _("An outline needs at least three different points."),
    "too_many_points": _("An outline has at most %(most)s points; this one has %(points)s."),
    "point_outside": _("A point lies outside the picture."),
    "crosses_itself": _("The outline crosses itself between points %(one)s and %(two)s; move one of them."),
    "point_is_no_number": _("A point of the outline is no number."),
    "distance_out_of_range": _("The distance between the two points lies above 0 and up to 200 mm."),
    "points_too_close": _("The two points lie too close together to give a scale; set them farther apart."),
    "not_two_points": _("Set exactly two points."),
    "filed_there_now": _("It is filed with this lesion now: choose the one that it shows."),
    "called_wrong_there": _(
        "A dermatologist signed that it is not of this lesion; that is decided anew there."
    ),
    "no_reason": _("Say in words why it is set aside."),
    "not_called_wrong": _("A dermatologist first signs “wrong lesion or patient” for this picture."),
    "stored_file_missing": _("The stored file is missing; restore it from the backup."),
    "stored_file_changed": _("The stored file has changed on the disk; restore it from the backup."),
    "given_up": _("Measuring it was broken off three times."),
    "not_foreseen": _("The program could not measure this picture; the log of the worker says more."),
}


class Refused(ValueError):
    """Something about a picture is not taken: a code with its values; its text is the sentence for who asked."""

    def __init__(self, code: str, **params: str | int | float) -> None:
        super().__init__(code, params)
        self.message = Message(code, params)

    def __str__(self) -> str:
        return sentence(self.message)


def sentence(message: Message) -> str:
    """Write a refusal or a failure as one sentence."""
    # Refusals of the core travel on with their codes; here they get only the reader's language.
    if message.code in core.SENTENCES:
        return core.fill(message, SPOKEN)
    return gettext(_SENTENCES[message.code]) % message.params


def of_row(code: str, params: dict[str, Any]) -> str:
    """The same for what a row holds; empty where it holds nothing."""
    return sentence(Message(code, params)) if code else ""

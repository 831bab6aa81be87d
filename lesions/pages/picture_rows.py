"""Make the rows of Pictures: a hundred and fifty stand on a page, so that a template only writes them down."""

from collections.abc import Iterable, Mapping
from typing import Any, Final

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from clinic.addresses import address_of
from clinic.duties.kinds import OwningList
from clinic.pages.said import Said, who
from lesions.models import Assessment, JobState, Lesion, RefusedUpload
from lesions.pages.said_of_lesions import lesion_line, place_words
from lesions.pictures import wording
from lesions.review import waiting

_OF_PATIENT: Final = tuple(
    f"lesion__patient__{name}" for name in ("given_name", "family_name", "born", "number")
)
_OF_LESION: Final = ("lesion__label", "lesion__site", "lesion__side", *_OF_PATIENT)
_OF_JOB: Final = tuple(f"image__{name}" for name in _OF_LESION)
# What a row of each section shows: measures and outlines are long, and stand on other pages.
_SHOWN: Final[Mapping[str, tuple[str, ...]]] = {
    "to_measure": ("state", "queued_at", "attempts", *_OF_JOB),
    "not_measured": ("revision", "failure", "failure_params", "image__taken_on", *_OF_JOB),
    "refused": ("revision", "filename", "code", "params", "at", "by__name", "by__username", *_OF_LESION),
}


def shown(section: str) -> QuerySet[Any]:
    """Find the rows of a section, with what they show of the records that they are about."""
    return waiting.HELD[OwningList.PICTURES][section]().only(*_SHOWN[section])


def not_measured(rows: Iterable[Assessment], said: Said) -> list[dict[str, Any]]:
    """Say of which picture it is, why it could not be measured, and where it is taken or measured again."""
    return [
        said.escaped(
            _of_job(row, said)
            | {
                "about": _day_of(row, said),
                "why": _why(row.failure, row.failure_params, said),
                "door": _pictures_of(row.image.lesion),
                "act": address_of("lesions:measure_again", row.pk),
                "act_on": _("Measure again: the picture of lesion %(label)s of %(name)s")
                % {"label": row.image.lesion.label, "name": row.image.lesion.patient},
                "revision": row.revision,
            }
        )
        for row in rows
    ]


def refused(rows: Iterable[RefusedUpload], said: Said) -> list[dict[str, Any]]:
    """Say which file it was, for which lesion, who sent it and why it was not taken."""
    return [
        said.escaped(
            _whose(row.lesion, said)
            | {
                "filename": row.filename,
                "about": _sent(row, said),
                "why": _why(row.code, row.params, said),
                "door": _pictures_of(row.lesion),
                "act": address_of("lesions:settle", row.pk),
                "revision": row.revision,
            }
        )
        for row in rows
    ]


def to_measure(rows: Iterable[Assessment], said: Said) -> list[dict[str, Any]]:
    """Say since when a picture waits, and which attempt it is where it is not the first."""
    return [
        said.escaped(
            _of_job(row, said)
            | {"about": _since(row, said), "door": address_of("lesions:lesion", row.image.lesion_id)}
        )
        for row in rows
    ]


def _of_job(row: Assessment, said: Said) -> dict[str, Any]:
    lesion = row.image.lesion
    return _whose(lesion, said) | {"line": lesion_line(lesion, said)}


def _whose(lesion: Lesion, said: Said) -> dict[str, Any]:
    patient = lesion.patient
    born = said.once(("born", patient.born), lambda: _("born %(day)s") % {"day": said.day(patient.born)})
    return who(patient, said) | {"born": born}


def _pictures_of(lesion: Lesion) -> str:
    return f"{address_of('lesions:lesion', lesion.pk)}#pictures"


def _day_of(row: Assessment, said: Said) -> str:
    day = row.image.taken_on
    return said.once(("picture", day), lambda: _("picture of %(day)s") % {"day": said.day(day)})


def _since(row: Assessment, said: Said) -> str:
    words = {"state": _state(row.state, said), "time": said.moment(row.queued_at)}
    since = said.once(("since", *words.values()), lambda: _("%(state)s since %(time)s") % words)
    if row.attempts < 2:
        return since
    return f"{since}, {_('attempt %(number)s') % {'number': row.attempts}}"


def _state(state: str, said: Said) -> str:
    return said.once(("state", state), lambda: JobState(state).label)


def _sent(row: RefusedUpload, said: Said) -> str:
    return _("lesion %(label)s — %(place)s; sent %(time)s by %(name)s") % {
        "label": row.lesion.label,
        "place": place_words(row.lesion, said),
        "time": said.moment(row.at),
        "name": row.by,
    }


def _why(code: str, params: dict[str, Any], said: Said) -> str:
    return said.once(("why", code, repr(params)), lambda: wording.of_row(code, params))

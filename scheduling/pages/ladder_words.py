"""Write the ladder of one urgency in words: how often, how far apart, by which ways, and what comes then."""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from clinic.models import RouteKind
from clinic.wording import Words
from scheduling.models import PartOfDay
from scheduling.planning import ladder
from scheduling.planning.ladder import Ladder


def ladder_words(urgency: str) -> str:
    return sentence(ladder.ladder_of(urgency), ladder.standing_of(urgency).closed_by_desk)


def sentence(rungs: Ladder, closed_by_desk: bool) -> str:
    said = {
        "n": rungs.attempts,
        "within": rungs.within_days,
        "apart": rungs.days_apart,
        "times": _times(rungs),
        "routes": ", ".join(str(RouteKind(route).label) for route in rungs.routes),
        "then": _then(rungs, closed_by_desk),
    }
    words = ngettext(
        "%(n)s attempt within %(within)s days: %(routes)s; then %(then)s. Clinic setting.",
        "%(n)s attempts within %(within)s days, at least %(apart)s apart: %(routes)s%(times)s; then %(then)s. "
        "Clinic setting.",
        rungs.attempts,
    )
    return words % said


def _times(rungs: Ladder) -> str:
    return _(", by telephone in the morning and in the afternoon") if rungs.times_of_day > 1 else ""


def _then(rungs: Ladder, closed_by_desk: bool) -> str:
    if closed_by_desk:
        return _("a dermatologist decides, or the desk closes it with a ground")
    if rungs.last == RouteKind.POST:
        return _("a tracked letter, and a dermatologist decides what follows")
    return _("a dermatologist decides what follows")


def stands_at(tried: int, rungs: Ladder, route: str, part: str = PartOfDay.ANY) -> str:
    """Say how far somebody has been tried, and by which way next: 1 of 3, a call in the afternoon next."""
    said = {"made": tried, "all": rungs.attempts}
    if tried >= rungs.attempts:
        return _("%(made)s of %(all)s, a dermatologist decides") % said
    if route == RouteKind.PHONE and part in _CALL_NEXT:
        return str(_CALL_NEXT[part]) % said
    return str(_NEXT[RouteKind(route)]) % said


_CALL_NEXT: dict[str, Words] = {
    PartOfDay.MORNING: gettext_lazy("%(made)s of %(all)s, a call in the morning next"),
    PartOfDay.AFTERNOON: gettext_lazy("%(made)s of %(all)s, a call in the afternoon next"),
}


_NEXT = {
    RouteKind.PHONE: gettext_lazy("%(made)s of %(all)s, a call next"),
    RouteKind.EMAIL: gettext_lazy("%(made)s of %(all)s, a message next"),
    RouteKind.POST: gettext_lazy("%(made)s of %(all)s, a letter next"),
}

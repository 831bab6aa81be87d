"""Write the ladder of one urgency in words: how often, how far apart, by which ways, and what comes then."""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from clinic.models import RouteKind
from scheduling.planning import ladder
from scheduling.planning.ladder import Ladder


def ladder_words(urgency: str) -> str:
    return sentence(ladder.ladder_of(urgency), ladder.standing_of(urgency).closed_by_desk)


def sentence(rungs: Ladder, closed_by_desk: bool) -> str:
    said = {
        "n": rungs.attempts,
        "within": rungs.within_days,
        "apart": rungs.days_apart,
        "routes": ", ".join(str(RouteKind(route).label) for route in rungs.routes),
        "then": _then(rungs, closed_by_desk),
    }
    words = ngettext(
        "%(n)s attempt within %(within)s days: %(routes)s; then %(then)s. Clinic setting.",
        "%(n)s attempts within %(within)s days, at least %(apart)s apart: %(routes)s; then %(then)s. Clinic setting.",
        rungs.attempts,
    )
    return words % said


def _then(rungs: Ladder, closed_by_desk: bool) -> str:
    if closed_by_desk:
        return _("a dermatologist decides, or the desk closes it with a ground")
    if rungs.last == RouteKind.POST:
        return _("a tracked letter, and a dermatologist decides what follows")
    return _("a dermatologist decides what follows")


def stands_at(tried: int, rungs: Ladder, route: str) -> str:
    """Say how far somebody has been tried, and by which way next: 2 of 3, a letter next."""
    if tried >= rungs.attempts:
        return _("%(made)s of %(all)s, a dermatologist decides") % {"made": tried, "all": rungs.attempts}
    return str(_NEXT[RouteKind(route)]) % {"made": tried, "all": rungs.attempts}


_NEXT = {
    RouteKind.PHONE: gettext_lazy("%(made)s of %(all)s, a call next"),
    RouteKind.EMAIL: gettext_lazy("%(made)s of %(all)s, a message next"),
    RouteKind.POST: gettext_lazy("%(made)s of %(all)s, a letter next"),
}

"""Who reads here, and who is left to read what one has asked another about."""

from typing import Final

from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.db.models.functions import Coalesce

from clinic import clock
from clinic.access import Act
from clinic.models import Member
from clinic.people import leave

_NOBODY: Final = 0


def readers() -> QuerySet[Member]:
    """Find everybody who may sign a decision and is here today."""
    return leave.at_work(Act.SIGN_OFF, clock.today())


def another_reads() -> Q:
    """Ask of a review whether anybody is here who neither asked for its second reading nor dissented.

    Where nobody is, it binds nobody: else it would wait in a list that no one reads.
    """
    # Nobody is a key that no member has: compared with NULL, SQL would leave out every reader.
    parties = (Coalesce(OuterRef(name), _NOBODY) for name in ("asked_by", "dissented_by"))
    left = readers().alias(**{f"party_{at}": party for at, party in enumerate(parties)})
    return Q(Exists(left.exclude(pk=F("party_0")).exclude(pk=F("party_1"))))

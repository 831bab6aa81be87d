"""Keep what was searched for in the session.

An address carries only the key of a search, so that neither a browser's history nor a server's log names anybody.
"""

import secrets

from clinic.access import StaffRequest
from clinic.people.typed import LONGEST

_KEPT = "searches"
# A session lives long on a shared computer: it need not remember whom a whole day was searched for.
_MOST = 20


def keep(request: StaffRequest, text: str) -> str:
    """Keep a search of this session, the last few of them; returns its key."""
    kept: dict[str, str] = request.session.get(_KEPT, {})
    # Random and not counted: from one address nobody learns how many searches came before.
    key = secrets.token_hex(4)
    rows = [*kept.items(), (key, text.strip()[:LONGEST])]
    request.session[_KEPT] = dict(rows[-_MOST:])
    return key


def asked_for(request: StaffRequest) -> tuple[str, str]:
    """Give the key in the address and what was searched for; both empty where the session keeps no such search."""
    key = request.GET.get("search", "")
    text = request.session.get(_KEPT, {}).get(key, "")
    return (key if text else "", text)

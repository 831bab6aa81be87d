"""Which lesions are looked at before their figures are shown, and which unflagged ones are mixed in: drawn by lot.

A fixed share of the unflagged is the only way to see what the figures miss; the same share of the flagged opens in the
same way, so that the way of opening gives nothing away. The share is a setting of the clinic (no source).
"""

import secrets
from typing import Any, Final

from django.conf import settings

# Ranks of the list among which an unflagged lesion may come to stand: never before an urgent sign.
_MIXED: Final = (1, 2, 3, 4)


def draw(*, flagged: bool) -> dict[str, Any]:
    """Draw by lot whether a new review is looked at first, and where an unflagged one is mixed in."""
    # From the system's own randomness: a sequence that can be foreseen could be waited for.
    drawn = secrets.randbelow(100) < settings.MIXED_IN_PERCENT
    return {"look_first": drawn, "mixed_rank": None if flagged or not drawn else secrets.choice(_MIXED)}

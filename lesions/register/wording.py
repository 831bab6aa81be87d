"""Sites of the body and lesions in words, in the language of the reader."""

from typing import Any, Final

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clinic.wording import SPOKEN, Words
from lesions.models import Sign
from lesions.register import bodymap

# A page that lists them is read in one language after the other, so each is put into words when it is shown.
SITES: Final[tuple[tuple[str, Any], ...]] = tuple(
    (code, gettext_lazy(words)) for code, words in bodymap.SITES
)

# A worry is what a caller has who names none of them: nobody ticks it.
SIGNS: Final[list[tuple[str, Words]]] = [(sign.value, sign.label) for sign in Sign if sign != Sign.WORRY]


def site_name(code: str) -> str:
    """Write a site: upper arm, front"""
    return bodymap.site_name(code, SPOKEN)


def place(site: str, side: str) -> str:
    """Write the site with its side in capitals, as it must be read aloud: LEFT upper arm; abdomen, midline."""
    return bodymap.site_words(site, bodymap.as_side(side), SPOKEN)


def lesion_at(label: int, where: str) -> str:
    """Write a lesion: lesion 2, LEFT upper arm, front"""
    return _("lesion %(label)s, %(place)s") % {"label": label, "place": where}

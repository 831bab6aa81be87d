"""What is said where something about a patient, a visit or a risk assessment is refused."""

from collections.abc import Mapping

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from clinic.models import PatientStatus, Purpose, Tier
from clinic.wording import Words

THE_ANSWER = _("The answer")
THE_VISIT, THE_ASSESSMENT, THE_END_OF_CARE = _("The visit"), _("The assessment"), _("The end of care")

KNOWN_ROUTE = _("This number or address is already on the record.")
STATUS_AND_GROUND = _("Care ends with a status and a ground in words.")
ENDED_ALREADY = _("This patient's care has ended already.")
RESUME_INSTEAD = _("Care has ended: resume it instead.")
END_CARE = _("end a patient's care")

ENDS_BEFORE_IT_BEGINS = _("It would end before it begins.")
# Why a way to reach the patient is wanted, by its code.
WAY_WANTED: dict[str, Words] = {
    "now_adult": _("Now of age: ask for the patient's own number. %(name)s is rung no more."),
    "carer_ended": _("%(name)s may be told nothing any more, and no other number is on record."),
}

SEEN_LATER = _("The patient would be seen later than before: look at both days and sign for it.")

ONLY_WHO_RECORDED_IT = _("Only who recorded it takes it back, once.")
TEN_MINUTES_ARE_OVER = _("Ten minutes are over: what is wrong is corrected by an act of its own.")
# Proven by a row of its own.
NEVER_TICKED: dict[str, Words] = {
    Purpose.LESION_IMAGE: _("A picture is done by filing it: a tick is no picture.")
}

NONE_IN_FORCE = _(
    "No criteria of the risk tiers are in force: two people have to bring them into force first."
)
CHOOSE = _(
    "By the criteria the tier is average, and a published relative risk is 3 or more: "
    "choose the tier yourself."
)
SAY_WHY = _("Say why this tier.")
NO_COUNSELLING_HERE = _("Nothing is asked about genetic counselling here: leave the answer empty.")
LOOK_AT_THE_LIST = _(
    "Who would move under this set has not been looked at, or has changed since: look at the list first."
)


def say_end_of_care(status: str) -> str:
    """Say in words which end of care is proposed."""
    return gettext("end care: %(status)s") % {"status": PatientStatus(status).label}


def say_tier_is_given(tier: str) -> str:
    """Say why nobody chooses the tier here: the criteria give it."""
    words = {"tier": Tier(tier).label}
    return gettext("The criteria give the tier %(tier)s: leave your own tier and its reason empty.") % words


def say_way_wanted(because: Mapping[str, str]) -> str:
    return str(WAY_WANTED[because["code"]]) % because

"""Register the background work of this app: pictures that wait to be measured."""

from django.utils.translation import gettext_lazy as _

from clinic.jobs import Work, register_work
from lesions.measuring import measure

register_work(
    Work("assess", "pictures", measure.waiting, measure.measure_picture, activity=_("Measuring of pictures"))
)
